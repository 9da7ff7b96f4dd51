"""The report's details after the bends: what each molar feels, fit, bench work, how sure, how sensitive. Words only."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from mechanics.sides import Side, outward_sign
from mesh_tools.arrays import Array
from viewer.load_items import region_size, stress_scale
from viewer.words import distal_words, force_words, lateral_words, signed, vertical_words
from viewer.wrench_words import (
    LEAST_N_MM,
    fit_words,
    rotation_words,
    shift_words,
    tip_words,
    torque_words,
    yaw_words,
)

if TYPE_CHECKING:
    from casework.plan import Plan, SidePlan

Sides = list[tuple[Side, "SidePlan"]]
Row = dict[str, Any]

_FORCE_MEANS = {
    "Distal force": "along the arch: distal is backward",
    "Vertical force": "apical is intrusive, occlusal extrusive",
    "Lateral force": "buccal widens the arch, palatal narrows it",
}
_MOMENT_MEANS = {
    "Tip": "about the left-right axis, seen from the side",
    "Yaw": "about the vertical, seen from the crown",
    "Torque": "about the front-back axis, seen from in front",
}
_SENSITIVITIES = (
    ("per_degree", "1° more bend up here"),
    ("per_degree_other", "1° more bend up on the other side"),
    ("per_mm_arm", "outer arm 1 mm longer"),
    ("per_newton", "1 N more pull"),
    ("per_pull_mm_up", "strap point 1 mm higher"),
    ("per_pull_mm_back", "strap point 1 mm further back"),
    ("per_pull_degree", "strap 1° steeper upward"),
)


def wrench_rows(plan: Plan, sides: Sides) -> list[Row]:
    """Force and moment on each molar about its target, under load."""
    turn = np.asarray(plan.treatment_rotation)
    cells = [
        wrench_cells(side, turn @ s.wrench_at_centre.force_n, turn @ s.wrench_at_centre.moment_n_mm)
        for side, s in sides
    ]
    return _as_rows(cells)


def inserted_rows(plan: Plan, sides: Sides) -> list[Row]:
    """The same before any strap, from an inner bow that is not passive; none when it was not asked for."""
    if plan.inserted is None:
        return []
    turn, inserted = np.asarray(plan.treatment_rotation), plan.inserted
    cells = [
        wrench_cells(side, turn @ inserted.force_n[side], turn @ inserted.moment_n_mm[side])
        for side, _ in sides
    ]
    return _as_rows(cells)


def wrench_cells(side: Side, force_n: Array, moment_n_mm: Array) -> dict[str, str]:
    """Force (3,) N and moment (3,) N mm of one molar, treatment frame, as words by quantity."""
    return {
        "Distal force": distal_words(float(force_n[1])),
        "Vertical force": vertical_words(float(force_n[2])),
        "Lateral force": lateral_words(outward_sign(side) * float(force_n[0])),
        "Tip": _moment_words(float(moment_n_mm[0]), tip_words(float(moment_n_mm[0]))),
        "Yaw": _moment_words(float(moment_n_mm[2]), yaw_words(float(moment_n_mm[2]), side)),
        "Torque": _moment_words(float(moment_n_mm[1]), torque_words(float(moment_n_mm[1]), side)),
    }


def _moment_words(value_n_mm: float, words: str) -> str:
    if abs(value_n_mm) < LEAST_N_MM:
        return f"next to none ({abs(value_n_mm):.1f} N mm)"
    return f"{abs(value_n_mm):.1f} N mm: {words}"


def _as_rows(cells: list[dict[str, str]]) -> list[Row]:
    means = _FORCE_MEANS | _MOMENT_MEANS
    return [{"name": name, "means": means[name], "cells": [c[name] for c in cells]} for name in means]


def state_rows(plan: Plan, sides: Sides) -> list[Row]:
    """Fit of the inner bow, hook travel, clearance and what the samples leave open, a cell a side."""
    rows: list[Row] = [{"name": "Inner bow in its tubes", "cells": [_fit_cell(s) for _, s in sides]}]
    if plan.insertion_force_n:
        rows.append({"name": "Force to insert it", "cells": [_insertion(plan, side) for side, _ in sides]})
    rows.append({"name": "Hook under load", "cells": [f"{s.hook_travel_mm:.1f} mm from where it is with no strap"
                                                     for _, s in sides]})  # fmt: skip
    if plan.clearance is None and any(s.skin_mm is not None for _, s in sides):
        rows.append({"name": "Outer arm to the skin", "cells": [_skin(s) for _, s in sides]})
    return rows


def _fit_cell(s: SidePlan) -> str:
    return f"{fit_words(s.fit)} (gap {s.fit.gap_mm:.2f} mm, angle {s.fit.angle_deg:.1f}°)"


def _insertion(plan: Plan, side: Side) -> str:
    force = plan.insertion_force_n.get(side)
    return "not known" if force is None else force_words(force)


def _skin(s: SidePlan) -> str:
    return "not known" if s.skin_mm is None else f"{s.skin_mm:.1f} mm at the nearest, worn"


def stress_words(plan: Plan) -> str:
    """Largest stress, where, and its share of the proof stress; for a rigid bow that none is known."""
    scale = stress_scale(plan)
    if scale is None:
        return "The bow was taken as rigid: no stress is known."
    share = 100.0 * scale.largest_mpa / scale.proof_mpa
    verdict = "it springs back whole" if share < 100.0 else "it takes a permanent set"
    return (
        f"Largest stress under load {scale.largest_mpa:.0f} MPa ({scale.place}): {share:.0f} % of the proof stress, "
        f"{scale.proof_mpa:.0f} MPa; {verdict}."
    )


def sure_rows(sides: Sides, *, bendable: bool = True) -> list[Row]:
    """The middle 95 % of the sampled inputs: bend, moment left over, region of the centre; none if not sampled, and
    a dash for what a bend that is not to be made would do."""
    rows: list[Row] = []
    if any(s.bands is not None for _, s in sides):
        rows += [{"name": "Bend, ° (up is +)", "cells": [_bend_band(s) if bendable else "–" for _, s in sides]},
                 {"name": "Tipping moment left over, N mm",
                  "cells": [_moment_band(s) if bendable else "–" for _, s in sides]}]  # fmt: skip
    if any(s.centre.confidence is not None for _, s in sides):
        rows.append({"name": "Region of the centre, mm across", "cells": [_region(s) for _, s in sides]})
    return rows


def _bend_band(s: SidePlan) -> str:
    b = s.bands
    return "not sampled" if b is None else f"{signed(b.bend_low_deg)} to {signed(b.bend_high_deg)}"


def _moment_band(s: SidePlan) -> str:
    b = s.bands
    return "not sampled" if b is None else f"{signed(b.moment_low_n_mm)} to {signed(b.moment_high_n_mm)}"


def _region(s: SidePlan) -> str:
    c = s.centre.confidence
    return "not sampled" if c is None else region_size(c.uncertainty.region.half_axes_mm).removesuffix(" mm")


def samples_words(sides: Sides) -> str:
    """How many samples the bands rest on."""
    counts = sorted({s.bands.samples for _, s in sides if s.bands is not None})
    return "" if not counts else f"{' and '.join(map(str, counts))} samples a side"


def sensitivity_rows(sides: Sides) -> list[Row]:
    """What one unit more does to the line of force at the target; what does not apply to these straps is left out."""
    return [
        {"name": words, "cells": [shift_words(s.sensitivities.get(key, 0.0)) for _, s in sides]}
        for key, words in _SENSITIVITIES
        if any(s.sensitivities.get(key, 0.0) != 0.0 for _, s in sides)
    ]


def bench_tables(sides: Sides) -> list[Row]:
    """The bends of each arm from the fitted bow to the bent one, in the order of making, with what to mind."""
    return [
        {"name": side, "rows": _bench_rows(s), "notes": [*_schedule_notes(s), *s.bench.told]}
        for side, s in sides
    ]


def _bench_rows(s: SidePlan) -> list[Row]:
    if s.bench.schedule is None:
        return []
    return [
        {
            "number": k + 1,
            "place": f"{row.place_mm:.1f} mm",
            "feed": f"{row.feed_mm:.1f} mm",
            "way": rotation_words(row.rotation_deg),
            "turn": f"{signed(row.turn_deg, digits=0)}°",
            "angle": f"{row.angle_deg:.1f}°",
            "plier": f"{row.plier.plier_deg:.1f}°",
        }
        for k, row in enumerate(s.bench.schedule.bends)
    ]


def _schedule_notes(s: SidePlan) -> list[str]:
    if s.bench.schedule is None:
        return []
    return [f"The arm then lies within {max(s.bench.schedule.worst_mm, 0.1):.1f} mm of the wanted shape everywhere.",
            *s.bench.schedule.warnings]  # fmt: skip
