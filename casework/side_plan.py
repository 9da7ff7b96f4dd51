"""One side of the plan, read off the solved bend and turned back to LPS."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np

from casework.bench import bench_work
from casework.plan import RuleMarks, SideBands, SidePlan, Wrench
from casework.side_bands import bands_about, side_bands
from casework.side_centre import SideCentre
from casework.solving import SolvedBend
from mechanics.bend.help import Help
from mechanics.bend.sensitivity import Sensitivity
from mechanics.bow.bend import bend_point_mm
from mechanics.bow.passivity import passivity
from mechanics.bow.wire import WornBow
from mechanics.centres.movement import Movement, movement_under
from mechanics.centres.rule_of_thumb import UP_MM
from mechanics.sides import Side, other_side, outward_sign
from mesh_tools.arrays import Array


@dataclass(frozen=True, eq=False)
class Solved:
    """What the plan is read from; everything but ``rotation`` (LPS to treatment frame) and centres is in its frame."""

    rotation: Array
    centres: dict[Side, SideCentre]
    bend: SolvedBend
    sensitivities: dict[Side, Sensitivity]
    help: Sequence[Help]

    def lps(self, points: Array) -> Array:
        """Points or directions (..., 3) back in LPS."""
        return np.asarray(points @ self.rotation)


def side_plan(side: Side, solved: Solved) -> SidePlan:
    """The plan of ``side``."""
    centre, solution = solved.centres[side], solved.bend.solution
    worn = solution.worn_after
    before, after = solution.line_before[side], solution.line_after[side]
    force, moment = worn.force_n[side], worn.moment_n_mm[side]
    return SidePlan(
        side=side,
        tooth=centre.report.tooth.fdi,
        centre=centre.report,
        target_method=centre.target_method,
        target_mm=centre.target_mm,
        rule=_rule_marks(side, solved),
        arm_length_mm=solution.bench.arm_length_mm(side),
        bend_deg=solution.bend_deg(side),
        bend_place_mm=solution.bench.bend_place_mm[side],
        bend_point_mm=solved.lps(bend_point_mm(solution.bench, side)),
        hook_before_mm=solved.lps(solution.worn_before.hook_mm[side]),
        hook_bench_mm=solved.lps(solution.bench.hook_mm[side]),
        hook_mm=solved.lps(worn.hook_mm[side]),
        strap_toward_mm=_strap_point(side, solved),
        strap_direction=solved.lps(worn.strap_direction[side]),
        strap_direction_before=solved.lps(solution.worn_before.strap_direction[side]),
        strap_force_n=worn.strap_force_n[side],
        offset_before_mm=before.offset_mm,
        offset_after_mm=after.offset_mm,
        tipping_moment_before_n_mm=before.tipping_moment_n_mm,
        tipping_moment_after_n_mm=after.tipping_moment_n_mm,
        tip_before_n_mm=-float(solution.worn_before.moment_n_mm[side][0]),
        tip_after_n_mm=-float(moment[0]),
        wrench_at_centre=Wrench(solved.lps(force), solved.lps(moment)),
        distal_n=float(force[1]),
        vertical_n=float(force[2]),
        lateral_n=outward_sign(side) * float(force[0]),
        solved=solution.solved_side(side),
        movement=_movement(side, solved, worn),
        movement_before=_movement(side, solved, solution.worn_before),
        bench=bench_work(side, solved.bend),
        fit=passivity(solved.bend.case.bow, seat="as it lies")[side],
        widened_mm=(solved.bend.widened_mm or {}).get(side, 0.0),
        skin_mm=None if solution.skin_mm is None else solution.skin_mm[side],
        bands=_bands(side, solved),
        advice=tuple(h.text for h in solved.help) if not solution.solved_side(side) else (),
        sensitivities=asdict(solved.sensitivities[side]),
    )


def _rule_marks(side: Side, solved: Solved) -> RuleMarks:
    tube = solved.bend.case.bow.tubes[side]
    back = tube.axis * np.array([1.0, 1.0, 0.0])
    corner = tube.mesial_mm + np.array([0.0, 0.0, UP_MM])
    half = 0.5 * tube.length_mm
    rule = solved.centres[side].report.methods.get("rule_of_thumb")
    marked = solved.lps(corner + half * back / np.linalg.norm(back))
    return RuleMarks(
        tube_mesial_mm=solved.lps(tube.mesial_mm),
        tube_distal_mm=solved.lps(tube.distal_mm),
        corner_mm=solved.lps(corner),
        point_mm=marked if rule is None else rule.point_mm,
        up_mm=UP_MM,
        back_mm=half,
    )


def _strap_point(side: Side, solved: Solved) -> Array | None:
    hooks = solved.bend.solution.worn_after.hook_mm
    straps = solved.bend.case.straps[side].standing(hooks[side], hooks[other_side(side)]).straps
    if len(straps) != 1 or straps[0].toward_mm is None:
        return None
    return solved.lps(straps[0].toward_mm)


def _movement(side: Side, solved: Solved, worn: WornBow) -> Movement | None:
    return movement_of(solved.centres[side], worn, side, solved.rotation)


def movement_of(centre: SideCentre, worn: WornBow, side: Side, rotation: Array) -> Movement | None:
    """What the whole wrench on the molar does to it in side view, in words; None when its roots are not seen."""
    anatomy = centre.report.anatomy
    if centre.stiffness is None or anatomy is None:
        return None
    apex = np.mean(list(anatomy.apices_mm.values()), axis=0)
    crown = anatomy.cervical_line_mm.mean(axis=0) - anatomy.crown_height_mm * anatomy.long_axis
    return movement_under(
        centre.stiffness,
        force=np.asarray(worn.force_n[side] @ rotation),
        moment=np.asarray(worn.moment_n_mm[side] @ rotation),
        about_mm=centre.target_mm,
        crown_mm=crown,
        apex_mm=apex,
        rotation=rotation,
    )


def _bands(side: Side, solved: Solved) -> SideBands | None:
    """Bands of bend and moment from the sampled centre; None when nothing was sampled or the bend moves nothing."""
    sampled = solved.centres[side].report.confidence
    slope = solved.sensitivities[side].per_degree
    if sampled is None or abs(slope) < 1e-3:
        return None
    solution = solved.bend.solution
    line, worn = solution.line_after[side], solution.worn_after
    halves = side_bands(
        sampled, hook_mm=solved.lps(worn.hook_mm[side]), direction=solved.lps(worn.strap_direction[side]),
        force_n=line.in_plane_n, per_degree=slope, rotation=solved.rotation,
    )  # fmt: skip
    samples = sampled.uncertainty.convergence.samples
    return bands_about(solution.bend_deg(side), line.tipping_moment_n_mm, halves, samples=samples)
