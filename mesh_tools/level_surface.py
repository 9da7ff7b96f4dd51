"""The surface where a field on a box grid is zero: marching tetrahedra.

Every cube is cut into six tetrahedra around its diagonal, which leaves no ambiguous case (A. Doi, A. Koide 1991, IEICE
Trans E74:214-224).
"""

from __future__ import annotations

from itertools import permutations

import numpy as np

from mesh_tools.arrays import Array, IntArray
from mesh_tools.surface import Surface

_STEPS = np.eye(3, dtype=np.int64)
_CORNERS = [
    np.cumsum(np.concatenate([np.zeros((1, 3), dtype=np.int64), _STEPS[list(p)]]), axis=0)
    for p in permutations(range(3))
]
_LEAST_SHARE = 0.1  # values nearer to zero than this share of the cell are moved off it, against slivers


def level_surface(values: Array, *, origin_mm: Array, step_mm: float) -> Surface:
    """Zero surface of ``values`` (nx, ny, nz), negative inside, on the grid from ``origin_mm`` (3,) with ``step_mm``.

    Wound outward, each point shared by its faces; open where it runs out of the box. Crossings are linear along
    edges; values should grow about as the distance does.
    """
    shape = values.shape
    least = _LEAST_SHARE * step_mm
    flat = np.where(np.abs(values) < least, np.where(values < 0.0, -least, least), values).ravel()
    triangles = np.concatenate([_of_tetrahedra(flat, tet) for tet in _tetrahedra(shape)])
    pairs = np.sort(triangles.reshape(-1, 2), axis=1)
    keys, back = np.unique(pairs[:, 0] * flat.size + pairs[:, 1], return_inverse=True)
    low, high = keys // flat.size, keys % flat.size
    share = flat[low] / (flat[low] - flat[high])
    here, there = (_places(at, shape, origin_mm, step_mm) for at in (low, high))
    points = here + share[:, None] * (there - here)
    return _outward(
        points, back.reshape(-1, 3), triangles, flat, _places(np.arange(flat.size), shape, origin_mm, step_mm)
    )


def _tetrahedra(shape: tuple[int, ...]) -> list[IntArray]:
    """Grid indices (k, 4) of the tetrahedra, one array for each of the six in a cube."""
    cubes = np.stack(np.meshgrid(*(np.arange(n - 1) for n in shape), indexing="ij"), axis=-1).reshape(
        -1, 1, 3
    )
    return [np.ravel_multi_index(tuple(np.moveaxis(cubes + c, -1, 0)), shape) for c in _CORNERS]


def _of_tetrahedra(values: Array, tets: IntArray) -> IntArray:
    """Triangles (t, 3, 2): each corner is the crossing of a grid edge, its inner end first."""
    inside = values[tets] < 0.0
    count = inside.sum(axis=1)
    order = np.argsort(~inside, axis=1, kind="stable")
    sorted_tets = np.take_along_axis(tets, order, axis=1)
    one, two, three = (sorted_tets[count == n] for n in (1, 2, 3))
    return np.concatenate(
        [
            _triangles(one, [(0, 1), (0, 2), (0, 3)]),
            _triangles(two, [(0, 2), (0, 3), (1, 2)]),
            _triangles(two, [(1, 2), (0, 3), (1, 3)]),
            _triangles(three, [(0, 3), (1, 3), (2, 3)]),
        ]
    )


def _triangles(tets: IntArray, edges: list[tuple[int, int]]) -> IntArray:
    return np.stack([tets[:, list(edge)] for edge in edges], axis=1)


def _places(index: IntArray, shape: tuple[int, ...], origin: Array, step: float) -> Array:
    return np.asarray(origin + step * np.stack(np.unravel_index(index, shape), axis=-1))


def _outward(points: Array, faces: IntArray, triangles: IntArray, values: Array, grid: Array) -> Surface:
    """Faces turned so that normals point from the inner ends of their edges to the outer ones."""
    first, second = triangles[:, :, 0], triangles[:, :, 1]
    inner = np.where(values[first] < 0.0, first, second)
    outer = np.where(values[first] < 0.0, second, first)
    way = (grid[outer] - grid[inner]).mean(axis=1)
    a, b, c = np.moveaxis(points[faces], 1, 0)
    wrong = np.einsum("ij,ij->i", np.cross(b - a, c - a), way) < 0.0
    return Surface(points, np.where(wrong[:, None], faces[:, ::-1], faces))
