"""What a check answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from casework.check.readings import Measured
from casework.check.spread import Spread
from mechanics.sides import Side

Verdict = Literal["leave", "unsure", "bend", "measure again", "no bend"]


@dataclass(frozen=True)
class Sight:
    """A side as it is seen: hook from the mark in mm, the pull's angle to the occlusal plane, the pull's force in N."""

    hook_up_mm: float
    hook_back_mm: float
    angle_deg: float
    force_n: float


@dataclass(frozen=True, eq=False)
class SideCheck:
    """Where the line of one side really runs and what would true it.

    ``correction_deg``: the bend to add, positive up, solved anew on the bow as measured; None when no bend does it.
    ``correction_by_slope_deg``: the same from the plan's slopes. ``bend_off_deg``: the bend that the bow seems to have
    beyond the plan's. ``tip_n_mm``: what reaches the molar through the bow both sides share; None when the bow as
    measured could not be solved. The bands hold the middle 95 % of what measuring leaves open.
    """

    side: Side
    how: Literal["ruler", "photograph"]
    seen: Sight
    planned: Sight
    offset_mm: float
    wanted_mm: float
    moment_n_mm: float
    tip_n_mm: float | None
    correction_deg: float | None
    correction_by_slope_deg: float | None
    bend_off_deg: float | None
    offset: Spread
    moment: Spread
    correction: Spread | None
    verdict: Verdict
    notes: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class CheckResult:
    """Every measured side; ``notes`` are of both."""

    case_id: str
    sides: dict[Side, SideCheck]
    measured: Measured
    notes: tuple[str, ...]
