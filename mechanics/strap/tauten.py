"""The shortest path from hook to hook around the back that stays outside the skin, without friction.

The path meets every half-plane of the fan in one point. Where it touches, the point lies on the bed and only its
height is free; elsewhere the path is straight. For a given set of touching half-planes the length has a Newton step
with a tridiagonal matrix; the set then drops the points that would have to hold the strap down and takes in those
that the straight parts cut into, until neither is left: a taut string with one-sided contact.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.linalg import LinAlgError
from scipy.linalg import solveh_banded

from mechanics.strap.bed import Bed
from mechanics.strap.hull import chord_gaps, hull_places
from mesh_tools.arrays import Array, BoolArray, IntArray
from mesh_tools.errors import NoAnswerError

ROUNDS = 60
NEWTONS = 40
FLAT = 1e-11
"""Out-of-balance force per unit tension at which a height has settled."""
CUT_MM = 1e-7
LONGEST_STEP_MM = 4.0


class StrapSlipsError(NoAnswerError):
    """A strap without friction does not stay where it was laid."""


@dataclass(frozen=True, eq=False)
class Taut:
    """A taut path in the fan's axes: which half-planes ``k`` (n,) it touches, at which height, and where.

    ``points`` (n, 3) without the hooks; ``press`` (n,): how much it turns there, contact force per unit tension.
    """

    k: IntArray
    height_mm: Array
    points: Array
    press: Array


def tautened(bed: Bed, ends: Array, *, start: Taut | None = None) -> Taut:
    """The taut path between ``ends`` (2, 3), fan axes, right then left; ``start``: a path taut nearby.

    Raises StrapSlipsError when the path is not held by the shape of the skin, NoAnswerError when no touching set
    settles.
    """
    between = _between(bed, ends)
    height = _straight_heights(bed, ends, between)
    touching = _first_set(bed, ends, between, height) if start is None else start.k
    if start is not None:
        inside = np.isin(start.k, between)
        touching = start.k[inside] if inside.any() else _first_set(bed, ends, between, height)
        height[np.searchsorted(between, start.k[inside])] = start.height_mm[inside]
    for _ in range(ROUNDS):
        here = np.searchsorted(between, touching)
        z = _settled(bed, ends, touching, height[here])
        height = np.interp(bed.fan.angles[between], bed.fan.angles[touching], z)
        points = on_bed(bed, touching, z)
        held = _held_down(bed, ends, touching, points)
        cut = _cut(bed, ends, between, points, touching)
        if not held.any() and not cut.any():
            return Taut(touching, z, points, _press(ends, points))
        kept = touching[~held] if not cut.any() else touching
        touching = np.union1d(kept, between[cut])
        if not len(touching):
            raise NoAnswerError("the strap touches no skin between the hooks; check the hooks and the skin.")
    raise NoAnswerError(
        f"the strap's contact does not settle in {ROUNDS} rounds; the skin under it is too rough: smooth the scan."
    )


def on_bed(bed: Bed, k: IntArray, height_mm: Array) -> Array:
    """Points (n, 3) of the bed in the half-planes ``k``, fan axes."""
    reach, angle = bed.reach_at(k, height_mm), bed.fan.angles[k]
    return np.stack([reach * np.sin(angle), reach * np.cos(angle), height_mm], axis=1)


def _between(bed: Bed, ends: Array) -> IntArray:
    """Half-planes strictly between the hooks'."""
    right, left = np.arctan2(ends[:, 0], ends[:, 1])
    return np.flatnonzero((bed.fan.angles > right + 1e-6) & (bed.fan.angles < left - 1e-6))


def _straight_heights(bed: Bed, ends: Array, between: IntArray) -> Array:
    """First guess of the heights: level at the back, turning to the hooks."""
    right, left = np.arctan2(ends[:, 0], ends[:, 1])
    return np.asarray(np.interp(bed.fan.angles[between], [right, 0.0, left], [ends[0, 2], 0.0, ends[1, 2]]))


def _first_set(bed: Bed, ends: Array, between: IntArray, height: Array) -> IntArray:
    points = on_bed(bed, between, height)
    outline = np.concatenate([ends[:1], points, ends[1:]])[:, :2]
    places = hull_places(outline)[1:-1] - 1
    if not len(places):
        raise NoAnswerError("the strap touches no skin between the hooks; check the hooks and the skin.")
    return between[places]


def _spans(ends: Array, points: Array) -> tuple[Array, Array]:
    """Unit vectors (n + 1, 3) and lengths (n + 1,) of the straight parts from hook to hook."""
    step = np.diff(np.concatenate([ends[:1], points, ends[1:]]), axis=0)
    length = np.linalg.norm(step, axis=1)
    return step / length[:, None], length


def _press(ends: Array, points: Array) -> Array:
    along, _ = _spans(ends, points)
    return np.asarray(np.linalg.norm(np.diff(along, axis=0), axis=1))


def _held_down(bed: Bed, ends: Array, k: IntArray, points: Array) -> BoolArray:
    """Points that would have to pull the strap towards the skin (n,)."""
    along, _ = _spans(ends, points)
    angle = bed.fan.angles[k]
    turn = along[:-1] - along[1:]
    return np.asarray(turn[:, 0] * np.sin(angle) + turn[:, 1] * np.cos(angle) < -1e-12)


