"""Where the roots part: the roof between them, and the entrances seen from outside.

The roof is where the long axis' direction, through the middle of the roots, meets the tooth from the apical
side. An entrance is where the trunk's face, followed from the crown in the middle of the gap between two
roots, first leans inward by more than 45 degrees.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mesh_tools.anatomy.radial_map import radial_map
from mesh_tools.anatomy.roots import RootPeak
from mesh_tools.arrays import Array, IntArray

_SLAB_MM = 1.5
_ROWS_MM = 0.1
_LEAN_MM = 0.5
_COLUMNS = 96


@dataclass(frozen=True, eq=False)
class Furcation:
    """Roof (3,) and entrances ((first root, second root), point (3,)) in the tooth's frame, mm.

    ``roof`` is None where the midway line meets no surface; an entrance is missing where two roots do not
    open.
    """

    roof: Array | None
    entrances: tuple[tuple[tuple[int, int], Array], ...]


def furcation(
    points_tooth: Array, faces: IntArray, roots: Sequence[RootPeak], *, neck_mm: float
) -> Furcation:
    """The furcation of two or more ``roots``; entrances are searched apical of the height ``neck_mm``."""
    top = max(root.begins_mm for root in roots)
    slabs = [_slab(points_tooth[root.points], top) for root in roots]
    middle = _midway(slabs)
    shifted = points_tooth - np.append(middle, 0.0)
    roof = _roof(shifted, faces, neck_mm=neck_mm, top_mm=top)
    entrances = _entrances(shifted, faces, [s - middle for s in slabs], neck_mm=neck_mm, top_mm=top)
    back = np.append(middle, 0.0)
    return Furcation(
        roof=None if roof is None else np.append(middle, roof),
        entrances=tuple((pair, point + back) for pair, point in entrances),
    )


def _slab(points: Array, top: float) -> Array:
    """Cross coordinates (k, 2) of a root's points just apical of the last parting."""
    for thickness in (_SLAB_MM, 2.0 * _SLAB_MM, np.inf):
        near = points[(points[:, 2] > top) & (points[:, 2] < top + thickness)]
        if len(near) >= 3:
            return np.asarray(near[:, :2])
    return np.asarray(points[:, :2])


def _midway(slabs: Sequence[Array]) -> Array:
    """Place (2,) equally far from the roots: from the three longest, else from the two."""
    if len(slabs) == 2:
        return _midway_of_two(slabs[0], slabs[1])
    three = slabs[:3]
    start = np.mean([s.mean(axis=0) for s in three], axis=0)
    here = start
    reach = 0.5 * min(float(np.linalg.norm(s.mean(axis=0) - start)) for s in three)
    for _ in range(30):
        nearest = np.array([s[((s - here) ** 2).sum(axis=1).argmin()] for s in three])
        step = 0.5 * (_equidistant(nearest, here) - here)
        here = here + step
        away = float(np.linalg.norm(here - start))
        if away > reach:
            return np.asarray(start + (here - start) * reach / away)
        if float(np.linalg.norm(step)) < 1e-9:
            break
    return np.asarray(here)


def _equidistant(corners: Array, otherwise: Array) -> Array:
    """Circumcentre (2,) of a triangle (3, 2); ``otherwise`` when it is flat."""
    sides = corners[1:] - corners[0]
    if abs(float(np.linalg.det(sides))) < 1e-6:
        return otherwise
    return np.asarray(corners[0] + np.linalg.solve(2.0 * sides, (sides**2).sum(axis=1)))


def _midway_of_two(a: Array, b: Array) -> Array:
    centre = 0.5 * (a.mean(axis=0) + b.mean(axis=0))
    along = b.mean(axis=0) - a.mean(axis=0)
    along = along / np.linalg.norm(along)
    side = np.array([-along[1], along[0]])

    def edge(points: Array, way: float) -> float:
        offset = points - centre
        close = offset[np.abs(offset @ side) < 0.75]
        return way * float(((close if len(close) else offset) @ along * way).max())

    return np.asarray(centre + 0.5 * (edge(a, 1.0) + edge(b, -1.0)) * along)


