"""The bow off the patient's straps and under them, as two scenes in one frame: bench shape and worn shape."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array
from viewer.load_items import moment_items, stress_point_mm, stress_scale, stress_surfaces
from viewer.palette import Role
from viewer.scene import ArrowItem, LabelItem, LineItem, PointItem, Scene, SurfaceItem, WireItem
from viewer.words import bend_words, force_words

if TYPE_CHECKING:
    from casework.plan import Plan, SidePlan
    from mechanics.bow.wire import BowWire, WornBow

MOLARS, BENCH, WORN, LOADS = "Molars", "Bench shape", "Worn shape", "Loads"
STRAP_SHOWN_MM = 30.0
MM_PER_N = 4.0


def bench_and_worn(plan: Plan) -> tuple[Scene, Scene]:
    """The bent bow with no strap, and the same with its straps, in the treatment frame."""
    turn = np.asarray(plan.treatment_rotation)
    sides = [(side, plan.sides[side]) for side in SIDES if side in plan.sides]
    return _bench(plan, sides, turn), _worn(plan, sides, turn)


def _bench(plan: Plan, sides: list[tuple[Side, SidePlan]], turn: Array) -> Scene:
    return Scene(
        title=BENCH,
        surfaces=_molars(plan, turn),
        wires=(*_bow(plan.bow_bench, turn, "bow_bench", 1.0), *_tubes(sides, turn)),
        points=tuple(p for side, s in sides for p in _bench_points(plan, side, s, turn)),
    )


def _worn(plan: Plan, sides: list[tuple[Side, SidePlan]], turn: Array) -> Scene:
    moments = [moment_items(side, s, turn, hidden=False) for side, s in sides]
    stressed = stress_surfaces(plan, turn, hidden=False)
    plain = [] if stressed else _bow(plan.worn_after, turn, "bow_after", 1.0)
    return Scene(
        title=WORN,
        surfaces=(*_molars(plan, turn), *stressed, *(curl for curls, _ in moments for curl in curls)),
        wires=(*_bow(plan.bow_bench, turn, "bow_bench", 0.22), *plain, *_tubes(sides, turn)),
        lines=tuple(line for side, s in sides for line in _straps(plan, side, s, turn)),
        points=tuple(_worn_hook(side, s, turn) for side, s in sides),
        arrows=tuple(_force(side, s, turn) for side, s in sides),
        labels=(*(text for _, texts in moments for text in texts), *_largest(plan, turn)),
        stress_scale=stress_scale(plan),
    )


def _molars(plan: Plan, turn: Array) -> tuple[SurfaceItem, ...]:
    return tuple(
        SurfaceItem(name=f"{side} molar", group=MOLARS, role="molar", opacity=0.45, side=side,
                    points_mm=surface.points_mm @ turn.T, faces=surface.faces)
        for side, surface in plan.molars.items()
    )  # fmt: skip


def _bow(bow: BowWire | WornBow, turn: Array, role: Role, opacity: float) -> list[WireItem]:
    """Both wires by halves, so that a side view shows its own half."""
    found = []
    for part in (bow.inner, bow.outer):
        points, middle = part.points_mm @ turn.T, len(part.points_mm) // 2
        cuts: dict[Side, Array] = {"right": points[: middle + 1], "left": points[middle:]}
        for side, cut in cuts.items():
            found.append(
                WireItem(
                    name=f"{side} {part.part} bow",
                    group=BENCH if role == "bow_bench" else WORN,
                    role=role,
                    opacity=opacity,
                    side=side,
                    points_mm=cut,
                    diameter_mm=float(np.median(part.diameter_mm)),
                )
            )
    return found


def _tubes(sides: list[tuple[Side, SidePlan]], turn: Array) -> list[WireItem]:
    return [
        WireItem(name=f"{side} tube", group=MOLARS, role="tube", side=side, diameter_mm=2.0,
                 points_mm=np.array([s.rule.tube_mesial_mm, s.rule.tube_distal_mm]) @ turn.T)
        for side, s in sides
    ]  # fmt: skip


def _bench_points(plan: Plan, side: Side, s: SidePlan, turn: Array) -> list[PointItem]:
    bend = f"bend {bend_words(s.bend_deg)}" if plan.bendable else "do not bend"
    at = plan.bow_bench.outer.at(plan.bow_bench.outer_s_mm(side, s.bend_place_mm))
    return [
        PointItem(name=bend, group=BENCH, role="bend", side=side, at_mm=turn @ at, glyph="ring", size_mm=2.2,
                  detail=f"{s.bend_place_mm:.0f} mm from the middle"),
        PointItem(name="hook, no strap", group=BENCH, role="bow_bench", side=side, at_mm=turn @ s.hook_bench_mm,
                  size_mm=1.2),
    ]  # fmt: skip


def _worn_hook(side: Side, s: SidePlan, turn: Array) -> PointItem:
    return PointItem(name="hook, worn", group=WORN, role="bow_after", side=side, at_mm=turn @ s.hook_mm, size_mm=1.2,
                     detail=f"{s.hook_travel_mm:.1f} mm away")  # fmt: skip


def _straps(plan: Plan, side: Side, s: SidePlan, turn: Array) -> list[LineItem]:
    return [
        LineItem(name=f"{side} strap {k + 1}", group=LOADS, role="strap", side=side, opacity=0.6,
                 points_mm=np.array([s.hook_mm, s.hook_mm + STRAP_SHOWN_MM * strap.direction_at(s.hook_mm)]) @ turn.T)
        for k, strap in enumerate(plan.straps[side].straps)
    ]  # fmt: skip


def _force(side: Side, s: SidePlan, turn: Array) -> ArrowItem:
    force = turn @ s.wrench_at_centre.force_n
    return ArrowItem(name=f"force on the {side} molar", group=LOADS, role="force", side=side, at_mm=turn @ s.target_mm,
                     vector_mm=MM_PER_N * force, text=f"force {force_words(float(np.linalg.norm(force)))}")  # fmt: skip


def _largest(plan: Plan, turn: Array) -> list[LabelItem]:
    scale = stress_scale(plan)
    if scale is None:
        return []
    point, side = stress_point_mm(plan)
    text = f"largest stress\n{scale.largest_mpa:.0f} MPa"
    return [
        LabelItem(name="largest stress", group=WORN, role="stress", side=side, at_mm=turn @ point, text=text)
    ]
