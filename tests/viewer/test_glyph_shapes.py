"""Shapes for drawing are closed, wound outward and as large as they say."""

from __future__ import annotations

from typing import get_args

import numpy as np
import pytest

from mesh_tools.arrays import Array, IntArray
from viewer.glyph_shapes import dashed_tube, dashes, glyph_shape, ring_shape, tube_shape
from viewer.palette import Glyph


def volume(points: Array, faces: IntArray) -> float:
    a, b, c = np.moveaxis(points[faces], 1, 0)
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)


def closed(faces: IntArray) -> bool:
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    there = {tuple(e) for e in edges.tolist()}
    return len(there) == len(edges) and all((b, a) in there for a, b in there)


@pytest.mark.parametrize("glyph", [g for g in get_args(Glyph) if g not in ("cross", "ring")])
def test_solid_glyphs_are_closed_and_wound_outward(glyph: Glyph) -> None:
    points, faces = glyph_shape(glyph, size_mm=2.0, facing=np.array([1.0, 0.0, 0.0]))
    assert closed(faces)
    assert volume(points, faces) > 0.5
    assert 1.5 < np.ptp(points, axis=0).max() < 3.0


def test_a_straight_tube_has_the_volume_of_its_polygonal_prism() -> None:
    points, faces = tube_shape(np.array([[0.0, 0, 0], [3, 0, 0], [10, 0, 0]]), radius_mm=1.5, around=12)
    prism = 10.0 * 0.5 * 12 * 1.5**2 * np.sin(2 * np.pi / 12)  # area of a regular 12-gon
    assert volume(points, faces) == pytest.approx(prism, rel=1e-12)
    assert closed(faces)


def test_a_tube_keeps_its_radius_around_a_helix() -> None:
    t = np.linspace(0.0, 6.0, 200)
    helix = np.stack([10 * np.cos(t), 10 * np.sin(t), 3 * t], axis=-1)
    points, _ = tube_shape(helix, radius_mm=0.7)
    wall = points[:-2].reshape(200, 12, 3)
    np.testing.assert_allclose(np.linalg.norm(wall - helix[:, None], axis=2), 0.7, atol=1e-12)


def test_a_ring_faces_the_way_it_is_told() -> None:
    way = np.array([0.6, 0.0, 0.8])
    points, _ = ring_shape(2.0, wire_mm=0.2, normal=way)
    assert np.abs(points @ way).max() < 0.11


def test_dashes_cover_ten_of_seventeen_parts_and_follow_the_line() -> None:
    points = np.array([[0.0, 0, 0], [10, 0, 0], [10, 7, 0]])
    pieces = dashes(points, dash_mm=1.0)
    lengths = [np.linalg.norm(np.diff(p, axis=0), axis=1).sum() for p in pieces]
    assert lengths == pytest.approx([1.0] * 10)
    assert any(len(p) == 3 for p in dashes(points, dash_mm=4.0))  # a dash around the corner keeps it
    tube, faces = dashed_tube(points, radius_mm=0.1, dash_mm=1.0)
    assert faces.max() == len(tube) - 1
    assert closed(faces)
