"""Repair: clean surfaces untouched, faults told and put right, mirrors and turns commute."""

from __future__ import annotations

import numpy as np
import pytest
from bad_stl_files import sphere

from mesh_tools.arrays import Array
from mesh_tools.repair import repaired
from mesh_tools.repair_shells import SeveralTeethError
from mesh_tools.surface import Surface
from mesh_tools.topology import (
    OpenSurfaceError,
    boundary_loops,
    centroid,
    euler_number,
    genus,
    is_closed,
    signed_volume,
)


def ball(radius: float = 8.0, shift: tuple[float, float, float] = (0.0, 0.0, 0.0), level: int = 3) -> Surface:
    points, faces = sphere(level, radius)
    return Surface(points + np.array(shift), faces)


def joined(*parts: Surface) -> Surface:
    offsets = np.cumsum([0, *(len(p.points_mm) for p in parts)])
    return Surface(
        np.concatenate([p.points_mm for p in parts]),
        np.concatenate([p.faces + o for p, o in zip(parts, offsets, strict=False)]),
    )


def faulty() -> Surface:
    """Void inside, flake outside, two holes, a face twice, ten faces turned, one face without area."""
    hull = ball()
    faces = np.delete(hull.faces, [5, 6], axis=0)
    faces[100:110] = faces[100:110, ::-1]
    faces = np.concatenate([faces, faces[40:41], [[1, 2, 1]]])
    flake = Surface([[20.0, 0, 0], [20.3, 0.1, 0], [20, 0.4, 0.2]], [[0, 1, 2]])
    return joined(Surface(hull.points_mm, faces), ball(2.0, (1.0, 0.5, -1.0), 1), flake)


def test_clean_comes_back_itself() -> None:
    surface = ball()
    done = repaired(surface)
    assert done.surface is surface
    assert done.changes == ()


def test_every_fault_is_told_and_gone() -> None:
    done = repaired(faulty())
    told = {c.kind: c.count for c in done.changes}
    assert told == {
        "zero-area faces": 1,
        "duplicate faces": 1,
        "winding": 10,
        "inner voids": 1,
        "flakes": 1,
        "holes": 2,
    }
    assert is_closed(done.surface)
    assert signed_volume(done.surface) == pytest.approx(signed_volume(ball()), rel=1e-3)


def test_maps_follow_points_and_faces() -> None:
    surface = faulty()
    done = repaired(surface)
    kept = done.point_map >= 0
    assert np.array_equal(done.surface.points_mm[done.point_map[kept]], surface.points_mm[kept])
    held = done.face_map >= 0
    mapped = np.sort(done.point_map[surface.faces[held]], axis=1)
    assert np.array_equal(np.sort(done.surface.faces[done.face_map[held]], axis=1), mapped)


@pytest.mark.parametrize(
    "move",
    [
        np.diag([-1.0, 1, 1]),
        np.diag([1.0, 1, -1]),
        np.linalg.qr(np.random.default_rng(1).normal(size=(3, 3)))[0],
    ],
)
def test_moves_commute(move: Array) -> None:
    shift = np.array([3.0, -7.0, 11.0])
    after = repaired(faulty()).surface.moved(move, shift)
    before = repaired(faulty().moved(move, shift)).surface
    assert np.allclose(after.points_mm, before.points_mm, atol=1e-9)
    ours = {frozenset(f) for f in after.faces.tolist()}
    assert ours == {frozenset(f) for f in before.faces.tolist()}
    assert signed_volume(after) == pytest.approx(signed_volume(before), rel=1e-12)


def test_inside_out_is_turned() -> None:
    surface = ball()
    done = repaired(Surface(surface.points_mm, surface.faces[:, ::-1]))
    assert [c.kind for c in done.changes] == ["inside out"]
    assert signed_volume(done.surface) > 0


def test_several_teeth_are_refused() -> None:
    with pytest.raises(SeveralTeethError, match="several teeth in one file: 2 full-size shells"):
        repaired(joined(ball(), ball(6.0, (20.0, 0.0, 0.0))))


def test_split_points_are_merged() -> None:
    surface = ball()
    done = repaired(
        Surface(surface.corners_mm.reshape(-1, 3), np.arange(3 * len(surface.faces)).reshape(-1, 3))
    )
    assert [c.kind for c in done.changes] == ["coincident points"]
    assert is_closed(done.surface)


def test_large_border_stays_open() -> None:
    surface = ball()
    half = surface.with_faces(surface.face_centres_mm[:, 2] < 0)
    done = repaired(half)
    assert done.changes == ()
    assert [n.kind for n in done.notes] == ["open borders"]
    with pytest.raises(OpenSurfaceError, match="volume needs a closed surface"):
        signed_volume(half)
    with pytest.raises(OpenSurfaceError, match="centroid"):
        centroid(half)


def test_torus_has_one_tunnel_and_ball_volume_converges() -> None:
    u, v = np.meshgrid(np.arange(24), np.arange(12), indexing="ij")
    a, b = 2 * np.pi * u / 24, 2 * np.pi * v / 12
    points = np.stack([(5 + np.cos(b)) * np.cos(a), (5 + np.cos(b)) * np.sin(a), np.sin(b)], axis=2).reshape(
        -1, 3
    )
    p, q, r, s = (((u + i) % 24 * 12 + (v + j) % 12).ravel() for i, j in ((0, 0), (1, 0), (1, 1), (0, 1)))
    torus = Surface(points, np.concatenate([np.stack([p, q, r], axis=1), np.stack([p, r, s], axis=1)]))
    assert (euler_number(torus), genus(torus), boundary_loops(torus)) == (0, 1, [])
    ideal = 4 / 3 * np.pi * 8**3
    coarse, fine = (ideal - signed_volume(ball(level=k)) for k in (2, 3))
    assert 3.8 < coarse / fine < 4.2  # second order in edge length
    assert np.allclose(centroid(ball(8.0, (3.0, 4.0, 5.0))), [3, 4, 5], atol=1e-12)
