"""What the bench needs to make one arm: the angle under the plier, and the bends in order."""

from __future__ import annotations

import numpy as np

from casework.plan import BenchWork
from casework.solving import SolvedBend
from mechanics.making.bend_schedule import BendSchedule, bend_schedule
from mechanics.making.springback import plier_bend
from mechanics.sides import Side
from mesh_tools.arrays import unit
from mesh_tools.errors import BowtrueError

_LEAST_DEG = 0.5


def bench_work(side: Side, bend: SolvedBend) -> BenchWork:
    """The making of the arm of ``side``, from the fitted bow to the bent one."""
    bow, solution = bend.case.bow, bend.solution
    diameter = float(bow.outer.diameter_at(bow.outer_s_mm(side, solution.bench.bend_place_mm[side])))
    plier = plier_bend(_wire_deg(side, bend), diameter_mm=diameter, material=bow.material)
    schedule, told = _schedule(side, bend)
    return BenchWork(plier.plier_deg, plier.beak_radius_mm, schedule, told)


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
