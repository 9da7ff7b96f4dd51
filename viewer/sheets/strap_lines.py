"""The straps of one side one by one, as the chairside card asks for them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from mechanics.sides import Side, other_side

if TYPE_CHECKING:
    from casework.plan import Plan


@dataclass(frozen=True)
class StrapLine:
    """One strap at the worn hook: its name, tension in N, and rise toward the back over the occlusal plane."""

    name: str
    force_n: float
    rise_deg: float


def strap_lines(plan: Plan, side: Side) -> tuple[StrapLine, ...]:
    """Every strap of ``side`` at the worn hook; in combination pull the neck strap comes first, as in the case."""
    straps = plan.straps[side].straps
    names = ("Neck strap", "Head cap") if len(straps) == 2 else ("Strap",) * len(straps)
    hook, other = plan.worn_after.hook_mm[side], plan.worn_after.hook_mm[other_side(side)]
    turn = np.asarray(plan.treatment_rotation)
    found = []
    for name, strap in zip(names, straps, strict=True):
        way = turn @ strap.direction_at(hook, other)
        found.append(StrapLine(name, strap.force_n, float(np.degrees(np.arctan2(way[2], way[1])))))
    return tuple(found)
