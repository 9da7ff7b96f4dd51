"""The report's rows of what is on the face: marks on the cheek, and how far the worn bow lies from the patient."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from mechanics.sides import Side
from viewer.cheek_items import exit_words

if TYPE_CHECKING:
    from casework.plan import CheekMarks, Plan, SidePlan
    from mechanics.clearance.along import Least, Region

Row = dict[str, Any]
Sides = list[tuple[Side, "SidePlan"]]
_WIRE: dict[Region, str] = {
    "lips": "Outer bow to the lips",
    "mouth corner": "Outer bow beside the mouth corner",
    "cheek": "Outer arm to the cheek",
    "incisors": "Inner bow to the incisors",
    "teeth": "Inner bow to the teeth",
    "gingiva": "Inner bow to the gum",
}


def cheek_rows(sides: Sides) -> list[Row]:
    """From the mark to the dot over the skin, and to the rule of thumb's dot; none without a face scan."""
    if all(s.cheek is None for _, s in sides):
        return []
    return [
        {"name": "Mark to dot", "means": "over the skin", "cells": [_way(s.cheek, rule=False) for _, s in sides]},
        {"name": "Mark to the rule of thumb's dot", "means": "over the skin",
         "cells": [_way(s.cheek, rule=True) for _, s in sides]},
        {"name": "Dot outside the target", "cells": [_depth(s.cheek) for _, s in sides]},
    ]  # fmt: skip


def _way(marks: CheekMarks | None, *, rule: bool) -> str:
    if marks is None:
        return "not marked"
    up, back = (marks.rule_up_mm, marks.rule_back_mm) if rule else (marks.up_mm, marks.back_mm)
    height, along = "up" if up >= 0.0 else "down", "back" if back >= 0.0 else "forward"
    return f"{abs(up):.1f} mm {height}, {abs(back):.1f} mm {along}"


def _depth(marks: CheekMarks | None) -> str:
    return "not marked" if marks is None else f"{marks.depth_mm:.0f} mm"


def clearance_rows(plan: Plan, sides: Sides) -> list[Row]:
    """Nearest place of each region, and how the bow leaves the mouth, a cell a side."""
    if plan.clearance is None:
        return []
    least = {(one.region, one.side): one for one in plan.clearance.least()}
    rows: list[Row] = [
        {"name": name, "cells": [_gap(least.get((region, side))) for side, _ in sides]}
        for region, name in _WIRE.items()
        if any((region, side) in least for side, _ in sides)
    ]
    exits = plan.clearance.exits
    if exits:
        cells = [exit_words(exits[s].above_mm) if s in exits else "not beside it" for s, _ in sides]
        rows.append({"name": "Leaves the mouth", "cells": cells})
    return rows


def _gap(least: Least | None) -> str:
    if least is None:
        return "not measured"
    place = f"{least.s_mm:.0f} mm from the middle"
    if least.gap_mm >= 0.0:
        return f"{least.gap_mm:.1f} mm, {place}"
    if least.region in ("lips", "mouth corner"):
        return f"between the lips, {-least.gap_mm:.1f} mm inside them as scanned"
    return f"presses in by {-least.gap_mm:.1f} mm, {place}"
