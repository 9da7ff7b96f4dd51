"""From two scans and a plan to each molar's real movement."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from casework.case_file import CaseModel
from casework.moved.regions import Hold, crown_faces, held_faces
from casework.moved.toothmove import Prediction, ToothMove, prediction, tooth_move
from casework.moved.tracking import TrackError, held_still, tracked
from casework.moved.verdict import Compared, compared
from casework.plan import Plan
from casework.registering import LandmarkPairs, ScanFile, read_scan_file
from casework.registration import joined
from mechanics.sides import SIDES, Side
from mesh_tools.errors import BowtrueError
from mesh_tools.read import sha256_of
from mesh_tools.registration.landmark_fit import landmark_fit
from mesh_tools.registration.motion import RigidMotion
from mesh_tools.registration.register import register
from mesh_tools.surface import Surface


@dataclass(frozen=True, eq=False)
class SideMoved:
    """One molar: what it did, what the plan predicted, and whether they agree."""

    move: ToothMove
    predicted: Prediction | None
    compared: Compared


@dataclass(frozen=True, eq=False)
class Moved:
    """Both molars between two scans. ``hold``: what was held still, its area, fit and share; ``notes`` of the whole."""

    case_id: str
    months: float | None
    hold: str
    held_mm2: float
    held_rms_mm: float
    held_agreement: float
    sides: dict[Side, SideMoved]
    notes: tuple[str, ...]


def moved_molars(
    case: CaseModel,
    plan: Plan,
    earlier: Surface,
    later: Surface,
    *,
    hold: Hold | None = None,
    pairs: LandmarkPairs | None = None,
    months: float | None = None,
    seed: int = 0,
) -> Moved:
    """Each molar's movement from ``earlier``, which lies in the case's frame, to ``later``, in any frame.

    ``pairs`` lead from the later to the earlier scan where their shapes alone do not. Raises BowtrueError in one line
    for scans that share nothing, a region too small, and a crown that is not found.
    """
    kept = Hold() if hold is None else hold
    planes = np.asarray(case.landmarks.occlusal_plane_mm, dtype=np.float64)
    faces = held_faces(earlier, plan, kept, occlusal_mm=planes)
    crowns = {side: crown_faces(earlier, plan, side) for side in SIDES}
    fit = None if pairs is None else landmark_fit(pairs.moving_mm, pairs.fixed_mm)
    held = held_still(earlier, later, faces, landmarks=fit, seed=seed)
    sides = {}
    for k, side in enumerate(SIDES):
        track = tracked(earlier, held, crowns[side], side, seed=seed + 1 + k)
        move = tooth_move(plan, side, held, track, seed=seed + 11 + k)
        expected = prediction(plan, side, track.middle_mm)
        found = compared(move, expected, months=months, age_years=plan.age_years)
        sides[side] = SideMoved(move, expected, found)
    return Moved(
        case_id=plan.case_id,
        months=months,
        hold=kept.words,
        held_mm2=held.area_mm2,
        held_rms_mm=held.draws.rms_mm,
        held_agreement=held.found.agreement.agreement,
        sides=sides,
        notes=_notes(kept, months, plan.age_years),
    )


def earlier_in_case(case: CaseModel, plan: Plan, scan: ScanFile) -> Surface:
    """The scan in the file ``scan`` in the case's frame: the case's own arch, or laid on it or on the molars.

    Raises TrackError when it fits nothing of the case.
    """
    own = next((i for i in plan.inputs if i.name == "arch"), None)
    if (
        own is not None
        and plan.arch is not None
        and scan.path.is_file()
        and sha256_of(scan.path) == own.sha256
    ):
        return plan.arch
    surface = read_scan_file(scan)
    known = [plan.arch] if plan.arch is not None else list(plan.molars.values())
    if not known:
        return surface
    try:
        found = register(surface, joined(known), start=RigidMotion.still())
    except BowtrueError as err:
        raise TrackError(f"{scan.path}: the earlier scan does not fit the case's scans: {err}") from err
    return found.motion.moved(surface)


def _notes(hold: Hold, months: float | None, age_years: float | None) -> tuple[str, ...]:
    found = []
    if hold.kind != "palate":
        found.append(
            f"Held still: {hold.words}. What of it moved, by treatment or growth, is taken from the molars' movement; "
            "the palate moves least where the scans show it."
        )
    if months is None:
        found.append(
            "The months between the scans are not given, so growth is not allowed for: give --months."
        )
    elif age_years is None:
        found.append("The case gives no age, so growth is not allowed for.")
    found.append(
        "Scans of the teeth show movement within the arch only: growth of the jaw as a whole, which is most of the "
        "correction in a growing child, needs a cephalogram."
    )
    return tuple(found)