def _cut(bed: Bed, ends: Array, between: IntArray, points: Array, touching: IntArray) -> BoolArray:
    """Half-planes of ``between`` in which a straight part runs inside the skin (m,)."""
    path = np.concatenate([ends[:1], points, ends[1:]])
    free = np.setdiff1d(between, touching, assume_unique=True)
    reach, height = chord_gaps(path, bed.fan.angles[free], np.searchsorted(touching, free))
    inside = bed.reach_at(free, height) - reach > CUT_MM
    return np.isin(between, free[inside], assume_unique=True)


def _settled(bed: Bed, ends: Array, k: IntArray, z: Array) -> Array:
    """Heights (n,) that make the path through the half-planes ``k`` shortest."""
    limit = -bed.fan.heights_mm[0] - 0.5 * bed.width_mm
    for _ in range(NEWTONS):
        slope, bands, length = _newton_system(bed, ends, k, z)
        if np.abs(slope).max() < FLAT:
            _check_held(bands)
            return z
        step = -_solved(bands, slope)
        step *= min(1.0, LONGEST_STEP_MM / max(float(np.abs(step).max()), 1e-300))
        z = _shortened(bed, ends, k, z, step, slope=float(slope @ step), length=length)
        if np.abs(z).max() > limit:
            raise StrapSlipsError("slips")
    slope, bands, _ = _newton_system(bed, ends, k, z)
    if np.abs(slope).max() > 1e-7:
        raise StrapSlipsError("slips")
    return z


def _shortened(
    bed: Bed, ends: Array, k: IntArray, z: Array, step: Array, *, slope: float, length: float
) -> Array:
    for _ in range(12):
        ahead = z + step
        if _spans(ends, on_bed(bed, k, ahead))[1].sum() <= length + 1e-4 * slope + 1e-11:
            return ahead
        step, slope = 0.5 * step, 0.5 * slope
    return ahead


def _newton_system(bed: Bed, ends: Array, k: IntArray, z: Array) -> tuple[Array, Array, float]:
    """Derivative (n,) of the length by the heights, its own derivative as upper bands (2, n), and the length."""
    reach, d1, d2 = bed.at(k, z)
    s, c = np.sin(bed.fan.angles[k]), np.cos(bed.fan.angles[k])
    points = np.stack([reach * s, reach * c, z], axis=1)
    along, length = _spans(ends, points)
    tangent = np.stack([d1 * s, d1 * c, np.ones_like(z)], axis=1)
    turn = along[:-1] - along[1:]
    slope = np.sum(tangent * turn, axis=1)
    before, after = np.sum(tangent * along[:-1], axis=1), np.sum(tangent * along[1:], axis=1)
    square = np.sum(tangent**2, axis=1)
    bands = np.zeros((2, len(z)))
    bands[1] = (square - before**2) / length[:-1] + (square - after**2) / length[1:]
    bands[1] += d2 * (turn[:, 0] * s + turn[:, 1] * c)
    across = np.sum(tangent[:-1] * tangent[1:], axis=1) - after[:-1] * before[1:]
    bands[0, 1:] = -across / length[1:-1]
    return slope, bands, float(length.sum())


def _solved(bands: Array, right: Array) -> Array:
    """Newton step; where the length is not yet bowl-shaped the diagonal is raised until it is."""
    lift = 0.0
    for _ in range(30):
        try:
            return np.asarray(solveh_banded(bands + np.array([[0.0], [lift]]), right, check_finite=False))
        except LinAlgError:
            lift = max(4.0 * lift, 1e-3)
    raise StrapSlipsError("slips")


def _check_held(bands: Array) -> None:
    try:
        solveh_banded(bands, np.zeros(bands.shape[1]), check_finite=False)
    except LinAlgError as err:
        raise StrapSlipsError("slips") from err


def end_slopes(bed: Bed, ends: Array, taut: Taut) -> Array:
    """How both leaving points move with both hooks, (2, 3, 2, 3): point, coordinate, hook, coordinate; fan axes.

    The touching set stays; exact for it by the implicit function of the Newton system.
    """
    _, d1, _ = bed.at(taut.k, taut.height_mm)
    _, bands, _ = _newton_system(bed, ends, taut.k, taut.height_mm)
    s, c = np.sin(bed.fan.angles[taut.k]), np.cos(bed.fan.angles[taut.k])
    tangent = np.stack([d1 * s, d1 * c, np.ones_like(d1)], axis=1)
    along, length = _spans(ends, taut.points)
    right = np.zeros((len(taut.k), 6))
    for hook, (k, span) in enumerate(((0, 0), (-1, -1))):
        across = tangent[k] - (tangent[k] @ along[span]) * along[span]
        right[k, 3 * hook : 3 * hook + 3] = across / length[span]
    heights = solveh_banded(bands, right, check_finite=False)
    moved = np.stack([np.outer(tangent[k], heights[k]) for k in (0, -1)])
    return np.asarray(moved.reshape(2, 3, 2, 3))
