"""The bench: everything of a case but its bend, made ready once, so that handles can be moved and answered at once.

Scans, centres, bow and skin are kept on a ``Shelf`` by what they were made from; a changed draft makes only what
depends on the change. Live answers are in ``live.py``.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from casework.bow_needs import check_landmarks, landmark
from casework.case_file import CaseModel
from casework.centre import CentreReport
from casework.desk.draft import Draft, case_of
from casework.desk.readings import case_scans
from casework.desk.shelf import Shelf
from casework.frame import treatment_rotation
from casework.landmark_frames import located_case
from casework.planning import bow_in_hand
from casework.question import METHODS
from casework.scans import Scan
from casework.side_centre import SideCentre, aimed_at, side_report
from casework.solving import SolvedBend, bend_case_of, kept_clear_of_face, searched, unbent_bow
from mechanics.bend.solve import BendCase
from mechanics.bow.fit import BowFit
from mechanics.bow.skin import Skin
from mechanics.bow.wire import BowWire
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError, BowtrueError

Say = Callable[[str], None]


@dataclass(frozen=True, eq=False)
class Workbench:
    """A case with everything but the bend. ``rotation`` takes LPS to the treatment frame, which ``ready`` is in.

    ``reports``: every estimate of each molar; ``centres``: the one aimed at. ``fit`` is None for a bow in hand.
    ``bow``: as fitted, before activation and clearance; the bow that handles bend is ``ready.bow``. ``answer``: the
    case's own bend, which settles how far the bow keeps from the cheeks; without one, ``refusal`` is its one line.
    """

    draft: Draft
    case: CaseModel
    scans: Mapping[str, Scan]
    rotation: Array
    reports: Mapping[Side, CentreReport]
    centres: dict[Side, SideCentre]
    fit: BowFit | None
    bow: BowWire
    skin: Skin | None
    ready: BendCase
    shelf: Shelf
    seconds: float
    answer: SolvedBend | None = None
    refusal: str = ""

    def lps(self, points: Array) -> Array:
        """Points or directions (..., 3) of the treatment frame in LPS."""
        return points @ self.rotation


def workbench(
    draft: Draft, *, shelf: Shelf | None = None, samples: int | None = 0, clear: bool = True,
    progress: Say = lambda _: None,
) -> Workbench:  # fmt: skip
    """The bench of ``draft``; give the last bench's ``shelf`` so that only what has changed is made again.

    ``samples``: draws of the inputs for the centres' regions (0: none, None: as the case says). ``clear``: solve the
    case's bend too, so that handles bend the very bow of the plan, which keeps clear of the cheeks as worn. Raises
    CaseError naming every key that is missing or wrong, and BowtrueError in one line for what a station refuses; a
    bend that is refused is told in ``refusal`` instead.
    """
    begin, kept = time.perf_counter(), shelf or Shelf()
    case = _sampled(case_of(draft), samples)
    progress("reading the scans")
    scans = case_scans(case, draft.folder, kept)
    case = located_case(case, scans).case
    check_landmarks(case)
    rotation = treatment_rotation(landmark(case, "occlusal_plane_mm"))
    progress("centres of resistance")
    reports = {side: _report(case, side, scans, rotation, kept) for side in SIDES}
    centres = {side: aimed_at(case, side, reports[side]) for side in SIDES}
    progress("fitting the bow")
    skin = _skin(scans, rotation, kept)
    fit, bow = _bow(case, scans, rotation, skin, kept)
    ready = bend_case_of(case, centres, rotation, bow, skin)
    bench = Workbench(draft, case, scans, rotation, reports, centres, fit, bow, skin, ready, kept, 0.0)
    if clear:
        progress("solving the bend")
        bench = cleared(bench)
    return replace(bench, seconds=time.perf_counter() - begin)


def cleared(bench: Workbench) -> Workbench:
    """``bench`` with the bow that a plan ends with; as it is, with ``refusal``, where the case's bend is refused."""
    try:
        answer = case_bend(bench)
    except BowtrueError as err:
        return replace(bench, answer=None, refusal=str(err))
    return replace(bench, ready=answer.case, answer=answer, refusal="")


def case_bend(bench: Workbench) -> SolvedBend:
    """The bend that the case asks for, as a plan solves it. Raises BowtrueError in one line."""
    case = bench.case

    def make() -> SolvedBend:
        ready = bend_case_of(case, bench.centres, bench.rotation, bench.bow, bench.skin)
        return kept_clear_of_face(case, bench.rotation, searched(case, ready, bench.fit))

    return bench.shelf.kept("bend", _bend_key(bench), make)


def _bend_key(bench: Workbench) -> Hashable:
    """What the bend of a case depends on: its numbers, the face, the bow in hand, the targets and the ligaments."""
    numbers = _sampled(bench.case, 0).model_dump_json(exclude={"case_id", "age_years", "scans"})
    placed = tuple(_placed(bench.scans.get(name), bench.rotation) for name in ("face", "bow"))
    stands = [(bench.centres[s].target_mm, bench.centres[s].stiffness) for s in SIDES]
    molars = tuple((t.tobytes(), None if k is None else k.tobytes()) for t, k in stands)
    return (numbers, placed, molars)


