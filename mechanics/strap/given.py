"""The way of a strap whose points are given: from each hook straight to its point on the skin, taut between them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike

from mechanics.sides import SIDES, Side
from mechanics.strap.back import back_along
from mechanics.strap.band import HALF_ANGLE, REACH_MM, WIDTH_MM
from mechanics.strap.bed import Bed, bed_of
from mechanics.strap.checks import check_skin_under, told_of
from mechanics.strap.fan import FanFrame, skin_fan
from mechanics.strap.held import grip_needed, held_taut
from mechanics.strap.path import BandName, StrapPath
from mechanics.strap.pressure import pressures_kpa
from mesh_tools.arrays import Array, frozen
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface

OFF_SKIN_MM = 12.0
"""A strap point farther from the skin than this is a cap's ring or a mistake, not a place on the skin (our choice)."""


def path_through(
    skin: Surface,
    hooks_mm: Mapping[Side, ArrayLike],
    points_mm: Mapping[Side, ArrayLike],
    *,
    band: BandName,
    tension_n: float | Mapping[Side, float],
    width_mm: float = WIDTH_MM,
) -> StrapPath:
    """The path from hook to hook through one point a side, taut in the plane of the points between them.

    The points are where the strap leaves the skin. Raises BadValueError where the skin does not reach round the back
    or a point lies far off it, NoAnswerError when nothing is touched between the points.
    """
    hooks: dict[Side, Array] = {s: frozen(hooks_mm[s], (3,), name=f"{s} hook") for s in SIDES}
    points: dict[Side, Array] = {s: frozen(points_mm[s], (3,), name=f"{s} strap point") for s in SIDES}
    back = back_along(skin, hooks, points)
    frame = FanFrame.through(hooks, back)
    fan = skin_fan(
        skin, frame, half_angle=float(HALF_ANGLE), half_height_mm=0.5 * width_mm + REACH_MM["head"]
    )
    bed = bed_of(fan, width_mm=width_mm)
    ends = frame.inward(np.array([points["right"], points["left"]]))
    lifted = np.array([_lifted(bed, side, end) for side, end in zip(SIDES, ends, strict=True)])
    taut = held_taut(bed, lifted, frame.inward(back))
    check_skin_under(bed, taut, band=band)
    outer = frame.inward(np.array([hooks["right"], hooks["left"]]))
    path = np.concatenate([outer[:1], ends[:1], taut.points, ends[1:], outer[1:]])
    step = np.diff(path, axis=0)
    along = step / np.linalg.norm(step, axis=1, keepdims=True)
    press = np.linalg.norm(np.diff(along, axis=0), axis=1)
    tension = tension_n if isinstance(tension_n, Mapping) else dict.fromkeys(SIDES, tension_n)
    return StrapPath(
        band=band,
        points_mm=frame.outward(path),
        on_skin=np.array([False, *np.ones(len(path) - 2, dtype=np.bool_), False]),
        leaves_mm=points,
        length_mm=float(np.linalg.norm(step, axis=1).sum()),
        pressure_kpa=pressures_kpa(path, press, tension_n=tension, width_mm=width_mm),
        width_mm=width_mm,
        grip=grip_needed(bed, lifted, taut),
        wrap_rad=float(press.sum()),
        told=told_of(bed, lifted, taut, band=band),
    )


def _lifted(bed: Bed, side: Side, point: Array) -> Array:
    """``point`` (3,), fan axes, brought out to the bed where it lies a little inside it."""
    angle, reach = float(np.arctan2(point[0], point[1])), float(np.hypot(point[0], point[1]))
    above = int(np.clip(np.searchsorted(bed.fan.angles, angle), 1, len(bed.fan.angles) - 1))
    skin = float(bed.reach_at(np.array([above - 1, above]), np.full(2, point[2])).mean())
    if abs(reach - skin) > OFF_SKIN_MM:
        raise BadValueError(
            f"{side} strap point lies {abs(reach - skin):.0f} mm {'off' if reach > skin else 'inside'} the skin of the "
            f"scan, more than {OFF_SKIN_MM:g} mm; place it on the skin where the strap leaves it."
        )
    longer = max(reach, skin) / reach
    return np.array([longer * point[0], longer * point[1], point[2]])
