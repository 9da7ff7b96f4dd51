"""The neck and its hinges for a case: from the strap landmarks, with what is not given assumed and said so."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from casework.bow_needs import landmark
from casework.case_file import CaseError, CaseModel
from mechanics.bow.wire import Tube
from mechanics.force_module.lay import NeckCylinder
from mechanics.force_module.posture import STRAIGHT, NeckHinges, Posture, usual_postures
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array

# The joint of skull and atlas lies about the height of the hard palate: the line from the palate's back edge to the
# foramen magnum passes near the tip of the dens (Chamberlain WE 1939 Yale J Biol Med 11:487-496, from memory). 15 mm
# from the molar tubes up to that height: our assumption.
NOD_ABOVE_TUBES_MM = 15.0
HINGES_SAID = (
    "The head turns about an upright axis through the middle of the neck and nods about a side-to-side axis above it, "
    f"{NOD_ABOVE_TUBES_MM:.0f} mm over the molar tubes (our assumption; module.turn_axis_mm and nod_axis_mm set them). "
    "The neck below moves as one piece: skin that glides and a turn shared with the neck make the real change smaller."
)


def strap_points(case: CaseModel, rotation: Array, *, high: bool) -> dict[Side, Array]:
    """Where the straps of a case leave the skin (or reach the cap), treatment frame; raises CaseError without them."""
    head = "high_strap" if high else "strap"
    missing = [f"{head}_{s}_mm" for s in SIDES if getattr(case.landmarks, f"{head}_{s}_mm") is None]
    if missing:
        raise CaseError(
            [
                f"landmarks.{name}: is missing; a module's extension is measured to where the strap leaves the skin."
                for name in missing
            ]
        )
    return {s: np.asarray(rotation @ landmark(case, f"{head}_{s}_mm")) for s in SIDES}


def neck_of(case: CaseModel, rotation: Array, hooks_mm: Mapping[Side, Array]) -> NeckCylinder:
    """The neck that the straps from the worn hooks ``hooks_mm`` touch at the case's strap landmarks."""
    return NeckCylinder.touched_at(strap_points(case, rotation, high=False), hooks_mm)


def hinges_of(case: CaseModel, rotation: Array, neck: NeckCylinder, tubes: Mapping[Side, Tube]) -> NeckHinges:
    """The axes of turning and nodding, as the case gives them or as assumed (``HINGES_SAID``)."""
    module = case.module
    height = float(np.mean([tubes[s].middle_mm[2] for s in SIDES])) + NOD_ABOVE_TUBES_MM
    turn = neck.centre_mm if module is None or module.turn_axis_mm is None else rotation @ module.turn_axis_mm
    above = np.array([neck.centre_mm[0], neck.centre_mm[1], height])
    nod = above if module is None or module.nod_axis_mm is None else rotation @ module.nod_axis_mm
    return NeckHinges(turn, nod)


def postures_of(case: CaseModel, *, neck: bool) -> tuple[Posture, ...]:
    """The postures of the table: only straight when nothing lies on the neck, for a cap moves with the head."""
    if case.module is None or not neck:
        return (STRAIGHT,)
    return usual_postures(turn_deg=case.module.turn_deg, nod_deg=case.module.nod_deg)