def aimed(bench: Workbench, method: str) -> Workbench:
    """``bench`` with ``method`` as the target of both sides, at once; nothing is read, estimated or solved again.

    Raises BadValueError for a method that was not estimated (the finite elements, unless the case asked for them);
    one that does not apply to a scan gives that side the next that does, as in a plan.
    """
    if method not in METHODS:
        raise BadValueError(f"unknown method {method!r}; known are {', '.join(METHODS)}.")
    if method == "finite_elements" and not any(method in r.methods for r in bench.reports.values()):
        raise BadValueError("the finite elements have not been solved for this case; start them first.")
    choices = bench.case.choices.model_copy(update={"target": method})
    case = bench.case.model_copy(update={"choices": choices})
    centres = {side: aimed_at(case, side, bench.reports[side]) for side in SIDES}
    ready = bend_case_of(case, centres, bench.rotation, bench.bow, bench.skin)
    ready = replace(ready, bow=bench.ready.bow)
    return replace(bench, case=case, centres=centres, ready=ready, answer=None, refusal="")


def estimated(case: CaseModel, folder: Path, shelf: Shelf) -> dict[Side, CentreReport]:
    """Every estimate of both molars, kept on ``shelf``. Raises BowtrueError in one line."""
    rotation, scans = treatment_rotation(landmark(case, "occlusal_plane_mm")), case_scans(case, folder, shelf)
    return {side: _report(case, side, scans, rotation, shelf) for side in SIDES}


def keep_reports(
    draft: Draft, reports: Mapping[Side, CentreReport], shelf: Shelf, *, samples: int | None = 0
) -> None:
    """Put ``reports``, made elsewhere (``tasks.estimated`` in a child process, for the finite elements), on ``shelf``,
    so that a ``workbench`` of ``draft`` with those ``samples`` finds them. Raises BowtrueError in one line."""
    case = _sampled(case_of(draft), samples)
    rotation, scans = (
        treatment_rotation(landmark(case, "occlusal_plane_mm")),
        case_scans(case, draft.folder, shelf),
    )
    for side in SIDES:
        shelf.put("report", report_key(case, side, scans.get(f"{side}_molar"), rotation), reports[side])


def _sampled(case: CaseModel, samples: int | None) -> CaseModel:
    if samples is None:
        return case
    return case.model_copy(update={"choices": case.choices.model_copy(update={"samples": samples})})


def _report(
    case: CaseModel, side: Side, scans: Mapping[str, Scan], rotation: Array, shelf: Shelf
) -> CentreReport:
    scan = scans.get(f"{side}_molar")
    key = report_key(case, side, scan, rotation)
    return shelf.kept("report", key, lambda: side_report(case, side, scan, rotation))


def report_key(case: CaseModel, side: Side, scan: Scan | None, rotation: Array) -> Hashable:
    """What the estimates of one molar depend on."""
    model, choices = getattr(case.scans, f"{side}_molar"), case.choices
    seen: Any = None
    if scan is not None:
        placed = scan.surface.points_mm.tobytes()
        bone = None if scan.bone is None else scan.bone.points_mm.tobytes()
        seen = (scan.sha256, hash(placed), hash(bone), scan.tooth, scan.changes, repr(model.landmarks))
    ends = tuple(landmark(case, f"tube_{side}_{end}_mm").tobytes() for end in ("mesial", "distal"))
    elements = choices.target == "finite_elements"
    layer = case.ligament.model_dump_json()
    return (
        side,
        seen,
        ends,
        rotation.tobytes(),
        layer,
        choices.crest_below_cej_mm,
        choices.samples,
        elements,
    )


def _skin(scans: Mapping[str, Scan], rotation: Array, shelf: Shelf) -> Skin | None:
    if "face" not in scans:
        return None
    face = scans["face"].surface
    return shelf.kept("skin", _placed(scans["face"], rotation), lambda: Skin(face.moved(rotation)))


def _placed(scan: Scan | None, rotation: Array) -> Hashable:
    """A scan and where it lies in the treatment frame."""
    return None if scan is None else (scan.sha256, hash(scan.surface.points_mm.tobytes()), rotation.tobytes())


def _bow(
    case: CaseModel, scans: Mapping[str, Scan], rotation: Array, skin: Skin | None, shelf: Shelf
) -> tuple[BowFit | None, BowWire]:
    stock = case.bow.model_copy(update={"bend_place_mm": None}).model_dump_json(exclude={"activation"})
    marks = case.landmarks.model_dump_json(
        include={f"tube_{s}_{e}_mm" for s in SIDES for e in ("mesial", "distal")}
        | {"incisor_contact_mm", *(f"mouth_corner_{s}_mm" for s in SIDES)}
    )
    seen = (_placed(scans.get("bow"), rotation), _placed(scans.get("face"), rotation))
    key = (seen, stock, marks, rotation.tobytes())
    face = None if skin is None else skin.face
    return shelf.kept("bow", key, lambda: unbent_bow(case, rotation, skin=face, own_bow=bow_in_hand(scans)))
