"""Items on the face: what is marked on the cheek, the strap where it lies on the skin, where the bow comes nearest."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array
from viewer.palette import Role, look
from viewer.scene import DimensionItem, LineItem, PointItem

if TYPE_CHECKING:
    from casework.plan import Plan, SidePlan

CHEEK, STRAP_SKIN, NEAREST = "Marks on the cheek", "Strap on the skin", "Where the bow comes nearest"


def cheek_points(side: Side, s: SidePlan, turn: Array, *, hidden: bool) -> list[PointItem]:
    """Dot, mark and the rule of thumb's dot on the cheek of ``side``; none without a face scan."""
    marks = s.cheek
    if marks is None:
        return []
    named: tuple[tuple[str, str, Role, Array], ...] = (
        (
            "dot: the target, on the cheek",
            f"{marks.depth_mm:.0f} mm outside the target",
            "cheek_dot",
            marks.dot_mm,
        ),
        ("mark: mesial end of the tube", "", "cheek_mark", marks.mark_mm),
        ("dot by the rule of thumb", "", "cheek_rule", marks.rule_dot_mm),
    )
    return [
        PointItem(name=name, detail=detail, group=CHEEK, role=role, side=side, hidden_at_first=hidden,
                  at_mm=turn @ at, size_mm=0.8, glyph=look(role).glyph)
        for name, detail, role, at in named
    ]  # fmt: skip


def cheek_ways(side: Side, s: SidePlan, turn: Array, *, hidden: bool) -> list[LineItem]:
    """The way over the skin from mark to dot."""
    if s.cheek is None:
        return []
    return [LineItem(name=f"{side} way over the skin from mark to dot", group=CHEEK, role="cheek_way", side=side,
                     hidden_at_first=hidden, points_mm=s.cheek.path_mm @ turn.T)]  # fmt: skip


def cheek_dimensions(side: Side, s: SidePlan, turn: Array, *, hidden: bool) -> list[DimensionItem]:
    """Up and back over the skin from mark to dot."""
    marks = s.cheek
    if marks is None:
        return []
    legs = (
        (abs(marks.up_mm), "up" if marks.up_mm >= 0.0 else "down", marks.mark_mm, marks.corner_mm),
        (abs(marks.back_mm), "back" if marks.back_mm >= 0.0 else "forward", marks.corner_mm, marks.dot_mm),
    )
    return [
        DimensionItem(name=f"{side} cheek, {word}", group=CHEEK, role="cheek_way", side=side, hidden_at_first=hidden,
                      from_mm=turn @ a, to_mm=turn @ b, text=f"{mm:.1f} mm {word} over the skin")
        for mm, word, a, b in legs
    ]  # fmt: skip


def strap_skin_lines(plan: Plan, turn: Array) -> list[LineItem]:
    """Every strap where it lies on the skin, cut in halves between the hooks; none for straps nobody laid."""
    found = []
    for path in plan.strap_paths:
        on = np.flatnonzero(path.on_skin)
        if len(on) < 2:
            continue
        points = path.points_mm[on[0] : on[-1] + 1] @ turn.T
        middle = len(points) // 2
        halves: dict[Side, Array] = {"right": points[: middle + 1], "left": points[middle:]}
        found += [
            LineItem(name=f"{side} half of the {path.band} strap on the skin", group=STRAP_SKIN, role="strap_skin",
                     side=side, opacity=0.8, points_mm=halves[side])
            for side in SIDES if len(halves[side]) > 1
        ]  # fmt: skip
    return found


def nearest_points(plan: Plan, turn: Array, *, hidden: bool) -> list[PointItem]:
    """Where each worn outer arm comes nearest to the cheek, and where it leaves the mouth."""
    if plan.clearance is None:
        return []
    found = [
        PointItem(name=gap_words(least.gap_mm), group=NEAREST, role="gap", side=least.side, hidden_at_first=hidden,
                  at_mm=turn @ least.wire_mm, size_mm=1.2, glyph="down")
        for least in plan.clearance.least() if least.region == "cheek"
    ]  # fmt: skip
    found += [
        PointItem(name=exit_words(e.above_mm), group=NEAREST, role="gap", side=side, hidden_at_first=hidden,
                  at_mm=turn @ e.at_mm, size_mm=1.2, glyph="up")
        for side, e in plan.clearance.exits.items()
    ]  # fmt: skip
    return found


def gap_words(gap_mm: float) -> str:
    """``5.2 mm off the cheek`` or ``presses 1.0 mm into the cheek``."""
    return f"{gap_mm:.1f} mm off the cheek" if gap_mm >= 0.0 else f"presses {-gap_mm:.1f} mm into the cheek"


def exit_words(above_mm: float) -> str:
    """How the bow leaves the mouth: ``4.2 mm above the mouth corner``."""
    if abs(above_mm) < 0.05:
        return "at the height of the mouth corner"
    return f"{abs(above_mm):.1f} mm {'above' if above_mm > 0.0 else 'below'} the mouth corner"
