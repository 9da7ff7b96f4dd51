"""An inner bow that is not passive: expanded or contracted at the front, its terminals toed in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from mechanics.bow.wire import BowWire
from mechanics.sides import SIDES, Side, outward_sign
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError

MOST_MM = 15.0
MOST_DEG = 30.0
ARCH_MM = 20.0  # wire past the joint over which an expansion is spread
TOE_MM = 4.0  # wire ahead of the stop over which a toe-in is spread


def activated(
    bow: BowWire,
    *,
    expansion_mm: Mapping[Side, float] | None = None,
    toe_in_deg: Mapping[Side, float] | None = None,
) -> BowWire:
    """``bow`` with the mesial end of each terminal carried outward by ``expansion_mm`` (contraction if
    negative) and each terminal turned so that its distal end goes inward by ``toe_in_deg``; both
    level, joint and outer bow kept.

    Published expansions of cervical bows reach 10 mm in all (Kirjavainen M, Kirjavainen T, Haavikko K 1997
    Am J Orthod Dentofacial Orthop 111:59-66). Raises BadValueError beyond 15 mm or 30 degrees a side.
    """
    points = np.array(bow.inner.points_mm)
    for side in SIDES:
        wide = 0.0 if expansion_mm is None else float(expansion_mm.get(side, 0.0))
        toe = 0.0 if toe_in_deg is None else float(toe_in_deg.get(side, 0.0))
        if not (abs(wide) <= MOST_MM and abs(toe) <= MOST_DEG):
            raise BadValueError(
                f"{side} activation of {wide:.1f} mm and {toe:.1f} degrees is too much; at most {MOST_MM:.0f} mm and "
                f"{MOST_DEG:.0f} degrees a side."
            )
        if wide or toe:
            points = _one_side(bow, points, side, wide_mm=wide, toe_deg=toe)
    return replace(bow, inner=replace(bow.inner, points_mm=points))


def _one_side(bow: BowWire, points: Array, side: Side, *, wide_mm: float, toe_deg: float) -> Array:
    s = 0.5 * (bow.inner.s_mm[1:] + bow.inner.s_mm[:-1])
    joint_end = bow.joint.inner_to_mm if side == "left" else bow.joint.inner_from_mm
    away = 1.0 if side == "left" else -1.0
    arch = _smooth((s - joint_end) * away / ARCH_MM)
    toe = _smooth(((s - bow.stop_mm[side]) * away + TOE_MM) / TOE_MM)
    fixed = int(np.argmin(np.abs(bow.inner.s_mm - bow.joint.inner_middle_mm)))
    sign = float(outward_sign(side))

    def turned(angle: float) -> Array:
        # A turn of the left half about +z swings its distal parts inward: outward is the negative turn there.
        return _swung(points, -sign * angle * arch + sign * np.radians(toe_deg) * toe, fixed)

    def outward(angle: float) -> float:
        at = np.array([np.interp(bow.stop_mm[side], bow.inner.s_mm, turned(angle)[:, k]) for k in range(3)])
        was = np.array([np.interp(bow.stop_mm[side], bow.inner.s_mm, points[:, k]) for k in range(3)])
        return sign * float(at[0] - was[0]) - wide_mm

    # The small part of a toe-in that lies ahead of the stop moves it too, so the root is sought, not assumed.
    from scipy.optimize import brentq  # slow to import

    return turned(float(brentq(outward, -1.2, 1.2, xtol=1e-10)))


def _swung(points: Array, turn: Array, fixed: int) -> Array:
    """The polyline with each piece turned about z by ``turn`` (n - 1,); station ``fixed`` stays."""
    way = np.diff(points, axis=0)
    c, s = np.cos(turn), np.sin(turn)
    new = np.stack([c * way[:, 0] - s * way[:, 1], s * way[:, 0] + c * way[:, 1], way[:, 2]], axis=1)
    moved = np.concatenate([np.zeros((1, 3)), np.cumsum(new, axis=0)])
    return np.asarray(moved + points[fixed] - moved[fixed])


def _smooth(t: Array) -> Array:
    u = np.clip(t, 0.0, 1.0)
    return np.asarray(u**3 * (10.0 - 15.0 * u + 6.0 * u**2))
