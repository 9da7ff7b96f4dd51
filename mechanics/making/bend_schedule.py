"""From a bow in hand to the wanted one: the fewest bends that do it, each as length, rotation and angle.

Length runs along the outer wire from the joint's middle. Rotation says which way the arm goes, seen from
behind along the wire: 0 up, 90 outward, 180 down, -90 inward. The usual order of wire bending: feed by
length, turn by rotation, bend by angle. Bends are made from the joint toward the hook.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mechanics.bow.bend import SPREAD_MM
from mechanics.bow.wire import BowWire, StockMaterial
from mechanics.making.springback import BEAK_RADIUS_MM, PlierBend, plier_bend
from mechanics.sides import Side, outward_sign
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError, NoAnswerError

STATIONS = 111
MOST_BENDS = 6
SAME_PLACE_MM = 4.0  # bends nearer than this work the same wire
SMALLEST_DEG = 0.05


@dataclass(frozen=True)
class PastBend:
    """A bend the arm already had: its place along the wire from the joint's middle, and its angle."""

    place_mm: float
    angle_deg: float


@dataclass(frozen=True)
class BenchBend:
    """One row of the schedule; ``turn_deg`` is the rotation since the bend before (the first: from up)."""

    place_mm: float
    feed_mm: float
    rotation_deg: float
    turn_deg: float
    angle_deg: float
    plier: PlierBend


@dataclass(frozen=True)
class BendSchedule:
    """The rows of one arm, how far the wire then still lies from the wanted one at worst, and warnings."""

    side: Side
    bends: tuple[BenchBend, ...]
    worst_mm: float
    warnings: tuple[str, ...]


def bend_schedule(
    existing: BowWire,
    wanted: BowWire,
    side: Side,
    *,
    tolerance_mm: float = 0.5,
    beak_radius_mm: float = BEAK_RADIUS_MM,
    past: Sequence[PastBend] = (),
) -> BendSchedule:
    """The fewest bends that bring one arm of ``existing`` within ``tolerance_mm`` of ``wanted``,
    everywhere.

    Both arms must be equally long: cut the wire first. Raises BadValueError when they are not,
    NoAnswerError when six bends do not do it.
    """
    lengths = existing.arm_length_mm(side), wanted.arm_length_mm(side)
    if abs(lengths[0] - lengths[1]) > max(tolerance_mm, 0.01):
        raise BadValueError(
            f"{side} arm is {lengths[0]:.1f} mm long and the wanted one {lengths[1]:.1f} mm; cut or choose the wire to "
            "length first."
        )
    s = np.linspace(0.0, min(lengths), STATIONS)
    have, goal = (_arm(bow, side, s) for bow in (existing, wanted))
    goal = goal + have[0] - goal[0]
    x, worst = _fewest(have, goal, s, tolerance_mm=tolerance_mm, side=side)
    rows = _rows(x, have, s, side, existing.material, _diameter(existing, side), beak_radius_mm)
    return BendSchedule(side, rows, worst, _warnings(side, rows, past))


def _arm(bow: BowWire, side: Side, s: Array) -> Array:
    """Points (n, 3) of one arm at lengths ``s`` from the joint's middle."""
    step = s if side == "left" else -s
    return bow.outer.at(bow.joint.outer_middle_mm + step)


def _diameter(bow: BowWire, side: Side) -> float:
    return float(bow.outer.diameter_mm[0 if side == "right" else -1])


def _fewest(have: Array, goal: Array, s: Array, *, tolerance_mm: float, side: Side) -> tuple[Array, float]:
    """Bends (m, 3): place and rotation vector's two parts across the wire; more are added until the worst
    gap fits."""
    x = np.zeros((0, 3))
    for _ in range(MOST_BENDS + 1):
        worst = float(np.linalg.norm(_bent(x, have, s) - goal, axis=1).max())
        if worst <= tolerance_mm:
            return x[np.argsort(x[:, 0])], worst
        x = _refined(np.vstack([x, _next(_bent(x, have, s), goal, have, s)]), have, goal, s)
    raise NoAnswerError(
        f"{MOST_BENDS} bends leave the {side} arm {worst:.1f} mm from the wanted one; allow a larger tolerance or "
        "start from another bow."
    )


def _next(now: Array, goal: Array, have: Array, s: Array) -> Array:
    """A first guess of one more bend: the place from which one turn explains most of what the directions
    differ."""
    off = np.cross(_ways(now), _ways(goal))
    count = np.arange(len(off), 0, -1.0)
    beyond = np.cumsum(off[::-1], axis=0)[::-1]
    k = int(np.argmax(np.sum(beyond**2, axis=1) / count))
    across = _across(_ways(have)[k])
    return np.array([[s[k], *(across @ (beyond[k] / count[k]))]])


