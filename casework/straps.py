"""The straps of a case: from a landmark on neck or head, or along an angle to the occlusal plane."""

from __future__ import annotations

import numpy as np

from casework.case_file import CaseModel, PullKind, StrapModel
from mechanics.sides import Side, outward_sign
from mechanics.strap.pull import Strap, StrapPull
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError

# Cervical 25 degrees below the occlusal plane: Korean J Orthod 1987;17:185-197. High pull 30-45 above: from memory
# (middle of that range here).
_DEFAULT_ANGLE_DEG = {"cervical": -25.0, "high_pull": 37.5}


def strap_pulls(case: CaseModel, rotation: Array) -> dict[Side, StrapPull]:
    """The pull on each hook in the treatment frame; ``rotation`` takes LPS to it."""
    sides: tuple[Side, Side] = ("right", "left")
    return {side: StrapPull(_straps(case, side, rotation)) for side in sides}


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
    angle = model.angle_deg if model.angle_deg is not None else _DEFAULT_ANGLE_DEG[kind]
    return Strap(model.newtons, direction=strap_direction(side, angle_deg=angle, midline_deg=model.midline_deg))


def strap_direction(side: Side, *, angle_deg: float, midline_deg: float) -> Array:
    """Unit vector (3,) in the treatment frame: back, ``angle_deg`` up, ``midline_deg`` towards the midline."""
    up, inward = np.radians(angle_deg), np.radians(midline_deg)
    return np.array([
        -outward_sign(side) * np.sin(inward) * np.cos(up), np.cos(inward) * np.cos(up), np.sin(up)
    ])  # fmt: skip


def check_strap_behind(side: Side, pull: StrapPull, hook_mm: Array) -> None:
    """Raises BadValueError when the pull on the hook of ``side`` has no backward part."""
    direction = pull.force_at(hook_mm)
    if direction[1] <= 0.0:
        raise BadValueError(
            f"landmarks.strap_{side}_mm: the strap point lies in front of the hook (the pull would go forward, "
            f"{direction[1]:.2f} N back): check the point and the axes, or shorten the outer arm."
        )
