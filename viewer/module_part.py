"""The force module's part of a report: what the template shows of the answer."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from casework.module_words import hole_name, module_table
from mechanics.sides import SIDES

if TYPE_CHECKING:
    from casework.module_answer import ModuleAnswer


def module_part(answer: ModuleAnswer | None) -> dict[str, Any] | None:
    """Tables by side, what the plan stands on and what is assumed; None without a module."""
    if answer is None:
        return None
    tables = [(side, *module_table(answer, side)) for side in SIDES]
    return {
        "strap": "neck strap" if answer.band == "neck" else "cap",
        "whole": "hook to hook" if answer.band == "neck" else "hook to cap",
        "length": f"{answer.slack_wanted_mm:.0f} mm",
        "wanted": ", ".join(f"{s} {answer.wanted_n[s]:.2f} N" for s in SIDES),
        "hole": hole_name(answer, answer.hole),
        "best": hole_name(answer, answer.best_hole),
        "relative": answer.relative,
        "tables": [{"side": side, "heads": heads, "rows": rows} for side, heads, rows in tables],
        "assumptions": answer.assumptions,
    }
