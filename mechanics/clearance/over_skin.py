"""Marks and lengths on the skin of one cheek, as a person who looks along x sees and measures them.

Frame: the treatment frame (LPS mm, z the occlusal plane's normal). A point of the cheek is named by its place (y, z)
in side view; on the skin it lies where the sideways line through that place comes out last on its side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mechanics.sides import Side, outward_sign
from mesh_tools.arrays import Array, frozen
from mesh_tools.errors import NoAnswerError
from mesh_tools.surface import Surface

_EDGE = 1e-9  # share of a face by which a place may miss it and still count as on its edge
_INWARD_MM = 15.0  # skin this far inside a place is still its own cheek, farther in it is the other one


class HoleInSkinError(NoAnswerError):
    """A place that should be marked on the skin has no skin over it."""


@dataclass(frozen=True, eq=False)
class SkinWay:
    """A way over the skin: its points (n, 3), and the longest stretch of it that crosses a hole, in mm."""

    points_mm: Array
    bridged_mm: float

    @property
    def length_mm(self) -> float:
        """Length along the way, straight across holes."""
        return float(np.linalg.norm(np.diff(self.points_mm, axis=0), axis=1).sum())


def on_skin(face: Surface, side: Side, place_mm: ArrayLike, *, what: str = "the mark") -> Array:
    """The point (3,) of the skin beside ``place_mm`` (3,): the outermost on ``side`` at its y and z.

    Raises HoleInSkinError, naming ``what``, where the sideways line meets no skin on that side.
    """
    given, sign = frozen(place_mm, (3,), name=what), outward_sign(side)
    place = given[1:]
    corners = _faces_between(face, place, place)
    x = _outermost(corners, sign, place[None], least=sign * float(given[0]) - _INWARD_MM)[0]
    if np.isnan(x):
        raise HoleInSkinError(
            f"the face scan has no skin beside {what} on the {side} (a hole, or the scan ends before it); close the "
            "hole or scan the cheek again."
        )
    return np.array([x, *place])


def way_over_skin(face: Surface, side: Side, start_mm: ArrayLike, end_mm: ArrayLike) -> SkinWay:
    """The way over the skin from ``start_mm`` to ``end_mm`` (3,), both on it, in the plane that holds them and x.

    The plane's cut through the outermost skin, exact for a triangle surface: one point for every edge it crosses. A
    fold that hides skin is stepped over, a hole crossed straight.
    """
    start, end = frozen(start_mm, (3,), name="start"), frozen(end_mm, (3,), name="end")
    sign, corners = outward_sign(side), _faces_between(face, start[1:], end[1:])
    least = sign * float(start[0]) - _INWARD_MM
    t = _crossed(corners, start[1:], end[1:])
    places = start[1:] + t[:, None] * (end - start)[1:]
    x = _outermost(corners, sign, places, least=least)
    seen = ~np.isnan(x)
    inner = np.column_stack([x[seen], places[seen]])
    points = np.concatenate([start[None], inner, end[None]])
    middles = 0.5 * (points[1:, 1:] + points[:-1, 1:])
    bare = np.isnan(_outermost(corners, sign, middles, least=least))
    return SkinWay(points, _longest(np.linalg.norm(np.diff(points, axis=0), axis=1), bare))


def _faces_between(face: Surface, one: Array, other: Array) -> Array:
    """Corners (m, 3, 3) of the faces whose boxes in side view meet the box of two places (2,)."""
    low, high = np.minimum(one, other) - 1e-6, np.maximum(one, other) + 1e-6
    flat = face.corners_mm[..., 1:]
    meets = (flat.max(axis=1) >= low).all(axis=1) & (flat.min(axis=1) <= high).all(axis=1)
    return np.asarray(face.corners_mm[meets])


def _outermost(corners: Array, sign: int, places: Array, *, least: float) -> Array:
    """x (k,) of the outermost face of ``corners`` (m, 3, 3) over each place (k, 2), outward being ``sign``.

    NaN where none lies at least ``least`` outward.
    """
    if not len(corners):
        return np.full(len(places), np.nan)
    a, b, c = np.moveaxis(corners, 1, 0)
    p = places[:, None, :]
    area = _cross(b[:, 1:] - a[:, 1:], c[:, 1:] - a[:, 1:])
    flat = np.abs(area) > 1e-12
    safe = np.where(flat, area, 1.0)
    v = _cross(p - a[:, 1:], (c - a)[:, 1:]) / safe
    w = _cross((b - a)[:, 1:], p - a[:, 1:]) / safe
    hit = flat & (v >= -_EDGE) & (w >= -_EDGE) & (v + w <= 1.0 + _EDGE)
    x = a[:, 0] + v * (b - a)[:, 0] + w * (c - a)[:, 0]
    out = np.where(hit & (sign * x >= least), sign * x, -np.inf).max(axis=1)
    return np.where(np.isfinite(out), sign * out, np.nan)


def _crossed(corners: Array, start: Array, end: Array) -> Array:
    """Where (0 to 1, sorted, each once) the line from ``start`` to ``end`` (2,) crosses the edges of the faces."""
    along = end - start
    square = float(along @ along)
    if square == 0.0 or not len(corners):
        return np.zeros(0)
    flat = corners[..., 1:] - start
    beside = _cross(along, flat)
    ahead = flat @ along / square
    found = []
    for k in range(3):
        s0, s1, t0, t1 = beside[:, k], beside[:, k - 2], ahead[:, k], ahead[:, k - 2]
        over = s0 * s1 <= 0.0
        over &= s0 != s1
        found.append(t0[over] + (s0[over] / (s0[over] - s1[over])) * (t1[over] - t0[over]))
    t = np.concatenate(found)
    return np.unique(np.round(t[(t > 1e-9) & (t < 1.0 - 1e-9)], 12))


def _longest(steps: Array, bare: Array) -> float:
    """Length of the longest run of ``steps`` (n,) that are ``bare`` (n,)."""
    most = run = 0.0
    for step, hole in zip(steps, bare, strict=True):
        run = run + float(step) if hole else 0.0
        most = max(most, run)
    return most


def _cross(a: Array, b: Array) -> Array:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])