def _roof(shifted: Array, faces: IntArray, *, neck_mm: float, top_mm: float) -> float | None:
    """Lowest height over the neck where the axis line enters the tooth from the apical side."""
    x, y, z = (shifted[:, k][faces] for k in range(3))
    around = (x.min(axis=1) <= 0) & (x.max(axis=1) >= 0) & (y.min(axis=1) <= 0) & (y.max(axis=1) >= 0)
    x, y, z = x[around], y[around], z[around]
    nxt, last = [1, 2, 0], [2, 0, 1]
    weight = x[:, nxt] * y[:, last] - x[:, last] * y[:, nxt]
    facing = (weight.sum(axis=1) != 0) & ((weight >= 0).all(axis=1) | (weight <= 0).all(axis=1))
    heights = (weight[facing] * z[facing]).sum(axis=1) / weight[facing].sum(axis=1)
    hits = np.sort(heights[(heights > neck_mm) & (heights < top_mm + 2.0 * _SLAB_MM)])
    return float(hits[0]) if len(hits) else None


def _entrances(
    shifted: Array, faces: IntArray, slabs: Sequence[Array], *, neck_mm: float, top_mm: float
) -> list[tuple[tuple[int, int], Array]]:
    heights = np.arange(neck_mm, top_mm + 2.0 * _SLAB_MM, _ROWS_MM)
    distance = radial_map(shifted, faces, heights_mm=heights, columns=_COLUMNS)
    turn = _turns(distance)
    above = heights > top_mm + 0.5 * _SLAB_MM
    open_rows = np.isnan(distance[above]).sum(axis=0)
    azimuth = np.array([np.arctan2(*s.mean(axis=0)[::-1]) for s in slabs]) % (2.0 * np.pi)
    order = [int(k) for k in np.argsort(azimuth)]
    found = []
    for a, b in zip(order, order[1:] + order[:1], strict=True):
        columns = _columns_between(float(azimuth[a]), float(azimuth[b]))
        column = _way_out(open_rows[columns], columns)
        if column is not None and 0 < turn[column] < len(heights):
            found.append(((a, b), _on_map(distance, heights, int(turn[column]), column)))
    return found


def _way_out(open_rows: IntArray, columns: IntArray) -> int | None:
    """Column in the middle of the gap between two roots, weighed by how far it is open; None where it is shut."""
    if not open_rows.sum():
        return None
    return int(columns[round(float(np.arange(len(columns)) @ open_rows / open_rows.sum()))])


def _on_map(distance: Array, heights: Array, row: int, column: int) -> Array:
    angle = 2.0 * np.pi * column / _COLUMNS
    return np.array([
        distance[row, column] * np.cos(angle), distance[row, column] * np.sin(angle), heights[row],
    ])  # fmt: skip


def _turns(distance: Array) -> IntArray:
    """Row (columns,) where each meridian, followed from the crown, first leans inward by more than 45
    degrees.

    The lean is averaged over ``_LEAN_MM``; a gap leans. The number of rows where a meridian never does.
    """
    ahead = round(_LEAN_MM / _ROWS_MM)
    drop = np.where(np.isnan(distance[ahead:]), np.inf, distance[:-ahead] - distance[ahead:])
    leans = (drop > _LEAN_MM) & ~np.isnan(distance[:-ahead])
    return np.where(leans.any(axis=0), leans.argmax(axis=0), len(distance))


def _columns_between(start: float, end: float) -> IntArray:
    """Columns of the sector from angle ``start`` to ``end``, a tenth of it left out at each side."""
    turn = 2.0 * np.pi / _COLUMNS
    width = (end - start) % (2.0 * np.pi)
    first, last = start + 0.1 * width, start + 0.9 * width
    return np.arange(int(np.ceil(first / turn)), int(np.floor(last / turn)) + 1) % _COLUMNS
