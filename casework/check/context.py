"""What a check needs of the plan: what it expects to see, and the bench bow as a bend case that starts at the plan."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from casework.case_file import CaseModel
from casework.check.line import Expected
from casework.plan import Plan, SidePlan
from casework.side_ligament import side_ligament
from casework.solving import chosen_wear
from casework.straps import pull_turned
from mechanics.bend.goal import Goal, line_goal, tip_goal
from mechanics.bend.solve import BendCase
from mechanics.bend.trial import Limits
from mechanics.bow.wire import TubeSupport
from mechanics.rigid import stiffness_about, stiffness_turned
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array


@dataclass(frozen=True, eq=False)
class CheckContext:
    """``bend``: the plan's bench bow with its straps, treatment frame, so that no change is the plan itself.

    ``wanted_mm``: where each line is meant to pass its target; ``expected``: each side as the plan expects it.
    """

    plan: Plan
    bend: BendCase
    wanted_mm: dict[Side, float]
    expected: dict[Side, Expected]


def check_context(case: CaseModel, plan: Plan) -> CheckContext:
    """The context of ``plan``, made from ``case``."""
    rotation = plan.treatment_rotation
    targets = {s: rotation @ plan.sides[s].target_mm for s in SIDES}
    stands = {s: TubeSupport(targets[s], _ligament(plan.sides[s], rotation, targets[s])) for s in SIDES}
    still = case.choices.ideal_tubes or case.choices.bow == "rigid"
    most, (low, high) = case.choices.bend_limit_deg, case.choices.arm_limits_mm
    bend = BendCase(
        bow=plan.bow_bench.moved(rotation),
        straps={s: pull_turned(plan.straps[s], rotation) for s in SIDES},
        supports={s: TubeSupport(targets[s]) for s in SIDES} if still else stands,
        targets_mm=targets,
        goal=_goal(case, targets, stands),
        wear=chosen_wear(case),
        limits=Limits(bend_deg=(-most, most), length_mm=(low, high)),
    )
    return CheckContext(plan, bend, _wanted(case, plan), {s: _expected(plan, s) for s in SIDES})


def _goal(case: CaseModel, targets: dict[Side, Array], stands: dict[Side, TubeSupport]) -> Goal:
    if case.choices.aim == "no_tip":
        return tip_goal(stands)
    return line_goal(targets, wanted_offset_mm=dict.fromkeys(SIDES, case.choices.wanted_offset_mm))


def _wanted(case: CaseModel, plan: Plan) -> dict[Side, float]:
    """The offset that is meant; for an aim at no tip, the one at which the plan found none."""
    if case.choices.aim == "no_tip":
        return {s: plan.sides[s].offset_after_mm for s in SIDES}
    return dict.fromkeys(SIDES, case.choices.wanted_offset_mm)


def _ligament(side: SidePlan, rotation: Array, target_mm: Array) -> Array | None:
    """Stiffness (6, 6) of the molar's ligament about its target, treatment frame; None when no root was seen."""
    stiffness = side_ligament(side)
    return None if stiffness is None else stiffness_about(stiffness_turned(stiffness, rotation), target_mm)


def _expected(plan: Plan, name: Side) -> Expected:
    side, rotation = plan.sides[name], plan.treatment_rotation
    mark = rotation @ side.rule.tube_mesial_mm
    straps = pull_turned(plan.straps[name], rotation).straps
    hook = rotation @ side.hook_mm
    way = np.array([s.direction_at(hook) for s in straps])
    leads = [None if s.toward_mm is None else (s.toward_mm - mark)[1:] for s in straps]
    return Expected(
        side=name,
        hook_mm=(hook - mark)[1:],
        target_mm=(rotation @ side.target_mm - mark)[1:],
        strap_mm=np.array([[np.nan, np.nan] if p is None else p for p in leads]),
        angle=np.arctan2(way[:, 2], way[:, 1]),
        force_n=np.array([s.force_n for s in straps]),
        share=np.hypot(way[:, 1], way[:, 2]),
    )
