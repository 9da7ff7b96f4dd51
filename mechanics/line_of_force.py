"""The line of force: from the hook along the pull, and where it passes a molar's target in the sagittal
plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mechanics.sides import Side, outward_sign
from mesh_tools.errors import BadValueError


@dataclass(frozen=True)
class ForceLine:
    """How one pull passes a target. Distal is back (+y); apical is up for upper teeth; lateral is outward.

    ``offset_mm``: signed distance from the target to the line in the sagittal plane, positive when the line
    passes apical of it. ``in_plane_n``: the force in that plane. ``tipping_moment_n_mm``: the product of
    both; positive carries the roots back, negative the crown. ``distal_n``, ``apical_n``, ``lateral_n``:
    parts of the pull.
    """

    offset_mm: float
    in_plane_n: float
    tipping_moment_n_mm: float
    distal_n: float
    apical_n: float
    lateral_n: float

    @property
    def angle_deg(self) -> float:
        """Rise of the line in the sagittal plane over the occlusal plane, positive apical."""
        return float(np.degrees(np.arctan2(self.apical_n, self.distal_n)))


def force_line(
    hook_mm: ArrayLike, force_n: ArrayLike, *, target_mm: ArrayLike, side: Side, apical_sign: int = 1
) -> ForceLine:
    """The line of ``force_n`` (3,) through ``hook_mm`` (3,) past ``target_mm`` (3,), treatment frame.

    ``apical_sign`` is +1 for upper and -1 for lower teeth. Raises BadValueError for a pull without a part
    in the sagittal plane and for a strap point in front of the hook (a pull forward).
    """
    force = np.asarray(force_n, dtype=np.float64)
    in_plane = float(np.hypot(force[1], force[2]))
    if in_plane < 1e-9:
        raise BadValueError(
            f"{side} pull {force.tolist()} N has no part in the sagittal plane; check the strap."
        )
    if force[1] <= 0.0:
        raise BadValueError(
            f"{side} strap pulls forward ({force[1]:.2f} N back); its point must lie behind the hook: "
            "move it back or shorten the outer arm."
        )
    lever = np.asarray(hook_mm, dtype=np.float64) - np.asarray(target_mm, dtype=np.float64)
    above = apical_sign * float(lever[2] * force[1] - lever[1] * force[2]) / in_plane
    return ForceLine(
        offset_mm=above,
        in_plane_n=in_plane,
        tipping_moment_n_mm=in_plane * above,
        distal_n=float(force[1]),
        apical_n=apical_sign * float(force[2]),
        lateral_n=outward_sign(side) * float(force[0]),
    )


def through_height_mm(target_mm: ArrayLike, *, hook_y_mm: float, angle_deg: float) -> float:
    """Height z of a hook at ``hook_y_mm`` whose pull, ``angle_deg`` over the occlusal plane, meets the
    target."""
    target = np.asarray(target_mm, dtype=np.float64)
    return float(target[2] + (hook_y_mm - target[1]) * np.tan(np.radians(angle_deg)))
