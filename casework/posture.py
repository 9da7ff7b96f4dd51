"""The neck and its hinges for a case: from the strap landmarks, with what is not given assumed and said so."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from casework.case_file import CaseError, CaseModel
from casework.solving import SolvedBend
from mechanics.bow.wire import Tube
from mechanics.force_module.lay import NeckCylinder
from mechanics.force_module.posture import STRAIGHT, NeckHinges, Posture, usual_postures
from mechanics.sides import SIDES, Side, other_side
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


def strap_points(bend: SolvedBend, which: int, *, stem: str) -> dict[Side, Array]:
    """Where the ``which``-th straps of a plan leave the skin (or reach the cap), treatment frame.

    Raises CaseError for a strap that runs along an angle only: it has no length.
    """
    hooks = bend.solution.worn_after.hook_mm
    found = dict[Side, Array]()
    for side in SIDES:
        strap = bend.case.straps[side].standing(hooks[side], hooks[other_side(side)]).straps[which]
        if strap.toward_mm is None:
            raise CaseError(
                [
                    f"landmarks.{stem}_{side}_mm: is missing; [module] needs where the strap leaves the skin, since a "
                    "strap along an angle has no length."
                ]
            )
        found[side] = strap.toward_mm
    return found


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
