"""``estimates.png``: every estimate along apical, distal and lingual, with its 95 % band and the rule of thumb."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from casework.estimates_along import ALONG, Along, EstimateRow, EstimatesAlong, Place
from viewer.centre_png import blank, heading
from viewer.draw_flat import MARKERS
from viewer.palette import METHOD_ROLES, look
from viewer.panels import FRAME, INK, SOFT
from viewer.words import method_name, signed

_DPI, _WIDTH_IN, _ROW_IN, _ABOVE_IN, _BELOW_IN = 150, 17.0, 0.58, 1.35, 1.0
_LEAST_SPAN_MM = 2.0


def write_estimates_png(estimates: EstimatesAlong, path: Path, *, title: str) -> None:
    """Write the chart of ``estimates`` (millimetres from its origin, the same scale along every direction)."""
    tall = _ROW_IN * len(estimates.rows)
    height = tall + _ABOVE_IN + _BELOW_IN
    figure = blank((_WIDTH_IN, height), _DPI)
    span = max(_held(estimates, along)[1] - _held(estimates, along)[0] for along in ALONG)
    for k, along in enumerate(ALONG):
        axes = figure.add_axes((0.145 + k * 0.285, _BELOW_IN / height, 0.270, tall / height))
        _chart(axes, estimates, along, span_mm=1.16 * max(span, _LEAST_SPAN_MM), named=k == 0)
    text = f"Millimetres from the {estimates.origin}, the same scale along every direction."
    heading(figure, title, text)
    figure.text(0.988, 0.2 / height, _note(estimates), ha="right", fontsize=9.5, color=SOFT)
    figure.savefig(path, metadata={"Software": None})


def _note(estimates: EstimatesAlong) -> str:
    kinds = {row.bands for row in estimates.rows}
    parts = [] if estimates.row("rule_of_thumb") is None else ["Dashed upright line: rule of thumb."]
    if "samples" in kinds:
        parts.append("Solid band: middle 95 % of the sampled inputs for this tooth.")
    if "published" in kinds:
        parts.append("Dashed band: 1.96 published standard deviations over many teeth.")
    if "none" in kinds:
        parts.append("No band: none is published.")
    return " ".join(parts)


def _chart(axes: Any, estimates: EstimatesAlong, along: Along, *, span_mm: float, named: bool) -> None:
    rule = estimates.row("rule_of_thumb")
    count = len(estimates.rows)
    low, high = _held(estimates, along)
    reach = (0.5 * (low + high - span_mm), 0.5 * (low + high + span_mm))
    for k in range(0, count, 2):
        axes.axhspan(k - 0.5, k + 0.5, color="#F8FAFC", zorder=0)
    axes.axvline(0.0, color=SOFT, lw=1.0, zorder=1)
    if rule is not None:
        axes.axvline(rule.places[along].value_mm, color=look("rule").colour, lw=1.4, ls=(0, (5, 3)), zorder=1)
    for k, row in enumerate(estimates.rows):
        _row(axes, row, row.places[along], k)
    axes.set(xlim=reach, ylim=(count - 0.5, -0.62), yticks=range(count))
    axes.set_yticklabels([_name(r) for r in estimates.rows] if named else [], fontsize=11, color=INK)
    axes.tick_params(axis="x", labelsize=9.5, colors=SOFT)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x", color="#E2E8F0", lw=0.7, zorder=0)
    axes.set_axisbelow(True)
    axes.spines[:].set(color=FRAME)
    against = {"apical": "occlusal", "distal": "mesial", "lingual": "buccal"}[along]
    axes.set_title(f"{along}, mm", fontsize=12.5, fontweight="bold", color=INK, pad=8)
    axes.set_xlabel(
        f"\N{LEFTWARDS ARROW} {against}      {along} \N{RIGHTWARDS ARROW}", fontsize=9.5, color=SOFT
    )


def _name(row: EstimateRow) -> str:
    return method_name(row.method) + (" (fallback)" if row.fallback else "")


def _row(axes: Any, row: EstimateRow, place: Place, k: int) -> None:
    role = METHOD_ROLES.get(row.method, "estimate")
    colour = look(role).colour
    if row.bands != "none":
        dash = "-" if row.bands == "samples" else (0, (3, 2))
        axes.plot(
            [place.low_mm, place.high_mm],
            [k, k],
            color=colour,
            lw=2.6,
            ls=dash,
            zorder=3,
            solid_capstyle="butt",
        )
        for end in (place.low_mm, place.high_mm):
            axes.plot([end, end], [k - 0.14, k + 0.14], color=colour, lw=1.6, zorder=3)
    axes.plot([place.value_mm], [k], marker=MARKERS[look(role).glyph], ms=9, mfc=colour, mec="white", mew=0.9,
              ls="none", zorder=5)  # fmt: skip
    axes.annotate(_value(row, place), (place.value_mm, k), xytext=(0, 8), textcoords="offset points", ha="center",
                  va="bottom", fontsize=9.5, color=look(role).text, zorder=6,
                  bbox={"boxstyle": "round,pad=0.1", "fc": "white", "ec": "none", "alpha": 0.75})  # fmt: skip


def _value(row: EstimateRow, place: Place) -> str:
    """The place, and its band in brackets when it has one."""
    value = signed(place.value_mm)
    if row.bands == "none":
        return value
    return f"{value}  ({signed(place.low_mm)} to {signed(place.high_mm)})"


def _held(estimates: EstimatesAlong, along: Along) -> tuple[float, float]:
    """Lowest and highest of the origin and every band."""
    places = [row.places[along] for row in estimates.rows]
    return min(0.0, *(p.low_mm for p in places)), max(0.0, *(p.high_mm for p in places))
