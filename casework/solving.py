"""The bend of a case: bow fitted, straps laid, molars on their ligaments, and the search set up as the case asks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from casework.bow_needs import bow_needs, landmark
from casework.case_file import CaseModel
from casework.side_centre import SideCentre
from casework.straps import StrapGround, strap_pulls
from mechanics.bend.goal import Goal, line_goal, tip_goal
from mechanics.bend.help import less_pull
from mechanics.bend.solve import BendCase, BendSolution, solve_bend
from mechanics.bend.trial import Limits, Trial, Values, as_it_is
from mechanics.bow.activation import activated
from mechanics.bow.fit import BowFit, fit_bow
from mechanics.bow.needs import BowNeeds
from mechanics.bow.rigid_wear import rigid_wear
from mechanics.bow.skin import Skin
from mechanics.bow.wire import BowWire, JointRegion, TubeSupport, Wear
from mechanics.clearance.steer import cheek_from_mm, kept_clear
from mechanics.rod import Insertion, insertion
from mechanics.rod.stress import YieldError
from mechanics.rod.wear import elastic_wear, ideal_tube_wear
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array
from mesh_tools.surface import Surface

if TYPE_CHECKING:
    from mechanics.bow_from_scan.scanned import ScannedBow


@dataclass(frozen=True, eq=False)
class SolvedBend:
    """The search and its answer, in the treatment frame; ``inserted``: the bow in its tubes before any strap.

    ``widened_mm``: how much farther out each arm lies than ``fit`` has it, so that it keeps clear as worn.
    """

    fit: BowFit | None
    case: BendCase
    solution: BendSolution
    inserted: Insertion | None
    widened_mm: Mapping[Side, float] | None = None


def solved_bend(
    case: CaseModel,
    centres: Mapping[Side, SideCentre],
    rotation: Array,
    *,
    face: Surface | None = None,
    own_bow: ScannedBow | None = None,
) -> SolvedBend:
    """The bend that the case asks for; ``face`` is in LPS. ``own_bow`` is the bow in hand, else one is fitted.

    Raises BowtrueError in one line.
    """
    surface = None if face is None else face.moved(rotation)
    fit, bow = unbent_bow(case, rotation, skin=surface, own_bow=own_bow)
    skin = None if surface is None else Skin(surface)
    bend_case = bend_case_of(case, centres, rotation, bow, skin)
    return kept_clear_of_face(case, rotation, searched(case, bend_case, fit))


def kept_clear_of_face(case: CaseModel, rotation: Array, bend: SolvedBend) -> SolvedBend:
    """``bend`` with its bow widened or narrowed until it keeps just clear of the cheeks as worn (and bent again).

    A bow in hand stays as it is, and so does every bow without a face scan.
    """
    skin, fit = bend.case.skin, bend.fit
    if fit is None or skin is None:
        return bend
    unknowns = {side: tuple(dict.fromkeys(case.choices.unknowns)) for side in SIDES}

    near = bend.solution.worn_after.near or bend.case.wear

    def solve(bow: BowWire, trial: Trial) -> BendSolution:
        return solve_bend(replace(bend.case, bow=bow, wear=near), unknowns=unknowns, start=trial)

    found = kept_clear(
        bend.case.bow,
        bend.solution,
        solve,
        skin=skin,
        corner_mm=mouth_corners(case, rotation),
        wanted_mm=case.bow.cheek_clearance_mm,
    )
    if not found.rounds:
        return bend
    again = replace(bend.case, bow=found.bow)
    return SolvedBend(fit, again, found.solution, _inserted(case, again), found.widened_mm)


def mouth_corners(case: CaseModel, rotation: Array) -> dict[Side, Array]:
    """The mouth corners (3,) in the treatment frame."""
    return {s: rotation @ landmark(case, f"mouth_corner_{s}_mm") for s in SIDES}


def unbent_bow(
    case: CaseModel, rotation: Array, *, skin: Surface | None = None, own_bow: ScannedBow | None = None
) -> tuple[BowFit | None, BowWire]:
    """The bow before any bend, in the treatment frame like ``skin``: the bow in hand, else one fitted and its fit."""
    needs = bow_needs(case, rotation, skin)
    if own_bow is not None:
        return None, _own_bow(own_bow, needs)
    fit = fit_bow(needs)
    return fit, fit.wire


def searched(
    case: CaseModel, bend_case: BendCase, fit: BowFit | None, *, start: Trial | None = None
) -> SolvedBend:
    """The bend that the case asks for, of a bow and molars made ready, from ``start`` or as the case says.

    Raises BowtrueError in one line.
    """
    begin = _start(case, bend_case.bow) if start is None else start
    unknowns = {side: tuple(dict.fromkeys(case.choices.unknowns)) for side in SIDES}
    try:
        solution = solve_bend(bend_case, unknowns=unknowns, start=begin)
    except YieldError as err:
        raise too_strong_pull(bend_case, str(err), start=begin) from err
    yields = [text for text in solution.refusals if "wire yields" in text]
    if (
        yields
        and not solution.solved
        and (refused := too_strong_pull(bend_case, yields[-1], start=begin)).less
    ):
        raise refused
    return SolvedBend(fit, bend_case, solution, _inserted(case, bend_case))


class PullYieldsError(YieldError):
    """The bow yields under the pull that was asked for; ``less``: whether a weaker pull was found that does."""

    def __init__(self, text: str, *, less: bool) -> None:
        super().__init__(text)
        self.less = less


def too_strong_pull(bend_case: BendCase, told: str, *, start: Trial | None = None) -> PullYieldsError:
    """The one line for a bow that yields, unbent or on the way to its target: the stress, and the pull that would do.

    ``told`` is what the worn bow refused.
    """
    pulls = [f"{sum(strap.force_n for strap in bend_case.straps[s].straps):.1f} N" for s in SIDES]
    under = (
        f"under {pulls[0]} a side" if pulls[0] == pulls[1] else f"under {pulls[0]} (right), {pulls[1]} (left)"
    )
    less = less_pull(bend_case, start=start)
    if less is None:
        return PullYieldsError(f"{under}: {told}", less=False)
    stress = told.split(";")[0]
    return PullYieldsError(
        f"{under}, bent or not yet bent, the {stress}; less pull would do it: "
        f"{less.words}; or shorten the arms or take thicker wire.",
        less=True,
    )


def _own_bow(found: ScannedBow, needs: BowNeeds) -> BowWire:
    """The bow in hand in the patient's tubes. Its joint has the case's length about the found middle: a scan shows the
    wires together wherever they touch, which is more than the solder or sheath that makes them one bar."""
    from mechanics.bow_from_scan.scanned import in_tubes  # slow to import

    bow = in_tubes(found, needs.tubes, material=needs.stock.material)
    half, joint = 0.5 * needs.stock.joint_length_mm, bow.joint
    inner, outer = joint.inner_middle_mm, joint.outer_middle_mm
    return replace(
        bow, joint=JointRegion(inner - half, inner + half, outer - half, outer + half, joint.diameter_mm)
    )


def chosen_wear(case: CaseModel) -> Wear:
    """How the bow of ``case`` bends under load."""
    if case.choices.bow == "rigid":
        return rigid_wear
    return ideal_tube_wear if case.choices.ideal_tubes else elastic_wear


def bend_case_of(
    case: CaseModel, centres: Mapping[Side, SideCentre], rotation: Array, bow: BowWire, skin: Skin | None
) -> BendCase:
    """What stays the same while the bend is sought; ``bow`` and ``skin`` in the treatment frame."""
    targets = {side: rotation @ centres[side].target_mm for side in SIDES}
    stands = {side: TubeSupport(targets[side], centres[side].stiffness_at_target(rotation)) for side in SIDES}
    held = {side: TubeSupport(targets[side]) for side in SIDES}
    still = case.choices.ideal_tubes or case.choices.bow == "rigid"
    return BendCase(
        bow=_activated(case, bow),
        straps=strap_pulls(case, rotation, StrapGround(bow.hook_mm, None if skin is None else skin.face)),
        supports=held if still else stands,
        targets_mm=targets,
        goal=_goal(case, targets, stands),
        wear=chosen_wear(case),
        limits=_limits(case),
        skin=skin,
        cheek_from_mm=cheek_from_mm(bow, mouth_corners(case, rotation)),
    )


def _goal(case: CaseModel, targets: Mapping[Side, Array], stands: Mapping[Side, TubeSupport]) -> Goal:
    if case.choices.aim == "no_tip":
        return tip_goal(stands)
    return line_goal(targets, wanted_offset_mm=dict.fromkeys(SIDES, case.choices.wanted_offset_mm))


def _limits(case: CaseModel) -> Limits:
    most = case.choices.bend_limit_deg
    low, high = case.choices.arm_limits_mm
    return Limits(bend_deg=(-most, most), length_mm=(low, high))


def _activated(case: CaseModel, bow: BowWire) -> BowWire:
    given = case.bow.activation
    if given.passive:
        return bow
    return activated(
        bow,
        expansion_mm={"right": given.expansion_right_mm, "left": given.expansion_left_mm},
        toe_in_deg={"right": given.toe_in_right_deg, "left": given.toe_in_left_deg},
    )


def _start(case: CaseModel, bow: BowWire) -> dict[Side, Values] | None:
    """The trial with the case's own place of bend, or None for the bow's."""
    if case.bow.bend_place_mm is None:
        return None
    start = as_it_is(bow)
    for side in SIDES:
        start[side]["place_mm"] = case.bow.bend_place_mm
    return start


def _inserted(case: CaseModel, bend_case: BendCase) -> Insertion | None:
    """What an activated inner bow asks of the hand and does to the molars before any strap; None for a passive one."""
    if case.bow.activation.passive or case.choices.bow == "rigid":
        return None
    return insertion(bend_case.bow, bend_case.supports, ideal_tubes=case.choices.ideal_tubes)
