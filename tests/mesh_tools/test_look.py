"""Looking at a mesh: kinds, units and faults, on made surfaces and on the open meshes where they are."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from bad_stl_files import sphere

from mesh_tools.look import as_dict, look_at, report
from mesh_tools.surface import Surface

MESHES = Path(__file__).parents[3] / "shared" / "meshes"
needs_meshes = pytest.mark.skipif(
    not MESHES.is_dir(), reason="the folder of open meshes ../shared/meshes is absent"
)


def long_ball(*axes: float) -> Surface:
    points, faces = sphere(2, 1.0)
    return Surface(points * np.array(axes), faces)


@pytest.mark.parametrize(
    ("axes", "kind", "unit"),
    [
        ((3.0, 10.0, 3.0), "whole tooth", "mm"),
        ((0.3, 1.0, 0.3), "whole tooth", "cm"),
        ((0.15, 0.2, 0.12), "head", "m"),
        ((30.0, 33.0, 10.0), "arch", "mm"),
        ((110.0, 150.0, 100.0), "head", "mm"),
        ((5.0, 4.5, 3.5), "crown only", "mm"),
        ((1e-5, 1e-5, 1e-5), "unknown", None),
    ],
)
def test_kinds(axes: tuple[float, float, float], kind: str, unit: str | None) -> None:
    seen = as_dict(look_at(long_ball(*axes)))
    assert (seen["kind"], seen["unit_guess"]) == (kind, unit)


def test_open_neck_is_a_crown() -> None:
    ball = long_ball(7.0, 7.0, 7.0)
    seen = look_at(ball.with_faces(ball.face_centres_mm[:, 2] < 1.0))
    assert seen.kind.kind == "crown only"
    assert len(seen.holes) == 1
    assert seen.volume is None
    assert not seen.closed


def test_orientation_and_volume() -> None:
    ball = long_ball(4.0, 10.0, 4.0)
    assert look_at(ball).orientation == "outward"
    assert look_at(Surface(ball.points_mm, ball.faces[:, ::-1])).orientation == "inward"
    assert look_at(ball).volume == pytest.approx(4 / 3 * np.pi * 160, rel=0.06)  # ellipsoid, inscribed faces
    assert json.loads(json.dumps(as_dict(look_at(ball))))["closed"] is True


@needs_meshes
def test_open_meshes() -> None:
    canine = look_at(MESHES / "teeth" / "mandibular-left-canine_mm_12k.stl")
    assert canine.shells == 2
    assert canine.repair_changes == ("1 inner void shell removed (1488 faces)",)
    cast = look_at(MESHES / "arch" / "upper_cast_mm.stl")
    assert (cast.shells, len(cast.holes), cast.kind.kind) == (8, 28, "arch")
    assert "7 stray flakes removed" in report(cast)
    molar = look_at(MESHES / "teeth_other_units" / "maxillary-first-molar_cm.stl")
    assert molar.kind.units == ("cm",)
    assert "looks like cm" in report(molar)
