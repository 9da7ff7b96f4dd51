"""Whether an upper arch lies as its axes code says: its occlusal plane nearly level, its teeth facing down."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from mesh_tools.arrays import Array
from mesh_tools.axes import axes_matrix, is_left_handed
from mesh_tools.errors import BowtrueError
from mesh_tools.finding.record import Proposal

_FAR_DEG = 30.0  # a scanner's frame or a head held at ease tilts an arch less: common practice, no source


def wrong_axes(proposals: Sequence[Proposal], axes: str) -> str | None:
    """One line when the arch of ``proposals`` (in the LPS that ``axes`` gave) lies over 30 degrees from LPS, or None.

    None too when plane, incisor or both molars were not found, which is too little to judge by.
    """
    true = _arch_frame({p.name: p for p in proposals})
    if true is None or (off := _turn_deg(true)) <= _FAR_DEG:
        return None
    facing = ", teeth facing up" if true[2, 2] < 0.0 else ""
    code = _fitting_code(true, axes)
    do = (
        "give --axes"
        if code is None
        else f"with --axes {code} the occlusal plane would be level, front forward"
    )
    if is_left_handed(axes):  # any code of that hand would mirror the scan again
        do = f"give --axes; {axes} is left-handed, so it mirrors the scan, right for left"
    return (
        f"These axes do not look right: with --axes {axes} the arch lies {off:.0f} degrees from LPS{facing}; {do} "
        "(an upper arch is expected). Every confidence is lowered."
    )


def _arch_frame(found: dict[str, Proposal]) -> Array | None:
    """Rows left, posterior and up (3, 3) of the arch in the frame it was found in."""
    plane = found.get("occlusal_plane_mm")
    front = found.get("incisor_edge_mm")
    molars = [found[n].point_mm for n in ("molar_right", "molar_left") if n in found]
    if plane is None or plane.normal is None or front is None or len(molars) < 2:
        return None
    up = plane.normal / np.linalg.norm(plane.normal)
    back = np.mean(molars, axis=0) - front.point_mm
    back = back - (back @ up) * up
    back = back / np.linalg.norm(back)
    return np.array([np.cross(back, up), back, up])


def _turn_deg(rotation: Array) -> float:
    """Angle of a rotation (3, 3), degrees."""
    return float(np.degrees(np.arccos(np.clip(0.5 * (np.trace(rotation) - 1.0), -1.0, 1.0))))


def _fitting_code(true: Array, axes: str) -> str | None:
    """The axes code that lays the file nearest to LPS, or None when even that leaves it over 30 degrees off."""
    whole = true @ axes_matrix(axes)  # file coordinates to LPS
    letters = []
    for column in whole.T:
        k = int(np.abs(column).argmax())
        letters.append(("LR", "PA", "SI")[k][int(column[k] < 0.0)])
    code = "".join(letters)
    try:
        left = whole @ axes_matrix(code).T
    except BowtrueError:  # two axes of the file lie about as near to one direction
        return None
    return code if _turn_deg(left) <= _FAR_DEG else None
