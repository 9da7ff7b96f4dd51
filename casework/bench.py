"""What the bench needs to make one arm: the angle under the plier, and the bends in order."""

from __future__ import annotations

import numpy as np

from casework.plan import BenchWork
from casework.solving import SolvedBend
from mechanics.bow.wire import BowWire
from mechanics.making.bend_schedule import BendSchedule, bend_schedule
from mechanics.making.springback import plier_bend
from mechanics.sides import Side, outward_sign
from mesh_tools.arrays import unit
from mesh_tools.errors import BowtrueError

_LEAST_DEG, _LEAST_MM = 0.5, 0.05


def bench_work(side: Side, bend: SolvedBend) -> BenchWork:
    """The making of the arm of ``side``, from the fitted bow to the bent one."""
    bow, solution = bend.case.bow, bend.solution
    diameter = float(bow.outer.diameter_at(bow.outer_s_mm(side, solution.bench.bend_place_mm[side])))
    plier = plier_bend(_wire_deg(side, bend), diameter_mm=diameter, material=bow.material)
    schedule, told = _schedule(side, bend)
    return BenchWork(plier.plier_deg, plier.beak_radius_mm, schedule, (*_widening(side, bend), *told))


def _widening(side: Side, bend: SolvedBend) -> tuple[str, ...]:
    """What carries the arm sideways before any bend: part of the bow "as it is", which all distances are from."""
    out = (bend.widened_mm or {}).get(side, 0.0)
    if abs(out) < _LEAST_MM or bend.fit is None:
        return ()
    front, back, turn = _turns(side, bend.fit.wire, bend.case.bow)
    way = "widened (carried outward)" if out > 0.0 else "narrowed (carried inward)"
    return (
        f"First the arm is {way} by {abs(out):.1f} mm, by a turn of about {turn:.0f}° at {front:.0f} mm from the "
        f"middle of the joint and as much back at {back:.0f} mm, so that it keeps clear of the cheek as worn: the "
        "shape and distances of the bow as it is have this in them.",
    )


def _turns(side: Side, fitted: BowWire, made: BowWire) -> tuple[float, float, float]:
    """Where the arm turns aside and back, mm from the joint's middle, and by how many degrees.

    The wire between is carried off ever more: from a quarter and three quarters of it the ends are found. A wire of
    length l turned by an angle is carried 2 l sin(angle / 2) off, nearly, since it is nearly straight.
    """
    along = outward_sign(side) * (fitted.outer.s_mm - fitted.joint.outer_middle_mm)
    arm = np.flatnonzero(along >= 0.0)[:: outward_sign(side)]
    off = np.linalg.norm(made.outer.points_mm[arm] - fitted.outer.points_mm[arm], axis=1)
    low, high = np.interp([0.25, 0.75], np.maximum.accumulate(off) / off.max(), along[arm])
    half = 0.5 * float(high - low)
    turn = 2.0 * np.arcsin(min(1.0, off.max() / (8.0 * half)))
    return float(low) - half, float(high) + half, float(np.degrees(turn))


def _wire_deg(side: Side, bend: SolvedBend) -> float:
    """Angle that the wire itself is bent by, positive up: less than ``bend_deg`` where the arm runs aslant, since that
    turns the arm about the axis from side to side."""
    before, after = bend.case.bow.outer, bend.solution.bench.outer
    end = 0 if side == "right" else -1
    ways = [
        unit(wire.points_mm[end] - wire.points_mm[end + (1 if end == 0 else -1)]) for wire in (before, after)
    ]
    angle = float(np.degrees(np.arccos(np.clip(ways[0] @ ways[1], -1.0, 1.0))))
    return float(np.copysign(angle, bend.solution.bend_deg(side)))


def _schedule(side: Side, bend: SolvedBend) -> tuple[BendSchedule | None, tuple[str, ...]]:
    have, wanted = bend.case.bow, bend.solution.bench
    change = wanted.arm_length_mm(side) - have.arm_length_mm(side)
    if abs(change) > 0.01:
        return None, (
            f"Take an arm {abs(change):.1f} mm {'longer' if change > 0 else 'shorter'} first, then bend.",
        )
    if abs(bend.solution.bend_deg(side)) < _LEAST_DEG and not bend.solution.trial[side]["rise_mm"]:
        return None, ("No bend is needed on this side.",)
    try:
        schedule = bend_schedule(have, wanted, side)
    except BowtrueError as err:
        return None, (str(err),)
    return schedule, schedule.warnings
