"""Pieces of a picture: lit by the right normals, joined without loss, sorted as the eye meets them."""

from __future__ import annotations

import numpy as np

from viewer.glyph_shapes import glyph_shape
from viewer.see_through import flat_piece, joined, smooth_piece, sorted_by_depth
from viewer.view import View

GLASS, SOLID = (0.2, 0.4, 0.6, 0.5), (1.0, 0.0, 0.0, 1.0)
VIEW = View("test", np.array([0, 1, 0]), np.array([0, 0, 1]), np.zeros(3), 10.0, 10.0)


def test_a_ball_is_lit_along_its_radii() -> None:
    points, faces = glyph_shape("sphere", size_mm=2.0, facing=np.array([0.0, 1.0, 0.0]))
    ball = smooth_piece(points, faces, np.tile(GLASS, (len(faces), 1)))
    used = np.unique(faces)
    radius = np.linalg.norm(points[used], axis=1, keepdims=True)
    wall = radius[:, 0] > 1e-9
    assert np.einsum("ij,ij->i", ball.normals[used], points[used] / radius)[wall].min() > 0.97
    assert not ball.opaque


def test_a_cube_is_lit_face_by_face() -> None:
    points, faces = glyph_shape("cube", size_mm=2.0, facing=np.array([0.0, 1.0, 0.0]))
    cube = flat_piece(points, faces, np.tile(SOLID, (len(faces), 1)))
    assert np.allclose(np.abs(cube.normals).max(axis=1), 1.0)
    assert np.array_equal(cube.points_mm[cube.faces], points[faces])
    assert cube.opaque


def test_joined_pieces_are_sorted_from_the_farthest_face_to_the_nearest_with_their_colours() -> None:
    triangle = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    face, depths = np.array([[0, 1, 2]]), (2.0, 9.0, -4.0, 5.0)
    pieces = [
        flat_piece(triangle + np.array([0.0, depth, 0.0]), face, np.array([[0.0, 0.0, k / 10.0, 0.5]]))
        for k, depth in enumerate(depths)
    ]
    whole = sorted_by_depth(joined(pieces), VIEW)
    seen = VIEW.depth(whole.points_mm)[whole.faces].mean(axis=1)
    assert seen.tolist() == sorted(depths, reverse=True)
    assert (10.0 * whole.colours[:, 2]).round().tolist() == [1, 3, 0, 2]
