"""From a case to its plan: scans, centres, bow, straps, bend; every station a function of what went before.

The bend is solved in the treatment frame; the plan is given back in LPS.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

from casework.bow_needs import landmark
from casework.case_file import CaseModel
from casework.cheek import cheek_findings
from casework.clearance import case_clearance, clearance_warnings
from casework.force_module import module_solved
from casework.frame import treatment_rotation
from casework.limits import case_warnings, plan_warnings
from casework.plan import InputFile, Plan
from casework.proposals import ready_case
from casework.scans import Scan, read_scans
from casework.side_centre import SideCentre, side_centre
from casework.side_plan import Solved, side_plan
from casework.solving import SolvedBend, solved_bend, too_strong_pull
from casework.strap_paths import strap_paths
from casework.straps import standing_straps
from mechanics.bend.help import what_would_help
from mechanics.bend.sensitivity import sensitivities
from mechanics.rod.stress import YieldError
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array

if TYPE_CHECKING:
    from mechanics.bow_from_scan.scanned import ScannedBow

Say = Callable[[str], None]


def with_choices(case: CaseModel, *, rigid_bow: bool, ideal_tubes: bool, sampled: bool = True) -> CaseModel:
    """``case`` with the choices made on the command line."""
    changes: dict[str, object] = {}
    if rigid_bow:
        changes["bow"] = "rigid"
    if ideal_tubes:
        changes["ideal_tubes"] = True
    if not sampled:
        changes["samples"] = 0
    return case.model_copy(update={"choices": case.choices.model_copy(update=changes)})


def plan_case(case: CaseModel, folder: Path, *, progress: Say = lambda _: None) -> Plan:
    """The plan of ``case``; relative scan paths start at ``folder``. Raises BowtrueError in plain lines."""
    progress("reading the scans")
    scans = read_scans(case, folder)
    located = ready_case(case, scans)
    case = located.case
    rotation = treatment_rotation(landmark(case, "occlusal_plane_mm"))
    progress("centres of resistance")
    centres = {side: side_centre(case, side, scans.get(f"{side}_molar"), rotation) for side in SIDES}
    progress("fitting the bow and solving the bend")
    face = scans["face"].surface if "face" in scans else None
    own_bow = bow_in_hand(scans)

    def solve(one: CaseModel) -> SolvedBend:
        return solved_bend(one, centres, rotation, face=face, own_bow=own_bow)

    case, bend, module = module_solved(case, solve, rotation, face=face, progress=progress)
    plan = told_plan(case, scans, centres, bend, rotation)
    return replace(
        plan,
        warnings=(*located.warnings, *plan.warnings, *(() if module is None else module.warnings)),
        findings=(*located.findings, *plan.findings),
        module=module,
    )


def told_plan(
    case: CaseModel,
    scans: Mapping[str, Scan],
    centres: dict[Side, SideCentre],
    bend: SolvedBend,
    rotation: Array,
) -> Plan:
    """The plan read off a bend that is solved already; ``rotation`` takes LPS to the treatment frame."""
    try:
        slopes = sensitivities(bend.case, bend.solution.trial, worn=bend.solution.worn_after)
    except YieldError as err:
        raise too_strong_pull(bend.case, str(err)) from err
    solved = Solved(rotation, centres, bend, slopes, what_would_help(bend.case, bend.solution))
    return _plan(case, scans, solved)


def bow_in_hand(scans: Mapping[str, Scan]) -> ScannedBow | None:
    """The bow of the case's scan of it, or None without one."""
    if "bow" not in scans:
        return None
    from mechanics.bow_from_scan.scanned import scanned_bow  # slow to import

    return scanned_bow(scans["bow"].surface)


def _plan(case: CaseModel, scans: Mapping[str, Scan], solved: Solved) -> Plan:
    back, bend, solution = solved.rotation.T, solved.bend, solved.bend.solution
    inserted = None if bend.inserted is None else bend.inserted.worn.moved(back)
    sides = {side: side_plan(side, solved) for side in SIDES}
    face = scans["face"].surface if "face" in scans else None
    cheeks = cheek_findings(face, sides, rotation=solved.rotation)
    sides = {side: replace(sides[side], cheek=cheeks[side].marks) for side in SIDES}
    warnings = [*case_warnings(case), *(w for c in solved.centres.values() for w in c.warnings)]
    warnings += [w for cheek in cheeks.values() for w in cheek.warnings]
    laid = strap_paths(case, bend.case, solution.worn_after.hook_mm, solved.rotation, face)
    arch = scans["arch"].surface if "arch" in scans else None
    clearance = case_clearance(
        case, solution.worn_after, solution.bench, rotation=solved.rotation, skin=bend.case.skin, arch=arch
    )
    warnings += clearance_warnings(clearance)
    molars = {s: scans[f"{s}_molar"].surface for s in SIDES if f"{s}_molar" in scans}
    changes = [f"scans.{name}: {text}" for name, scan in scans.items() for text in scan.changes]
    warnings += [*laid.warnings, *plan_warnings(sides, solution.worn_after, proof_mpa=case.bow.proof_mpa)]
    return Plan(
        case_id=case.case_id,
        version=version("bowtrue"),
        age_years=case.age_years,
        pull_kind=case.pull.kind,
        bow_model=case.choices.bow,
        treatment_rotation=solved.rotation,
        sides=sides,
        straps=standing_straps(bend.case.straps, solution.worn_after.hook_mm, back),
        bow_before=bend.case.bow.moved(back),
        bow_bench=solution.bench.moved(back),
        worn_before=solution.worn_before.moved(back),
        worn_after=solution.worn_after.moved(back),
        inserted=inserted,
        insertion_force_n={} if bend.inserted is None else {s: bend.inserted.hand_size_n(s) for s in SIDES},
        molars=molars,
        face=face,
        arch=arch,
        clearance=clearance.moved(back),
        warnings=tuple(warnings),
        findings=(*changes, *laid.findings),
        inputs=tuple(InputFile(name, scan.file, scan.sha256) for name, scan in scans.items()),
        strap_paths=laid.paths,
    )
