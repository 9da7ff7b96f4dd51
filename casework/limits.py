"""Limits of use, said where the number is: one sentence each, in the plan's ``warnings``."""

from __future__ import annotations

from casework.case_file import N_PER_GF, CaseModel
from mechanics.sides import SIDES, Side

# Root completion of the upper first molar at 9-10 years: Ash/Nelson, Wheeler's Dental Anatomy (textbook average).
_ROOTS_COMPLETE_YEARS = 10.0
# 250-500 gf per side for orthopaedic and orthodontic effect: statement in Prog Orthod 2016, s40510-016-0130-4.
_USUAL_GF = (150.0, 500.0)


def case_warnings(case: CaseModel) -> list[str]:
    """What the case alone says: age, force, asymmetry, the rigid bow."""
    return [*_age(case), *_force(case), *_asymmetry(case), *_rigid(case)]


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
        pull = case.pull.side(side)
        total_gf = (pull.newtons + (pull.high.newtons if pull.high else 0.0)) / N_PER_GF
        if not _USUAL_GF[0] <= total_gf <= _USUAL_GF[1]:
            found.append(
                f"Force on the {side} is {total_gf:.0f} gf; usual is up to 500 gf per side, 250-500 for an orthopaedic "
                "effect (Prog Orthod 2016;17): check that it is meant."
            )
    return found


def _asymmetry(case: CaseModel) -> list[str]:
    arms: dict[Side, float] = {"right": case.bow.arm_mm("right"), "left": case.bow.arm_mm("left")}
    uneven = abs(arms["right"] - arms["left"]) > 1.0 or (
        abs(case.pull.right.newtons - case.pull.left.newtons) > 0.05 * case.pull.right.newtons
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
