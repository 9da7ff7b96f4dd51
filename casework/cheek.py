"""What is marked on the cheek: the target's dot, the tube's mark, and the way between them over the curved skin."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from casework.plan import CheekMarks, SidePlan
from mechanics.clearance.over_skin import HoleInSkinError, SkinWay, on_skin, way_over_skin
from mechanics.sides import Side, outward_sign
from mesh_tools.arrays import Array
from mesh_tools.surface import Surface

_BRIDGED_MM = 3.0  # a hole wider than this between the marks is told: our choice


@dataclass(frozen=True, eq=False)
class CheekFinding:
    """The marks of one cheek, None where they could not be made, and what to tell about them."""

    marks: CheekMarks | None
    warnings: tuple[str, ...] = ()


def cheek_findings(
    face: Surface | None, sides: Mapping[Side, SidePlan], *, rotation: Array
) -> dict[Side, CheekFinding]:
    """The marks on both cheeks; ``face`` in LPS mm, ``rotation`` LPS to the treatment frame.

    "Up" is measured from the mark over the skin in the plane at right angles to the occlusal plane and to the
    sagittal one, to the height of the dot; "back" from there over the skin in the plane parallel to the occlusal
    plane, to the dot. Without a face scan there are no marks and nothing is told.
    """
    if face is None:
        return {side: CheekFinding(None) for side in sides}
    skin = face.moved(rotation)
    return {side: _finding(skin, side, plan, np.asarray(rotation)) for side, plan in sides.items()}


def _finding(skin: Surface, side: Side, plan: SidePlan, turn: Array) -> CheekFinding:
    rule, target = turn @ plan.rule.point_mm, turn @ plan.target_mm
    try:
        mark = on_skin(skin, side, turn @ plan.rule.tube_mesial_mm, what="the tube's mesial end")
        dot = on_skin(skin, side, target, what="the target")
        rule_dot = on_skin(skin, side, rule, what="the rule of thumb's point")
        ways = [_up_and_back(skin, side, mark, end) for end in (dot, rule_dot)]
    except HoleInSkinError as err:
        return CheekFinding(None, (f"{side} side: nothing is marked on the cheek: {err}",))
    if outward_sign(side) * float(dot[0] - target[0]) <= 0.0:
        return CheekFinding(None, (_outside(side),))
    marks = _marks(turn, mark, (dot, rule_dot), ways, depth_mm=float(abs(dot[0] - target[0])))
    return CheekFinding(marks, _bridged(side, ways))


def _up_and_back(skin: Surface, side: Side, mark: Array, dot: Array) -> tuple[SkinWay, SkinWay]:
    corner = on_skin(skin, side, np.array([mark[0], mark[1], dot[2]]), what="the way from mark to dot")
    return way_over_skin(skin, side, mark, corner), way_over_skin(skin, side, corner, dot)


def _marks(
    turn: Array,
    mark: Array,
    dots: tuple[Array, Array],
    ways: list[tuple[SkinWay, SkinWay]],
    *,
    depth_mm: float,
) -> CheekMarks:
    (dot, rule_dot), ((up, back), (rule_up, rule_back)) = dots, ways
    paths = [np.concatenate([u.points_mm, b.points_mm[1:]]) @ turn for u, b in ways]
    return CheekMarks(
        mark_mm=mark @ turn,
        dot_mm=dot @ turn,
        rule_dot_mm=rule_dot @ turn,
        corner_mm=up.points_mm[-1] @ turn,
        up_mm=float(np.copysign(up.length_mm, dot[2] - mark[2])),
        back_mm=float(np.copysign(back.length_mm, dot[1] - mark[1])),
        rule_up_mm=float(np.copysign(rule_up.length_mm, rule_dot[2] - mark[2])),
        rule_back_mm=float(np.copysign(rule_back.length_mm, rule_dot[1] - mark[1])),
        path_mm=paths[0],
        rule_path_mm=paths[1],
        depth_mm=depth_mm,
    )


def _outside(side: Side) -> str:
    return (
        f"{side} side: nothing is marked on the cheek: the target lies outside the skin of the face scan; check that "
        "face and molar are in one frame (docs/registration.md)."
    )


def _bridged(side: Side, ways: list[tuple[SkinWay, SkinWay]]) -> tuple[str, ...]:
    widest = max(way.bridged_mm for pair in ways for way in pair)
    if widest <= _BRIDGED_MM:
        return ()
    return (
        f"{side} side: a hole of {widest:.0f} mm in the face scan lies between the marks on the cheek; up and back are "
        "taken straight across it.",
    )
