"""Self-crossing: every piercing found, touching is none, moved and mirrored alike, against a brute-force route."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from synthetic_teeth import SHARED_TEETH, open_tooth

from mesh_tools.arrays import Array, IntArray
from mesh_tools.look import as_dict, look_at, report
from mesh_tools.read import read_surface
from mesh_tools.repair import repaired
from mesh_tools.self_crossing import SelfCrossingError, refuse_self_crossing, self_crossings
from mesh_tools.surface import Surface
from mesh_tools.topology import edges

BOX = np.array([[x, y, z] for x in (0.0, 1.0) for y in (0.0, 1.0) for z in (0.0, 1.0)])
BOX_FACES = np.array(
    [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
     [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]]
)  # fmt: skip


def two_boxes(shift: tuple[float, float, float], scale: float = 1.0) -> Surface:
    return Surface(
        np.concatenate([BOX, scale * BOX + np.array(shift)]), np.concatenate([BOX_FACES, BOX_FACES + 8])
    )


def crumpled(seed: int, noise_mm: float) -> Surface:
    """A sheet whose points are thrown about, so that it crosses itself in many general places."""
    rng = np.random.default_rng(seed)
    side = 14
    x, y = np.meshgrid(np.arange(side), np.arange(side), indexing="ij")
    flat: Array = np.stack([x.ravel(), y.ravel(), np.zeros(side * side)], axis=1) * np.array([1.0, 0.4, 1.0])
    a = (x[:-1, :-1] * side + y[:-1, :-1]).ravel()
    faces = np.concatenate(
        [np.stack([a, a + side, a + 1], axis=1), np.stack([a + 1, a + side, a + side + 1], axis=1)]
    )
    return Surface(flat + noise_mm * rng.normal(size=flat.shape), faces)


def by_brute_force(surface: Surface) -> set[tuple[int, int, int]]:
    """Every edge against every face by solving for the meeting point (T. Moeller, B. Trumbore 1997)."""
    found = set()
    pairs: IntArray = edges(surface).points
    for low, high in pairs.tolist():
        p, q = surface.points_mm[low], surface.points_mm[high]
        share, u, v = _met(surface.corners_mm, p, q - p)
        inside = (share > 0) & (share < 1) & (u > 0) & (v > 0) & (u + v < 1)
        strange = ~np.isin(surface.faces, [low, high]).any(axis=1)
        found |= {(low, high, int(f)) for f in np.flatnonzero(inside & strange)}
    return found


def _met(corners: Array, start: Array, along: Array) -> tuple[Array, Array, Array]:
    one, two, away = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0], start - corners[:, 0]
    cross = np.cross(along, two)
    det = (one * cross).sum(axis=1)
    turned = np.cross(away, one)
    det[np.abs(det) <= 1e-12 * np.abs(det).max()] = np.nan  # parallel edges meet nowhere
    return (two * turned).sum(axis=1) / det, (away * cross).sum(axis=1) / det, turned @ along / det


@pytest.mark.parametrize(("seed", "noise"), [(0, 0.3), (1, 0.6), (2, 1.5)])
def test_same_crossings_as_brute_force(seed: int, noise: float) -> None:
    surface = crumpled(seed, noise)
    found = self_crossings(surface)
    seen = {(int(a), int(b), int(f)) for (a, b), f in zip(found.edge_points, found.faces, strict=True)}
    assert len(seen) == found.count
    assert seen == by_brute_force(surface)
    assert len(seen) > 10


def test_large_faces_among_small_ones() -> None:
    small = crumpled(3, 0.0).mapped(lambda p: p * 0.01 + [-0.07, -0.03, 0.0])
    plate = np.array([[0.001, -40.0, -40.0], [0.001, 40.0, -40.0], [0.001, 0.0, 60.0]])
    n = len(small.points_mm)
    surface = Surface(
        np.concatenate([small.points_mm, plate]),
        np.concatenate([small.faces, [[n, n + 1, n + 2]]]),
    )
    found = self_crossings(surface)
    assert {(int(a), int(b), int(f)) for (a, b), f in zip(found.edge_points, found.faces, strict=True)} == (
        by_brute_force(surface)
    )
    assert found.count >= 13


def test_edges_through_the_middle_of_edges_count() -> None:
    # Every crossing of these two boxes runs exactly through a diagonal.
    assert self_crossings(two_boxes((0.5, 0.5, 0.5))).count > 0


@pytest.mark.parametrize(
    ("shift", "scale"),
    [((1.0, 0.0, 0.0), 1.0), ((1.0, 0.3, 0.2), 1.0), ((1.0, 1.0, 0.0), 1.0), ((1.0, 1.0, 1.0), 1.0),
     ((0.25, 0.25, 0.25), 0.5), ((0.25, 0.25, 0.5), 0.5), ((3.0, 0.0, 0.0), 1.0)],
)  # fmt: skip
def test_touching_and_apart_is_no_crossing(shift: tuple[float, float, float], scale: float) -> None:
    assert self_crossings(two_boxes(shift, scale)).count == 0


def test_a_fold_onto_itself_in_one_plane_is_no_crossing() -> None:
    points = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0.2, 0.1, 0]])
    flat = Surface(points, np.array([[0, 1, 2], [1, 0, 3]]))
    assert self_crossings(flat).count == 0


def test_moved_mirrored_and_scaled_alike() -> None:
    surface = crumpled(4, 0.6)
    turn = np.linalg.qr(np.random.default_rng(0).standard_normal((3, 3)))[0]
    count = self_crossings(surface).count
    assert self_crossings(surface.moved(turn, (100.0, -300.0, 700.0))).count == count
    assert self_crossings(surface.moved(np.diag([-1.0, 1.0, 1.0]))).count == count
    assert self_crossings(surface.mapped(lambda p: p * 1e-3)).count == count


def test_the_place_lies_on_edge_and_face() -> None:
    found = self_crossings(crumpled(5, 0.6))
    surface = crumpled(5, 0.6)
    p, q = np.moveaxis(surface.points_mm[found.edge_points], 1, 0)
    on_edge = np.linalg.norm(np.cross(q - p, found.points_mm - p), axis=1) / np.linalg.norm(q - p, axis=1)
    corners = surface.corners_mm[found.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    off = np.einsum("ij,ij->i", found.points_mm - corners[:, 0], normal) / np.linalg.norm(normal, axis=1)
    assert max(on_edge.max(), np.abs(off).max()) < 1e-9


@pytest.mark.parametrize("name", ["molar_16", "molar_26"])
def test_the_demo_molars_are_clean(name: str) -> None:
    path = Path(__file__).parents[2] / "demo_meshes" / f"{name}.stl"
    assert self_crossings(repaired(read_surface(path)).surface).count == 0


@pytest.mark.skipif(not SHARED_TEETH.exists(), reason="open teeth are not on this machine")
def test_the_open_molar_is_clean_until_a_root_is_pushed_through_another() -> None:
    tooth = open_tooth("maxillary-first-molar")
    assert self_crossings(tooth).count == 0
    low, high = tooth.points_mm[:, 2].min(), tooth.points_mm[:, 2].max()
    rootward = np.clip((tooth.points_mm[:, 2] - low) / (high - low) - 0.6, 0.0, None)
    squeezed = tooth.mapped(
        lambda p: p * np.stack([1 - 5 * rootward, 1 + 0 * rootward, 1 + 0 * rootward], axis=1)
    )
    with pytest.raises(SelfCrossingError, match=r"root must not pass through itself; it does at \d+ places"):
        refuse_self_crossing(squeezed, name="root")


def test_look_tells_of_it() -> None:
    crossed = look_at(two_boxes((0.4, 0.37, 0.31)))
    assert as_dict(crossed)["self_crossings"] == crossed.self_crossings > 0
    assert "crosses  itself at" in report(crossed)
    assert "crosses" not in report(look_at(Surface(BOX, BOX_FACES)))
