"""The skin seen from inside: how far it reaches along rays in a fan of half-planes about an axis.

A strap round the back of neck or head lies near the plane of both hooks and the place where it crosses the back. The
fan's axis stands on that plane, inside the body, so that every ray meets the skin from within and the outermost hit
is what the strap can touch.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mechanics.sides import Side
from mesh_tools.arrays import Array, BoolArray, IntArray, frozen, unit
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface

AXIS_FROM_BACK = 0.45
"""Where the axis stands, from the back towards the middle of the hooks: inside neck and head."""
STEP_DEG = 1.0
STEP_MM = 1.0
EDGE = 1e-9


@dataclass(frozen=True, eq=False)
class FanFrame:
    """Axes of a fan: rows of ``axes`` (3, 3) are left, back and up; heights count from ``origin_mm`` (3,)."""

    origin_mm: Array
    axes: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "origin_mm", frozen(self.origin_mm, (3,), name="fan origin"))
        object.__setattr__(self, "axes", frozen(self.axes, (3, 3), name="fan axes"))

    @classmethod
    def through(cls, hooks_mm: Mapping[Side, Array], back_mm: ArrayLike) -> FanFrame:
        """The frame whose zero height is the plane of both hooks and of ``back_mm`` (3,).

        Raises BadValueError when the three lie on a line.
        """
        back = np.asarray(back_mm, dtype=np.float64)
        middle = 0.5 * (hooks_mm["right"] + hooks_mm["left"])
        across = hooks_mm["left"] - hooks_mm["right"]
        up = np.cross(across, back - middle)
        if np.linalg.norm(up) < 1.0:
            raise BadValueError(
                "both hooks and the back of the strap lie on one line, so the strap goes round nothing; "
                "check the hooks and the place of the strap."
            )
        up = unit(up)
        left = unit(across)
        return cls(back + AXIS_FROM_BACK * (middle - back), np.array([left, np.cross(up, left), up]))

    def inward(self, points_mm: ArrayLike) -> Array:
        """Points (..., 3) in the fan's axes: left, back, up from the origin."""
        return (np.asarray(points_mm, dtype=np.float64) - self.origin_mm) @ self.axes.T

    def outward(self, points: ArrayLike) -> Array:
        """Points (..., 3) of the fan's axes where they are in the world, mm."""
        return np.asarray(points, dtype=np.float64) @ self.axes + self.origin_mm


@dataclass(frozen=True, eq=False)
class Fan:
    """How far the skin reaches: ``reach_mm`` (m, h) along the ray at each angle and height, NaN where there is no skin.

    Angles (m,) in rad from the back, positive to the left; heights (h,) mm. ``folded`` (m, h): the ray also leaves
    through a fold before its outermost hit, as behind an ear.
    """

    frame: FanFrame
    angles: Array
    heights_mm: Array
    reach_mm: Array
    folded: BoolArray


def skin_fan(
    skin: Surface, frame: FanFrame, *, half_angle: float, half_height_mm: float, step_deg: float = STEP_DEG
) -> Fan:
    """Outermost hits of the rays within ``half_angle`` (rad) of the back and ``half_height_mm`` of the plane.

    Every ray is met exactly with the triangles: no sampling error beside that of the mesh.
    """
    count = int(np.ceil(np.degrees(half_angle) / step_deg))
    angles = np.radians(step_deg * np.arange(-count, count + 1, dtype=np.float64))
    rows = int(np.ceil(half_height_mm / STEP_MM))
    heights = STEP_MM * np.arange(-rows, rows + 1, dtype=np.float64)
    corners = frame.inward(skin.points_mm)[skin.faces]
    near = (corners[:, :, 2].min(axis=1) <= heights[-1]) & (corners[:, :, 2].max(axis=1) >= heights[0])
    corners = corners[near]
    face, k, j = _candidates(corners, angles, heights)
    hit, reach, leaving = _hits(corners[face], angles[k], heights[j])
    cell = (k * len(heights) + j)[hit]
    size = len(angles) * len(heights)
    out = np.full(size, -np.inf)
    np.maximum.at(out, cell[leaving], reach[leaving])
    folded = np.bincount(cell[~leaving], minlength=size) > 0
    out[np.isneginf(out)] = np.nan
    shape = (len(angles), len(heights))
    return Fan(frame, angles, heights, out.reshape(shape), folded.reshape(shape))


def _candidates(corners: Array, angles: Array, heights: Array) -> tuple[IntArray, IntArray, IntArray]:
    """Faces with every angle and height of the grid inside their bounds: face, angle, height, each (c,)."""
    theta = np.arctan2(corners[:, :, 0], corners[:, :, 1])
    wraps = np.ptp(theta, axis=1) > np.pi
    low_k = np.searchsorted(angles, np.where(wraps, -np.inf, theta.min(axis=1)) - EDGE)
    high_k = np.searchsorted(angles, np.where(wraps, np.inf, theta.max(axis=1)) + EDGE, side="right")
    low_j = np.searchsorted(heights, corners[:, :, 2].min(axis=1) - EDGE)
    high_j = np.searchsorted(heights, corners[:, :, 2].max(axis=1) + EDGE, side="right")
    wide, tall = high_k - low_k, high_j - low_j
    each = wide * tall
    face = np.repeat(np.arange(len(corners)), each)
    place = np.arange(each.sum()) - np.repeat(np.cumsum(each) - each, each)
    return face, low_k[face] + place // tall[face], low_j[face] + place % tall[face]


def _hits(corners: Array, angles: Array, heights: Array) -> tuple[BoolArray, Array, BoolArray]:
    """Which rays (c,) meet their face, how far out (hits,), and whether they leave the body there (hits,)."""
    s, c = np.sin(angles)[:, None], np.cos(angles)[:, None]
    off = corners[:, :, 0] * c - corners[:, :, 1] * s
    out = corners[:, :, 0] * s + corners[:, :, 1] * c
    rise = corners[:, :, 2] - heights[:, None]
    share = np.stack([_turn(off, rise, 1, 2), _turn(off, rise, 2, 0), _turn(off, rise, 0, 1)], axis=1)
    area = share.sum(axis=1)
    met = np.abs(area) > 1e-14
    weight = share[met] / area[met, None]
    inside = (weight >= -EDGE).all(axis=1)
    reach = np.sum(weight * out[met], axis=1)
    inside &= reach > 0.0
    hit = np.zeros(len(angles), dtype=np.bool_)
    hit[np.flatnonzero(met)[inside]] = True
    return hit, reach[inside], area[hit] < 0.0


def _turn(off: Array, rise: Array, a: int, b: int) -> Array:
    """Twice the signed area of the ray's foot with corners ``a`` and ``b``, seen along the ray."""
    return np.asarray(off[:, a] * rise[:, b] - off[:, b] * rise[:, a])
