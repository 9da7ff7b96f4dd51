"""The straps of a case: from a landmark on neck or head, or along an angle to the occlusal plane."""

from __future__ import annotations

import numpy as np

from casework.case_file import CaseModel, PullKind, StrapModel
from mechanics.sides import SIDES, Side
from mechanics.strap.direction import CERVICAL_DEG, HIGH_PULL_DEG, strap_direction
from mechanics.strap.pull import Strap, StrapPull
from mesh_tools.arrays import Array

_USUAL_DEG = {"cervical": CERVICAL_DEG, "high_pull": HIGH_PULL_DEG}


def strap_pulls(case: CaseModel, rotation: Array) -> dict[Side, StrapPull]:
    """The pull on each hook in the treatment frame; ``rotation`` takes LPS to it."""
    return {side: StrapPull(_straps(case, side, rotation)) for side in SIDES}


def _straps(case: CaseModel, side: Side, rotation: Array) -> tuple[Strap, ...]:
    pull, kind = case.pull.side(side), case.pull.kind
    first: PullKind = "high_pull" if kind == "high_pull" else "cervical"
    straps = [_strap(case, side, first, pull, rotation)]
    if pull.high is not None:
        straps.append(_strap(case, side, "high_pull", pull.high, rotation))
    return tuple(straps)


def _strap(case: CaseModel, side: Side, kind: PullKind, model: StrapModel, rotation: Array) -> Strap:
    key = f"high_strap_{side}_mm" if kind == "high_pull" else f"strap_{side}_mm"
    point = getattr(case.landmarks, key)
    if point is not None and model.angle_deg is None:
        return Strap(model.newtons, toward_mm=rotation @ np.asarray(point))
    angle = model.angle_deg if model.angle_deg is not None else _USUAL_DEG[kind]
    return Strap(
        model.newtons, direction=strap_direction(side, angle_deg=angle, midline_deg=model.midline_deg)
    )


def pull_turned(pull: StrapPull, rotation: Array) -> StrapPull:
    """``pull`` in the axes of ``rotation`` (3, 3), new = rotation @ old."""

    def turned(v: Array | None) -> Array | None:
        return None if v is None else np.asarray(rotation @ v)

    return StrapPull(tuple(Strap(s.force_n, turned(s.toward_mm), turned(s.direction)) for s in pull.straps))
