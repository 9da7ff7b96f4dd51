"""The tooth unrolled: distance of its outer surface from the long axis, by angle and by height."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array, IntArray

_ROUND_OFF = 1e-12


def radial_map(points_tooth: Array, faces: IntArray, *, heights_mm: Array, columns: int) -> Array:
    """Outermost distance (rows, columns) mm from the axis, at evenly spaced ``heights_mm`` and angles.

    ``points_tooth`` (n, 3) are buccal, mesial and apical coordinates; column j looks along the angle
    2 pi j / columns from buccal towards mesial. NaN where a ray meets nothing. Rays are cut exactly with the
    facets.
    """
    step = heights_mm[1] - heights_mm[0]
    faces = _within(points_tooth, faces, low_mm=heights_mm[0], high_mm=heights_mm[-1])
    low, high = _cells(points_tooth, faces, first_mm=heights_mm[0], step_mm=step, columns=columns)
    low[:, 1], high[:, 1] = np.maximum(low[:, 1], 0), np.minimum(high[:, 1], len(heights_mm) - 1)
    facet, column, row = _pairs(low, high, columns=columns)
    heights = heights_mm[0] + step * row
    distance = _distances(points_tooth, faces[facet], 2.0 * np.pi * column / columns, heights)
    return _outermost(distance, row * columns + column % columns, len(heights_mm) * columns).reshape(
        -1, columns
    )


def radii_at(points_tooth: Array, faces: IntArray, heights_mm: ArrayLike) -> Array:
    """Outermost distance (columns,) mm from the axis, column j at its own height ``heights_mm[j]``."""
    heights = np.asarray(heights_mm, dtype=np.float64)
    faces = _within(points_tooth, faces, low_mm=heights.min(), high_mm=heights.max())
    low, high = _cells(points_tooth, faces, first_mm=0.0, step_mm=1.0, columns=len(heights))
    low[:, 1], high[:, 1] = 0, 0
    facet, column, _ = _pairs(low, high, columns=len(heights))
    angle = 2.0 * np.pi * column / len(heights)
    column %= len(heights)
    distance = _distances(points_tooth, faces[facet], angle, heights[column])
    return _outermost(distance, column, len(heights))


def _cells(
    points: Array, faces: IntArray, *, first_mm: float, step_mm: float, columns: int
) -> tuple[IntArray, IntArray]:
    """First and last column and row, (m, 2) each, that a facet may cover; a facet around the axis covers
    none."""
    turn = np.arctan2(points[:, 1], points[:, 0]) * (columns / (2.0 * np.pi))
    u = turn[faces]
    on_axis = (np.abs(points[:, 0]) + np.abs(points[:, 1]) < _ROUND_OFF)[faces]
    if on_axis.any():
        u = np.where(on_axis, np.take_along_axis(u, on_axis.argmin(axis=1)[:, None], axis=1), u)
    u = u[:, :1] + (u - u[:, :1] + columns / 2) % columns - columns / 2
    v = ((points[:, 2] - first_mm) / step_mm)[faces]
    low = np.ceil(np.stack([_least(u), _least(v)], axis=1) - 1e-9).astype(np.int64)
    high = np.floor(np.stack([-_least(-u), -_least(-v)], axis=1) + 1e-9).astype(np.int64)
    around_the_axis = high[:, 0] - low[:, 0] > columns // 2
    low[around_the_axis, 0], high[around_the_axis, 0] = 0, -1
    return low, high


def _within(points: Array, faces: IntArray, *, low_mm: float, high_mm: float) -> IntArray:
    z = points[:, 2][faces]
    return faces[(_least(z) <= high_mm + _ROUND_OFF) & (_least(-z) <= -low_mm + _ROUND_OFF)]


def _least(values: Array) -> Array:
    """Smallest (k,) of each row of ``values`` (k, 3)."""
    return np.minimum(np.minimum(values[:, 0], values[:, 1]), values[:, 2])


def _pairs(low: IntArray, high: IntArray, *, columns: int) -> tuple[IntArray, IntArray, IntArray]:
    """Facet, column and row of every (facet, cell) pair within the boxes ``low`` to ``high``."""
    span = np.maximum(high - low + 1, 0)
    cells = span[:, 0] * span[:, 1]
    facets = np.flatnonzero(cells)
    count = cells[facets]
    facet = np.repeat(facets, count)
    within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    column = low[facet, 0] + within % span[facet, 0]
    return facet, column % columns, low[facet, 1] + within // span[facet, 0]


def _distances(points: Array, corners: IntArray, angle: Array, heights: Array) -> Array:
    """Distance (k,) along the ray at ``angle`` and height to the facet with ``corners`` (k, 3); NaN if
    missed."""
    cos, sin = np.cos(angle)[:, None], np.sin(angle)[:, None]
    p = points[corners]
    across, along = p[..., 1] * cos - p[..., 0] * sin, p[..., 0] * cos + p[..., 1] * sin
    above = p[..., 2] - heights[:, None]
    nxt, last = [1, 2, 0], [2, 0, 1]
    weight = across[:, nxt] * above[:, last] - across[:, last] * above[:, nxt]
    total = weight[:, 0] + weight[:, 1] + weight[:, 2]
    inside = ((_least(weight) >= -_ROUND_OFF) | (_least(-weight) >= -_ROUND_OFF)) & (np.abs(total) > 1e-14)
    distance = np.full(len(corners), np.nan)
    distance[inside] = (weight[inside] * along[inside]).sum(axis=1) / total[inside]
    return np.where(distance > 0.0, distance, np.nan)


def _outermost(distance: Array, cell: IntArray, cells: int) -> Array:
    hit = ~np.isnan(distance)
    far = np.full(cells, -np.inf)
    np.maximum.at(far, cell[hit], distance[hit])
    far[np.isinf(far)] = np.nan
    return far
