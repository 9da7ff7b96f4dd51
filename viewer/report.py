"""``report.html``: one page a clinician can read in a minute, self-contained."""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING, Any

import numpy as np

from casework.cautions import CAUTIONS, SHORT_CAUTION
from mechanics.centres.movement import Movement
from mechanics.sides import SIDES, Side
from viewer import report_details as details
from viewer import report_on_face as on_face
from viewer.module_part import module_part
from viewer.palette import METHOD_ROLES, look
from viewer.report_made import made_words
from viewer.scene import Scene
from viewer.side_view_svg import side_view_svg
from viewer.templates import rendered
from viewer.words import (
    MOVEMENT_WORDS,
    bend_words,
    distal_words,
    force_words,
    lateral_words,
    method_name,
    offset_words,
    signed,
    tipping_words,
    vertical_words,
)

if TYPE_CHECKING:
    from casework.case_copy import CaseUsed
    from casework.plan import Plan, SidePlan


def report_html(
    plan: Plan,
    scene: Scene,
    *,
    picture_png: bytes | None = None,
    bow_png: bytes | None = None,
    side_png: bytes | None = None,
    used: CaseUsed | None = None,
) -> str:
    """The whole page as text, with ``picture_png`` (scene.png), ``bow_png`` (bow.png) and ``side_png`` (side.png)
    inside when given; ``used``: what the plan was made from, told in "How this was made"."""
    return rendered(
        "report.html.j2",
        **report_content(plan, scene, used),
        picture=_inlined(picture_png),
        bow_picture=_inlined(bow_png),
        side_picture=_inlined(side_png),
    )


def report_content(plan: Plan, scene: Scene, used: CaseUsed | None = None) -> dict[str, Any]:
    """Everything the report says, as words and rows, for the page and for the PDF alike; ``used``: the case as used."""
    sides = [(side, plan.sides[side]) for side in SIDES if side in plan.sides]
    return {
        "plan": plan,
        "sides": [_side(plan, s, scene) for _, s in sides],
        "refusals": plan.refusals,
        "methods": _methods(sides),
        "pull": plan.pull_kind.replace("_", " "),
        "short_caution": SHORT_CAUTION,
        "cautions": CAUTIONS,
        "cheek": on_face.cheek_rows(sides),
        "clearance": on_face.clearance_rows(plan, sides),
        "module": module_part(plan.module),
        "wrench": details.wrench_rows(plan, sides),
        "inserted": details.inserted_rows(plan, sides),
        "state": details.state_rows(plan, sides),
        "stress": details.stress_words(plan),
        "bench": details.bench_tables(sides) if plan.bendable else [],
        "sure": details.sure_rows(sides, bendable=plan.bendable),
        "samples": details.samples_words(sides) if plan.bendable else "",
        "sensitivities": details.sensitivity_rows(sides),
        "made": made_words(plan, used),
    }


def _inlined(png: bytes | None) -> str | None:
    return None if png is None else base64.b64encode(png).decode("ascii")


def _side(plan: Plan, s: SidePlan, scene: Scene) -> dict[str, Any]:
    return {
        "name": s.side,
        "tooth": s.tooth,
        "solved": plan.bendable,
        "reached": s.solved,
        "bend": bend_words(s.bend_deg) if plan.bendable else "Do not bend" if s.solved else "Not reached",
        "place": f"{s.bend_place_mm:.0f} mm",
        "arm": f"{s.arm_length_mm:.0f} mm",
        "target": method_name(s.target_method),
        "before": _state(s.offset_before_mm, s.tip_before_n_mm, s.movement_before),
        "after": _state(s.offset_after_mm, s.tip_after_n_mm, s.movement)
        | ({} if plan.bendable else {"movement": "–"}),
        "strap": force_words(s.strap_force_n),
        "plier": f"{abs(s.bench.plier_deg):.1f}°",
        "bench_notes": s.bench.told,
        "predicted": "" if s.movement is None else s.movement.words if plan.bendable else "–",
        "hook_travel": f"{s.hook_travel_mm:.1f} mm",
        "on_molar": [distal_words(s.distal_n), vertical_words(s.vertical_n), lateral_words(s.lateral_n)],
        "advice": s.advice,
        "svg": side_view_svg(scene, s.side),
    }


def _state(offset_mm: float, moment_n_mm: float, movement: Movement | None) -> dict[str, str]:
    """Where the line of force passes, the moment that reaches the molar and what the whole wrench does first; without
    roots to stand on, what the moment alone does."""
    return {
        "offset": offset_words(offset_mm),
        "moment": f"{signed(moment_n_mm)} N mm",
        "movement": tipping_words(moment_n_mm) if movement is None else MOVEMENT_WORDS[movement.kind],
    }


def _methods(sides: list[tuple[Side, SidePlan]]) -> list[dict[str, Any]]:
    """One row a method, with each side's point and its distance from the rule of thumb."""
    names = list(dict.fromkeys(name for _, s in sides for name in s.centre.methods))
    return [_method_row(name, sides) for name in names]


def _method_row(name: str, sides: list[tuple[Side, SidePlan]]) -> dict[str, Any]:
    found = [s.centre.methods.get(name) for _, s in sides]
    first = next(m for m in found if m is not None)
    return {
        "name": method_name(name),
        "colour": look(METHOD_ROLES.get(name, "estimate")).colour,
        "cells": [_cell(name, s) for _, s in sides],
        "assumptions": first.estimate.assumptions,
        "source": first.estimate.source,
        "fallback": any(m is not None and m.estimate.fallback for m in found),
    }


def _cell(name: str, s: SidePlan) -> dict[str, Any] | None:
    estimate = s.centre.methods.get(name)
    if estimate is None:
        return None
    away = np.asarray(estimate.point_mm) - np.asarray(s.rule.point_mm)
    return {
        "point": ", ".join(signed(float(v)) for v in estimate.point_mm),
        "distance": f"{np.linalg.norm(away):.1f}",
        "chosen": name == s.target_method,
    }
