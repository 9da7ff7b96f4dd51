"""A check as text and as JSON."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from casework.case_file import N_PER_GF
from casework.cautions import CAUTIONS, SHORT_CAUTION
from casework.check.result import CheckResult, SideCheck
from casework.check.spread import Spread

CHECK_SCHEMA = 1
_CENTRE = (
    "The target itself scatters by 1.4-2.7 mm from tooth to tooth (SD; Gandhi V et al. 2021 AJODO 160:442-450): a line "
    "nearer than that is as true as is known."
)


def check_text(result: CheckResult) -> str:
    """What ``bowtrue check`` prints."""
    lines = [f"Case {result.case_id}: the line of force as measured"]
    for side in result.sides.values():
        lines += _side_lines(side)
    lines += [f"  ! {note}" for note in result.notes]
    return "\n".join([*lines, _CENTRE, SHORT_CAUTION])


def _side_lines(side: SideCheck) -> list[str]:
    seen, planned = side.seen, side.planned
    tip = (
        "" if side.tip_n_mm is None else f"; {side.tip_n_mm:+.1f} N mm reach the molar through the shared bow"
    )
    return [
        f"  {side.side:5s} by {side.how}: {_order(side)}",
        f"        line of force {_where(side.offset_mm)} the target, 95 % {_band(side.offset, 'mm')}"
        f"{'' if abs(side.wanted_mm) < 0.05 else f' (meant: {side.wanted_mm:+.1f} mm)'}",
        f"        tipping moment {side.moment_n_mm:+.1f} N mm, 95 % {_band(side.moment, 'N mm')}"
        f"{_way(side.moment)}{tip}",
        f"        hook {seen.hook_up_mm:+.1f} up, {seen.hook_back_mm:+.1f} back (plan {planned.hook_up_mm:+.1f}, "
        f"{planned.hook_back_mm:+.1f} mm); strap {seen.angle_deg:+.0f} deg (plan {planned.angle_deg:+.0f}); "
        f"{seen.force_n:.2f} N, {seen.force_n / N_PER_GF:.0f} gf (plan {planned.force_n:.2f})",
        *(f"        ! {note}" for note in side.notes),
    ]


def _order(side: SideCheck) -> str:
    if side.verdict == "measure again":
        return "measure again before bending"
    if side.correction_deg is None or side.correction is None:
        return "no bend trues it; see the notes"
    band = f"95 % {_band(side.correction, 'deg')}"
    if side.verdict == "leave":
        return f"within the error of measuring ({side.correction_deg:+.1f} deg, {band}): leave it"
    way = "up" if side.correction_deg > 0.0 else "down"
    if side.verdict == "unsure":
        return (
            f"{abs(side.correction_deg):.1f} deg {way} is likely, but none is within the error of measuring ({band}); "
            "measure twice more, take the mean"
        )
    return f"bend the outer arm {abs(side.correction_deg):.1f} deg {way} ({band})"


def _band(spread: Spread, unit: str) -> str:
    return f"{spread.low:+.1f} to {spread.high:+.1f} {unit}"


def _where(offset_mm: float) -> str:
    if abs(offset_mm) < 0.05:
        return "through"
    return f"{abs(offset_mm):.1f} mm {'apical of' if offset_mm > 0.0 else 'occlusal of'}"


def _way(moment: Spread) -> str:
    """Which end goes back first, when the band leaves no doubt (Worms FW et al. 1973 Angle Orthod 43:384-401)."""
    if moment.holds_zero:
        return ""
    return " (roots back)" if moment.low > 0.0 else " (crown back)"


def check_as_dict(result: CheckResult) -> dict[str, Any]:
    """Plain numbers for JSON."""
    return {
        "schema": CHECK_SCHEMA,
        "case_id": result.case_id,
        "sides": {name: _side_dict(side) for name, side in result.sides.items()},
        "notes": list(result.notes),
        "errors_of_measuring": asdict(result.measured.errors),
        "errors_source": "our assumption",
        "cautions": [c.text for c in CAUTIONS],
    }


def _side_dict(side: SideCheck) -> dict[str, Any]:
    tree = asdict(side)
    tree["notes"] = list(side.notes)
    return tree
