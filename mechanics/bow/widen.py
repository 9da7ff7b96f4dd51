"""Widening or narrowing an outer arm: it is carried sideways as it stands, by two small turns of the wire ahead of it.

The wire is turned outward over a few millimetres and back again farther on, about the vertical, so that the arm behind
keeps its direction, its length and its height, and lies ``outward_mm`` farther out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from mechanics.bow.wire import BowWire
from mechanics.sides import Side, outward_sign
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError

SPREAD_MM = 8.0  # wire taken up by one turn
MOST_TURN_DEG = 40.0


@dataclass(frozen=True)
class Widening:
    """``outward_mm`` of one arm, narrower below zero, by turns at ``from_mm`` and ``to_mm`` from the joint's middle."""

    outward_mm: float
    from_mm: float
    to_mm: float


def widened(bow: BowWire, changes: Mapping[Side, Widening]) -> BowWire:
    """``bow`` with its outer arms carried sideways; a side that is not named stays.

    Raises BadValueError for turns that do not fit between the joint and the arm's end, or that would have to be sharper
    than ``MOST_TURN_DEG``.
    """
    points = np.array(bow.outer.points_mm)
    middle = int(np.argmin(np.abs(bow.outer.s_mm - bow.joint.outer_middle_mm)))
    for side, change in changes.items():
        if change.outward_mm != 0.0:
            _check(bow, side, change)
            part = slice(middle, None) if side == "left" else slice(middle, None, -1)
            mirror = np.array([outward_sign(side), 1.0, 1.0])
            points[part] = mirror * _carried(mirror * points[part], side, change)
    return replace(bow, outer=replace(bow.outer, points_mm=points))


def _carried(arm: Array, side: Side, change: Widening) -> Array:
    """One arm (n, 3) from the joint's middle to the hook, outward along +x, carried sideways.

    The turn that does it, by Newton's method: the shift is nearly proportional to it.
    """
    steps = np.diff(arm, axis=0)
    long = np.linalg.norm(steps, axis=1)
    s = np.cumsum(long) - 0.5 * long
    share = _ramp((s - change.from_mm) / SPREAD_MM) - _ramp((s - change.to_mm) / SPREAD_MM)
    x, y, turn = steps[:, 0], steps[:, 1], 0.0
    for _ in range(12):
        c, w = np.cos(turn * share), np.sin(turn * share)
        left = change.outward_mm - float((x * c + y * w - x).sum())
        if abs(left) < 1e-9:
            new = np.stack([x * c + y * w, y * c - x * w, steps[:, 2]], axis=1)
            return np.concatenate([arm[:1], arm[0] + np.cumsum(new, axis=0)])
        lever = float((share * (y * c - x * w)).sum())
        turn = turn + left / lever if lever > 1e-6 else np.inf
        if not abs(turn) <= np.radians(MOST_TURN_DEG):
            break
    raise BadValueError(
        f"{side} arm cannot be carried {change.outward_mm:+.1f} mm sideways between {change.from_mm:.0f} and "
        f"{change.to_mm:.0f} mm from the middle; the wire would have to turn more than {MOST_TURN_DEG:.0f} degrees."
    )


def _ramp(t: Array) -> Array:
    """Smooth rise from 0 to 1 as ``t`` goes from -1/2 to 1/2; curvature starts and ends at zero."""
    u = np.clip(t + 0.5, 0.0, 1.0)
    return np.asarray(u**3 * (10.0 - 15.0 * u + 6.0 * u**2))


def _check(bow: BowWire, side: Side, change: Widening) -> None:
    half = 0.5 * (bow.joint.outer_to_mm - bow.joint.outer_from_mm)
    least, most = half + 0.5 * SPREAD_MM, bow.arm_length_mm(side) - 0.5 * SPREAD_MM
    if not least <= change.from_mm < change.to_mm <= most:
        raise BadValueError(
            f"{side} arm turns sideways at {change.from_mm:.1f} and {change.to_mm:.1f} mm from the middle; it takes "
            f"such turns between {least:.1f} and {most:.1f} mm, the outward one first."
        )
