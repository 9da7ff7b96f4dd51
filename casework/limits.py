"""Limits of use, said where the number is: one sentence each, in the plan's ``warnings``."""

from __future__ import annotations

from collections.abc import Mapping

from casework.case_file import N_PER_GF, CaseModel
from casework.plan import SidePlan
from mechanics.bow.wire import WornBow
from mechanics.sides import SIDES, Side

# Root completion of the upper first molar at 9-10 years: Ash/Nelson, Wheeler's Dental Anatomy (textbook average).
_ROOTS_COMPLETE_YEARS = 10.0
# 250-500 gf per side for orthopaedic and orthodontic effect: statement in Prog Orthod 2016, s40510-016-0130-4.
_USUAL_GF = (150.0, 500.0)
_STRESS_SHARE = 0.8  # of the proof stress: our choice
_TIP_N_MM = 2.0  # about half a millimetre of offset at 4 N: our choice
# Largest SD per direction about the trifurcation and the buccal face: Gandhi V et al. 2021 AJODO 160:442-450.
_RULE_SCATTER_MM = 2.7


def case_warnings(case: CaseModel) -> list[str]:
    """What the case alone says: age, force, asymmetry, the rigid bow."""
    return [*_age(case), *_force(case), *_asymmetry(case), *_rigid(case)]


def plan_warnings(sides: Mapping[Side, SidePlan], worn: WornBow, *, proof_mpa: float) -> list[str]:
    """What the solved plan says: a target not reached, a rule of thumb far off, notes of the loaded bow."""
    found = [*worn.notes, *_stressed(worn, proof_mpa), *_pushed(sides)]
    for side, plan in sides.items():
        if not plan.solved:
            found.append(
                f"{side} side: the line of force is NOT brought to the target; {plan.offset_after_mm:+z.1f} mm are "
                f"left at {plan.bend_deg:+z.0f} degrees. See the advice of that side."
            )
        found += [*_shared(side, plan), *_coupled(side, plan)]
        apart = plan.centre.distance_mm(plan.target_method, "rule_of_thumb")
        if apart is not None and apart > _RULE_SCATTER_MM:
            found.append(
                f"{side} side: the rule of thumb lies {apart:.1f} mm from the target, more than the published scatter "
                f"of the centre ({_RULE_SCATTER_MM} mm): check the tube landmarks and the tooth's picture."
            )
    return found


def _stressed(worn: WornBow, proof_mpa: float) -> list[str]:
    if worn.max_stress_mpa <= _STRESS_SHARE * proof_mpa:
        return []
    part, place = worn.max_stress_place
    return [
        f"The {part} wire is stressed to {worn.max_stress_mpa:.0f} of {proof_mpa:.0f} MPa proof, {place:.0f} mm from "
        "its right end: it may take a set; use thicker wire, less force or less activation."
    ]


def _pushed(sides: Mapping[Side, SidePlan]) -> list[str]:
    """Sideways force larger than the strap's: the inner bow is not passive."""
    return [
        f"{side} side: the bow pushes the molar {'outward' if s.lateral_n > 0.0 else 'inward'} with "
        f"{abs(s.lateral_n):.1f} N, more than the strap's {s.strap_force_n:.1f} N: lessen expansion or toe-in, "
        "or fit the inner bow passively."
        for side, s in sides.items()
        if abs(s.lateral_n) > s.strap_force_n
    ]


def _shared(side: Side, plan: SidePlan) -> list[str]:
    """What reaches a molar through the shared bow although its own line of force says otherwise."""
    apart = plan.tip_after_n_mm - plan.tipping_moment_after_n_mm
    if abs(apart) < _TIP_N_MM:
        return []
    way = "roots" if plan.tip_after_n_mm > 0.0 else "crown"
    return [
        f"{side} side: its line of force alone would tip the molar by {plan.tipping_moment_after_n_mm:+.1f} N mm, but "
        f"{plan.tip_after_n_mm:+.1f} N mm reach it through the bow both sides share ({way} back): the sides differ. "
        'choices.aim = "no_tip" solves for what each molar feels.'
    ]


def _coupled(side: Side, plan: SidePlan) -> list[str]:
    """A tip that comes from turning and sideways loads, though hardly any tipping moment reaches the molar."""
    seen = plan.movement
    if (
        seen is None
        or seen.kind == "bodily"
        or seen.tip_deg_per_mm is None
        or abs(plan.tip_after_n_mm) >= _TIP_N_MM
    ):
        return []
    return [
        f"{side} side: the line of force runs as wanted, yet the molar is predicted to tip by "
        f"{abs(seen.tip_deg_per_mm):.1f} degrees per mm, since yaw, torque and sideways force reach it as well. "
        'choices.aim = "no_tip" takes them in.'
    ]


def _age(case: CaseModel) -> list[str]:
    if case.age_years is None:
        return [
            "Age is not given: before 9-10 years the molar's roots may be incomplete, which moves the centre."
        ]
    if case.age_years < _ROOTS_COMPLETE_YEARS:
        return [
            f"Age {case.age_years:g}: the roots of an upper first molar are complete at 9-10 years (textbook "
            "average); look at the apices, since an incomplete root moves the centre of resistance occlusally."
        ]
    return []


def _force(case: CaseModel) -> list[str]:
    found = []
    for side in SIDES:
        total_gf = _total_n(case, side) / N_PER_GF
        if not _USUAL_GF[0] <= total_gf <= _USUAL_GF[1]:
            found.append(
                f"Force on the {side} is {total_gf:.0f} gf; usual is up to 500 gf per side, 250-500 for an orthopaedic "
                "effect (Prog Orthod 2016;17): check that it is meant."
            )
    return found


def _total_n(case: CaseModel, side: Side) -> float:
    """Force of all straps of ``side``, N."""
    pull = case.pull.side(side)
    return pull.newtons + (pull.high.newtons if pull.high else 0.0)


def _asymmetry(case: CaseModel) -> list[str]:
    arms: dict[Side, float] = {"right": case.bow.arm_mm("right"), "left": case.bow.arm_mm("left")}
    forces = {s: _total_n(case, s) for s in SIDES}
    uneven = abs(arms["right"] - arms["left"]) > 1.0 or (
        abs(forces["right"] - forces["left"]) > 0.05 * forces["right"]
    )
    if not uneven:
        return []
    return [
        "The two sides differ in arm length or force: an asymmetric bow always makes a lateral force on the molars "
        "(Khadka 2013 J Nepal Dent Assoc 13(2))."
    ]


def _rigid(case: CaseModel) -> list[str]:
    if case.choices.bow == "elastic":
        return []
    return [
        "The bow is taken as RIGID. A real bow lets its hook drop by several mm under load and the line of force with "
        "it: do not pre-bend on the bench from these numbers."
    ]
