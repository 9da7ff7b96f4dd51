"""Where a strap may cross the back: the nape, the hollow below the back of the head, and the crown along a line."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike

from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array, unit
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface

UP_MM, DOWN_MM = 35.0, 75.0
"""The nape is sought this far above and below the hooks."""
LEAST_BEHIND_MM = 25.0
_LEVEL_MM = 2.0
_TIE = 0.02


def nape_of(skin: Surface, hooks_mm: Mapping[Side, Array]) -> Array:
    """The nape (3,): the foremost point of the back's outline in the middle between the hooks, z up and y back.

    Sought from 35 mm above to 75 mm below the hooks; of equally deep places the one nearest their height. Raises
    BadValueError when the skin does not reach round the back there.
    """
    middle = 0.5 * (hooks_mm["right"] + hooks_mm["left"])
    heights = middle[2] + np.arange(UP_MM, -DOWN_MM, -_LEVEL_MM)
    start = np.column_stack([np.full(len(heights), middle[0]), np.full(len(heights), middle[1]), heights])
    reach = _farthest(skin, start, np.array([0.0, 1.0, 0.0]))
    seen = reach > LEAST_BEHIND_MM
    if seen.sum() < 3:
        raise BadValueError(
            "the scan does not reach round the back of the neck between the hooks; scan farther back and below the "
            "ears, or leave the strap to the head model ([head]) or an angle."
        )
    best = _hollow(np.where(seen, reach, np.inf), np.abs(heights - middle[2]))
    return np.asarray(start[best] + np.array([0.0, reach[best], 0.0]))


def _hollow(reach: Array, off_mm: Array) -> int:
    """Place of the deepest hollow of an outline (n,); without one, the place where there is skin with least ``off_mm``.

    The outline's own ends are no hollow: a scan may be cut there.
    """
    depth = reach + _TIE * off_mm
    inner = depth[1:-1]
    low = np.flatnonzero(
        (inner < depth[:-2]) & (inner <= depth[2:]) & np.isfinite(depth[:-2]) & np.isfinite(depth[2:])
    )
    if len(low):
        return int(low[np.argmin(inner[low])]) + 1
    return int(np.argmin(np.where(np.isfinite(reach), off_mm, np.inf)))


def crown_along(skin: Surface, hooks_mm: Mapping[Side, Array], *, angle_deg: float) -> Array:
    """Where the plane through both hooks, rising backwards by ``angle_deg``, leaves the back of the head (3,).

    Raises BadValueError when it meets no skin there.
    """
    middle = 0.5 * (hooks_mm["right"] + hooks_mm["left"])
    rise = np.radians(angle_deg)
    way = np.array([0.0, np.cos(rise), np.sin(rise)])
    reach = float(_farthest(skin, middle[None], way)[0])
    if reach < LEAST_BEHIND_MM:
        raise BadValueError(
            f"the scan has no skin where a strap rising {angle_deg:g} degrees would cross the back of the head; scan "
            "the whole head, or leave the strap to the head model ([head]) or an angle."
        )
    return np.asarray(middle + reach * way)


def back_along(skin: Surface, hooks_mm: Mapping[Side, Array], through_mm: Mapping[Side, ArrayLike]) -> Array:
    """Where the plane of both hooks and of the middle of two points, one a side, crosses the back (3,).

    For a strap whose line is given. Raises BadValueError when it meets no skin there.
    """
    middle = 0.5 * (hooks_mm["right"] + hooks_mm["left"])
    goal = np.mean([np.asarray(through_mm[s], dtype=np.float64) for s in SIDES], axis=0)
    way = unit((goal - middle) * [0.0, 1.0, 1.0], name="way of the strap")
    reach = float(_farthest(skin, middle[None], way)[0])
    if way[1] <= 0.0 or reach < LEAST_BEHIND_MM:
        raise BadValueError("the strap's line meets no skin at the back.")
    return np.asarray(middle + reach * way)


def _farthest(skin: Surface, start: Array, way: Array) -> Array:
    """Distance (n,) from each of ``start`` (n, 3) along ``way`` to where it last leaves the skin, -inf if nowhere.

    Moller T, Trumbore B 1997 J Graph Tools 2:21-28 (from memory), against the faces near the rays.
    """
    side = unit(np.cross(way, [0.0, 0.0, 1.0] if abs(way[2]) < 0.9 else [1.0, 0.0, 0.0]))
    over = np.cross(side, way)
    corners = skin.corners_mm
    near = np.ones(len(corners), dtype=np.bool_)
    for axis in (side, over):
        place, at = corners @ axis, start @ axis
        near &= (place.min(axis=1) <= at.max() + 1e-9) & (place.max(axis=1) >= at.min() - 1e-9)
    a, b, c = np.moveaxis(corners[near], 1, 0)
    out = np.full(len(start), -np.inf)
    h = np.cross(way, c - a)
    det = np.sum((b - a) * h, axis=1)
    leaves = np.sum(np.cross(b - a, c - a) * way, axis=1) > 0.0
    safe = np.where((np.abs(det) > 1e-12) & leaves, det, np.inf)
    for i, origin in enumerate(start):
        s = origin - a
        u = np.sum(s * h, axis=1) / safe
        q = np.cross(s, b - a)
        v = q @ way / safe
        t = np.sum((c - a) * q, axis=1) / safe
        hit = (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1.0 + 1e-9) & np.isfinite(safe)
        if hit.any():
            out[i] = t[hit].max()
    return out
