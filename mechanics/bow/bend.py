"""Bending, stepping, shortening and lengthening the outer arms of a bow.

A bend turns everything behind its place about the horizontal axis from side to side (x), up when positive.
It is spread over a few millimetres of wire, as round-beaked pliers leave it, so that the wire stays smooth
and keeps its length.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from mechanics.bow.wire import BowWire, WirePart
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError

SPREAD_MM = 6.0  # wire taken up by one bend: radius 5.7 mm at 60 degrees
STEP_MM = 12.0  # wire between the two bends of a step
FROM_JOINT_MM = 3.0
MOST_DEG = 90.0


@dataclass(frozen=True)
class ArmSetting:
    """What is done to one arm, lengths along the outer wire from the joint's middle.

    ``bend_deg`` positive up, at ``place_mm`` (the bow's own place when None); ``rise_mm``: a step that
    carries the hook up without turning the arm, just behind the bend; ``length_mm``: the arm cut or
    lengthened (kept when None).
    """

    bend_deg: float = 0.0
    place_mm: float | None = None
    rise_mm: float = 0.0
    length_mm: float | None = None


UNBENT = ArmSetting()


def bent_bow(bow: BowWire, settings: Mapping[Side, ArmSetting]) -> BowWire:
    """``bow`` with both arms set; a side that is not named stays.

    Raises BadValueError for a bend over 90 degrees, a place outside the arm or too near its ends, and a
    step or a length that the arm does not have room for.
    """
    for side in SIDES:
        bow = _with_length(bow, side, settings.get(side, UNBENT).length_mm)
    s = 0.5 * (bow.outer.s_mm[1:] + bow.outer.s_mm[:-1])
    turn = np.zeros(len(s))
    place = dict(bow.bend_place_mm)
    for side in SIDES:
        setting = settings.get(side, UNBENT)
        at = place[side] = bow.bend_place_mm[side] if setting.place_mm is None else float(setting.place_mm)
        if setting.bend_deg or setting.rise_mm:
            _check_setting(bow, side, setting, at)
            from_middle = (s - bow.joint.outer_middle_mm) * (1.0 if side == "left" else -1.0)
            turn += _turns(from_middle, setting, at)
    points = _turned(bow.outer.points_mm, turn, fixed=_middle_station(bow))
    return replace(bow, outer=replace(bow.outer, points_mm=points), bend_place_mm=place)


def bend_point_mm(bow: BowWire, side: Side) -> Array:
    """Point (3,) of the bend's place on one arm."""
    return bow.outer.at(bow.outer_s_mm(side, bow.bend_place_mm[side]))


def _turns(from_middle_mm: Array, setting: ArmSetting, place_mm: float) -> Array:
    """Angle (n,) in rad by which each piece of wire turns up."""
    turn = np.radians(setting.bend_deg) * _ramp((from_middle_mm - place_mm) / SPREAD_MM)
    if setting.rise_mm:
        first = place_mm + SPREAD_MM
        lean = float(np.arcsin(setting.rise_mm / STEP_MM))
        up = _ramp((from_middle_mm - first) / SPREAD_MM)
        turn = turn + lean * (up - _ramp((from_middle_mm - first - STEP_MM) / SPREAD_MM))
    return np.asarray(turn)


def _ramp(t: Array) -> Array:
    """Smooth rise from 0 to 1 as ``t`` goes from -1/2 to 1/2; curvature starts and ends at zero."""
    u = np.clip(t + 0.5, 0.0, 1.0)
    return np.asarray(u**3 * (10.0 - 15.0 * u + 6.0 * u**2))


def _turned(points_mm: Array, turn: Array, *, fixed: int) -> Array:
    """The polyline with each piece turned about x by ``turn`` (n - 1,); station ``fixed`` stays."""
    way = np.diff(points_mm, axis=0)
    c, s = np.cos(turn), np.sin(turn)
    new = np.stack([way[:, 0], c * way[:, 1] - s * way[:, 2], s * way[:, 1] + c * way[:, 2]], axis=1)
    points = np.concatenate([np.zeros((1, 3)), np.cumsum(new, axis=0)])
    return np.asarray(points + points_mm[fixed] - points[fixed])


def _middle_station(bow: BowWire) -> int:
    return int(np.argmin(np.abs(bow.outer.s_mm - bow.joint.outer_middle_mm)))


def _check_setting(bow: BowWire, side: Side, setting: ArmSetting, place_mm: float) -> None:
    if not abs(setting.bend_deg) <= MOST_DEG:
        raise BadValueError(f"{side} bend must lie within +-{MOST_DEG:.0f} degrees; got {setting.bend_deg}.")
    if not abs(setting.rise_mm) <= 0.9 * STEP_MM:
        raise BadValueError(f"{side} step must lie within +-{0.9 * STEP_MM:.1f} mm; got {setting.rise_mm}.")
    half = 0.5 * (bow.joint.outer_to_mm - bow.joint.outer_from_mm)
    least = half + FROM_JOINT_MM
    taken = SPREAD_MM + STEP_MM if setting.rise_mm else 0.0
    most = bow.arm_length_mm(side) - taken - 0.5 * SPREAD_MM
    if not least <= place_mm <= most + 1e-9:
        raise BadValueError(
            f"{side} bend at {place_mm:.1f} mm from the joint's middle; this arm takes it between "
            f"{least:.1f} and {most:.1f} mm: choose another place or a longer arm."
        )


def _with_length(bow: BowWire, side: Side, length_mm: float | None) -> BowWire:
    """One arm cut at, or lengthened straight on to, ``length_mm`` from the joint's middle."""
    if length_mm is None or abs(length_mm - bow.arm_length_mm(side)) < 1e-12:
        return bow
    least = bow.bend_place_mm[side] + 0.5 * SPREAD_MM
    if not (np.isfinite(length_mm) and length_mm >= least):
        raise BadValueError(
            f"{side} arm cannot be cut to {length_mm:.1f} mm; its front curve ends at "
            f"{bow.bend_place_mm[side]:.1f} mm and the least length is {least:.1f} mm."
        )
    return _right_end_moved(bow, length_mm) if side == "right" else _left_end_moved(bow, length_mm)


def _left_end_moved(bow: BowWire, length_mm: float) -> BowWire:
    end = bow.joint.outer_middle_mm + length_mm
    old = bow.outer.s_mm
    s = np.concatenate([old[old < end - 1e-6], _on_to(float(min(old[-1], end)), end)])
    return replace(bow, outer=_at_lengths(bow.outer, s))


def _right_end_moved(bow: BowWire, length_mm: float) -> BowWire:
    start = bow.joint.outer_middle_mm - length_mm
    old = bow.outer.s_mm
    s = np.concatenate([_on_to(float(max(0.0, start)), start)[::-1], old[old > start + 1e-6]])
    joint = bow.joint
    joint = replace(joint, outer_from_mm=joint.outer_from_mm - start, outer_to_mm=joint.outer_to_mm - start)
    return replace(bow, outer=_at_lengths(bow.outer, s), joint=joint)


def _on_to(last_mm: float, end_mm: float) -> Array:
    """Arc lengths beyond ``last_mm`` up to ``end_mm``, at most a millimetre apart; ``end_mm`` alone when
    it is reached."""
    count = max(1, int(np.ceil(abs(end_mm - last_mm))))
    return np.linspace(last_mm, end_mm, count + 1)[1:]


def _at_lengths(part: WirePart, s_mm: Array) -> WirePart:
    """The wire at ``s_mm`` (n,), going straight on beyond either of its ends."""
    beyond = s_mm - np.clip(s_mm, 0.0, part.length_mm)
    points = part.at(s_mm) + beyond[:, None] * part.tangent_at(s_mm)
    return WirePart(points, part.diameter_at(s_mm), part.part)
