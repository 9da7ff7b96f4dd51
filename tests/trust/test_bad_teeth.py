"""What a tooth may be: refused in one line by ``bowtrue centre``, or the right centre all the same."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from mesh_tools.look import as_dict, look_at, report
from mesh_tools.read import read_surface
from mesh_tools.surface import Surface
from mesh_tools.topology import OpenSurfaceError, centroid, is_closed
from mesh_tools.write import write_stl
from tests.trust.bad_teeth import (
    HARMLESS,
    REFUSED,
    crossing_itself,
    good_tooth,
    open_crown,
    roots_cut,
    with_tunnel,
)
from viewer.cli import main

SAME_MM = 0.02  # what a hole filled or a tunnel in the crown may do to the centre


@cache
def good_centre() -> tuple[float, ...]:
    """The elastic centre of the good tooth by the library, LPS mm."""
    from casework.estimating import estimate_from_file
    from demo_meshes import demo_folder

    found = estimate_from_file(
        demo_folder() / "molar_26.stl", tooth=26, axes="LPS", unit=None, crest_below_cej_mm=0.75,
        ligament=(0.68, 0.45, 0.2), methods=["elastic_foundation"], samples=0, seed=0, bone=None, tube=None,
    )  # fmt: skip
    return tuple(found.as_dict()["methods"]["elastic_foundation"]["point_mm"])


def centre_of(surface: Surface, folder: Path, *, axes: str = "LPS") -> tuple[int, Path]:
    """``bowtrue centre`` on ``surface``: its exit code and the folder it was to write into."""
    write_stl(folder / "tooth.stl", surface)
    out = folder / "out.json"
    words = ["centre", str(folder / "tooth.stl"), "--tooth", "26", "--axes", axes]
    return main([*words, "--method", "elastic_foundation", "--json", str(out)]), out


@pytest.mark.parametrize("name", REFUSED)
def test_refused(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    spoil, words = REFUSED[name]
    code, out = centre_of(spoil(good_tooth()), tmp_path)
    lines = [line for line in capsys.readouterr().err.splitlines() if "error" in line]
    assert code == 2
    assert len(lines) == 1
    assert words in lines[0]
    assert not out.exists()


def test_left_handed_axes_code_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out = centre_of(good_tooth(), tmp_path, axes="RPS")
    assert code == 2
    assert "axes" in capsys.readouterr().err
    assert not out.exists()


@pytest.mark.parametrize("name", HARMLESS)
def test_harmless_faults_leave_the_right_centre(name: str, tmp_path: Path) -> None:
    code, out = centre_of(HARMLESS[name](good_tooth()), tmp_path)
    assert code == 0
    seen = json.loads(out.read_text("utf-8"))["methods"]["elastic_foundation"]["point_mm"]
    assert np.abs(np.subtract(seen, good_centre())).max() < SAME_MM


def test_cut_roots_are_told_and_where_they_end(tmp_path: Path) -> None:
    code, out = centre_of(roots_cut(good_tooth()), tmp_path)
    told: dict[str, Any] = json.loads(out.read_text("utf-8"))
    assert code == 0
    assert "the scan's field of view cuts the roots" in " ".join(told["warnings"])
    moved = good_centre()[2] - told["methods"]["elastic_foundation"]["point_mm"][2]
    assert 1.0 < moved < 2.5  # and the warning says about 1.8 mm


def test_no_volume_and_no_centroid_of_an_open_surface() -> None:
    opened = open_crown(good_tooth())
    assert look_at(opened).volume is None
    with pytest.raises(OpenSurfaceError):
        centroid(opened)


def test_look_tells_tunnels_and_crossings() -> None:
    tunnel, crossing = look_at(with_tunnel(good_tooth())), look_at(crossing_itself(good_tooth()))
    assert (as_dict(tunnel)["tunnels"], as_dict(look_at(good_tooth()))["tunnels"]) == (1, 0)
    assert "one tunnel through it" in report(tunnel)
    assert crossing.self_crossings > 0
    assert "crosses" in report(crossing)


def test_texture_seams_neither_open_nor_reorder_a_tooth(tmp_path: Path) -> None:
    tooth = good_tooth()
    rows = "".join(f"v {x!r} {y!r} {z!r}\n" for x, y, z in tooth.points_mm.tolist())
    faces = "".join(
        f"f {a + 1}/{3 * k + 1} {b + 1}/{3 * k + 2} {c + 1}/{3 * k + 3}\n"
        for k, (a, b, c) in enumerate(tooth.faces.tolist())
    )
    (tmp_path / "a.obj").write_text(rows + "vt 0.1 0.2\n" * (3 * len(tooth.faces)) + faces)
    seen = read_surface(tmp_path / "a.obj")
    assert is_closed(seen)
    assert np.array_equal(seen.points_mm, tooth.points_mm)
    assert np.array_equal(seen.faces, tooth.faces)
