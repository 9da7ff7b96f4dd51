"""Visits as text and as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Any

from casework.case_file import N_PER_GF
from casework.cautions import CAUTIONS, SHORT_CAUTION
from casework.visits.progress import Progress
from casework.visits.rates import NOT_A_PROMISE, Band
from casework.visits.record import SideVisit, Visit
from mechanics.sides import SIDES

VISITS_SCHEMA = 1


def visits_text(case_id: str, progress: Progress, look: Sequence[str]) -> str:
    """Every visit, the course so far, and what to look at next."""
    if not progress.visits:
        return f"Case {case_id}: no visit yet. bowtrue visit CASE --date 2026-11-25 ... adds one.\n{SHORT_CAUTION}"
    lines = [f"Case {case_id}: {len(progress.visits)} visit{'s' if len(progress.visits) > 1 else ''}"]
    for visit in progress.visits:
        lines += visit_lines(visit)
    lines += _course_lines(progress)
    if look:
        lines += ["What to look at next:", *(f"  ! {text}" for text in look)]
    return "\n".join([*lines, SHORT_CAUTION])


def visit_lines(visit: Visit) -> list[str]:
    """One visit in a few lines."""
    head = f"  {visit.day}  {_worn(visit)}; release module {_said(visit.release_checked)}, bow kept in the tubes "
    rows = [head + _said(visit.retention_checked)]
    rows += [f"      {side:5s} {text}" for side in SIDES if (text := _side(visit.side(side)))]
    rows += [
        f"      {name}: {text}" for name, text in (("bends", visit.bends), ("notes", visit.notes)) if text
    ]
    return rows


def _side(side: SideVisit) -> str:
    parts = []
    if side.relation_mm is not None:
        parts.append(f"relation {relation_words(side.relation_mm)}")
    if side.force_n is not None:
        parts.append(f"{side.force_n:.2f} N ({side.force_n / N_PER_GF:.0f} gf)")
    if side.offset_mm is not None:
        parts.append(f"line {side.offset_mm:+.1f} mm from the target")
    if side.bend_deg is not None:
        parts.append(f"bent {side.bend_deg:+.1f} deg")
    return ", ".join(parts)


def relation_words(relation_mm: float) -> str:
    """A molar relation in words."""
    if abs(relation_mm) < 0.05:
        return "class I"
    return f"{abs(relation_mm):.1f} mm class {'II' if relation_mm > 0.0 else 'III'}"


def _worn(visit: Visit) -> str:
    parts = []
    if visit.recorded_hours is not None:
        days = "" if visit.recorded_days is None else f" over {visit.recorded_days} days"
        parts.append(f"recorded {visit.recorded_hours:.1f} h{days}")
    if visit.told_hours is not None:
        parts.append(f"told {visit.told_hours:g} h")
    if visit.prescribed_hours is not None:
        parts.append(f"prescribed {visit.prescribed_hours:g} h")
    return ", ".join(parts) or "hours not recorded"


def _said(checked: bool | None) -> str:
    return {True: "checked", False: "NOT in order", None: "not recorded"}[checked]


def _course_lines(progress: Progress) -> Iterator[str]:
    for side in SIDES:
        course = progress.courses[side]
        if len(course.months) > 1:
            yield (
                f"  {side:5s} {relation_words(float(course.relation_mm[0]))} to "
                f"{relation_words(float(course.relation_mm[-1]))}: {course.gained_mm:+.1f} mm in "
                f"{course.over_months:.1f} months"
            )
    for side, found in progress.side_bands.items():
        if found:
            yield f"  Beside it, from the {side} side's start:"
        for band in found:
            yield (
                f"    {band.rate.name} ({band.rate.source}): {band.low_mm[-1]:.1f} to {band.high_mm[-1]:.1f} mm left "
                f"at {band.months[-1]:.1f} months"
            )
    if progress.bands:
        yield f"  {NOT_A_PROMISE}"


def visits_as_dict(case_id: str, progress: Progress, look: Sequence[str]) -> dict[str, Any]:
    """Plain numbers for JSON."""
    return {
        "schema": VISITS_SCHEMA,
        "case_id": case_id,
        "visits": [json.loads(v.model_dump_json()) for v in progress.visits],
        "courses": {
            side: {"months": course.months.tolist(), "relation_mm": course.relation_mm.tolist()}
            for side, course in progress.courses.items()
        },
        "bands_from": progress.bands_from,
        "bands": [_band_as_dict(b) for b in progress.bands],
        "side_bands": {side: [_band_as_dict(b) for b in found] for side, found in progress.side_bands.items()},
        "not_a_promise": NOT_A_PROMISE,
        "look_next": list(look),
        "cautions": [c.text for c in CAUTIONS],
    }  # fmt: skip


def _band_as_dict(b: Band) -> dict[str, Any]:
    return {
        "name": b.rate.name, "source": b.rate.source, "condition": b.rate.condition,
        "months": b.months.tolist(), "low_mm": b.low_mm.tolist(), "high_mm": b.high_mm.tolist(),
    }  # fmt: skip