def _refined(x: Array, have: Array, goal: Array, s: Array) -> Array:
    from scipy.optimize import least_squares  # slow to import: only when bends are sought

    scale = np.array([5.0, 0.1, 0.1])

    def gaps(y: Array) -> Array:
        return np.asarray((_bent(y.reshape(-1, 3) * scale, have, s) - goal).ravel())

    low = np.tile(np.array([s[0], -2.0, -2.0]) / scale, len(x))
    high = np.tile(np.array([s[-1], 2.0, 2.0]) / scale, len(x))
    start = np.clip((x / scale).ravel(), low + 1e-9, high - 1e-9)
    found = least_squares(gaps, start, bounds=(low, high), xtol=1e-8, ftol=1e-8, gtol=1e-8, max_nfev=20)
    return np.asarray(found.x.reshape(-1, 3) * scale)


def _bent(x: Array, have: Array, s: Array) -> Array:
    """The arm ``have`` (n, 3) with bends ``x`` (m, 3), each spread over ``SPREAD_MM``; the joint's middle
    stays."""
    way = np.diff(have, axis=0)
    middle = 0.5 * (s[1:] + s[:-1])
    for place, a, b in x[np.argsort(x[:, 0])][::-1]:
        axis = np.array([a, b]) @ _across(_way_at(have, s, place))
        u = np.clip((middle - place) / SPREAD_MM + 0.5, 0.0, 1.0)
        share = u**3 * (10.0 - 15.0 * u + 6.0 * u**2)
        way = _turned(way, axis, share)
    return np.concatenate([have[:1], have[0] + np.cumsum(way, axis=0)])


def _turned(ways: Array, axis: Array, share: Array) -> Array:
    """Each of ``ways`` (n, 3) turned by its ``share`` (n,) of the rotation vector ``axis`` (3,): Rodrigues' formula."""
    angle = float(np.linalg.norm(axis))
    if angle == 0.0:
        return ways
    way = axis / angle
    turn = (share * angle)[:, None]
    along = (ways @ way)[:, None] * way
    return np.asarray(along + np.cos(turn) * (ways - along) + np.sin(turn) * np.cross(way, ways))


def _ways(points: Array) -> Array:
    way = np.diff(points, axis=0)
    return np.asarray(way / np.linalg.norm(way, axis=1, keepdims=True))


def _way_at(points: Array, s: Array, place: float) -> Array:
    """Unit direction of the wire at ``place``, changing smoothly with it."""
    middle = 0.5 * (s[1:] + s[:-1])
    ways = _ways(points)
    way = np.array([np.interp(place, middle, ways[:, k]) for k in range(3)])
    return np.asarray(way / np.linalg.norm(way))


def _across(way: Array) -> Array:
    """Two unit vectors (2, 3) across the wire: a turn about the first lifts the arm, about the second
    swings it level."""
    level = np.cross(way, [0.0, 0.0, 1.0])
    level = level / np.linalg.norm(level)
    return np.asarray(np.stack([level, np.cross(level, way)]))


def _rows(
    x: Array,
    have: Array,
    s: Array,
    side: Side,
    material: StockMaterial,
    diameter_mm: float,
    beak_radius_mm: float,
) -> tuple[BenchBend, ...]:
    rows: list[BenchBend] = []
    for place, a, b in x:
        angle = float(np.degrees(np.hypot(a, b)))
        if angle < SMALLEST_DEG:
            continue
        rotation = _clock(np.array([a, b]), _way_at(have, s, place), side)
        before = rows[-1] if rows else None
        rows.append(
            BenchBend(
                place_mm=float(place),
                feed_mm=float(place - (before.place_mm if before else 0.0)),
                rotation_deg=rotation,
                turn_deg=_wrapped(rotation - (before.rotation_deg if before else 0.0)),
                angle_deg=angle,
                plier=plier_bend(
                    angle, diameter_mm=diameter_mm, material=material, beak_radius_mm=beak_radius_mm
                ),
            )
        )
    return tuple(rows)


def _clock(turn: Array, way: Array, side: Side) -> float:
    """Which way the arm goes: 0 up, 90 outward."""
    level, up = _across(way)
    goes = np.cross(turn @ np.stack([level, up]), way)
    out = level * (1.0 if level[0] * outward_sign(side) > 0.0 else -1.0)
    return float(np.degrees(np.arctan2(goes @ out, goes @ up)))


def _wrapped(degrees: float) -> float:
    return float((degrees + 180.0) % 360.0 - 180.0)


def _warnings(side: Side, rows: tuple[BenchBend, ...], past: Sequence[PastBend]) -> tuple[str, ...]:
    """Warns where wire is bent again: cold-worked steel hardens and breaks (common practice, no source)."""
    found = []
    for row in rows:
        near = [p for p in past if abs(p.place_mm - row.place_mm) < SAME_PLACE_MM]
        if near:
            total = row.angle_deg + sum(abs(p.angle_deg) for p in near)
            found.append(
                f"{side} arm at {row.place_mm:.0f} mm was bent {len(near)} time{'s' if len(near) > 1 else ''} before "
                f"({total:.0f} degrees in all): worked wire hardens and may break; bend it once, or take a new bow."
            )
    return tuple(found)
