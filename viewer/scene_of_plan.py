"""From a plan to a scene: a pure function that turns what was decided into things to draw, and decides nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array
from viewer.cheek_items import (
    cheek_dimensions,
    cheek_points,
    cheek_ways,
    nearest_points,
    strap_skin_lines,
)
from viewer.load_items import moment_items, region_items, stress_scale, stress_surfaces
from viewer.palette import METHOD_ROLES, Role, look
from viewer.scene import (
    ArrowItem,
    DimensionItem,
    Focus,
    LabelItem,
    LineItem,
    PointItem,
    Scene,
    SurfaceItem,
    WireItem,
)
from viewer.words import bend_order, bend_words, method_name

if TYPE_CHECKING:
    from casework.plan import Plan, SidePlan
    from mechanics.bow.wire import WirePart
    from mesh_tools.surface import Surface

MOLARS, ESTIMATES, RULE = "Molars", "Centre of resistance", "Rule of thumb"
BEFORE, AFTER, BENCH = "Bow before, worn", "Bow bent, worn", "Bow bent, off the patient"
LINE_BEFORE, LINE_AFTER, STRAP = "Line of force before", "Line of force after", "Strap"
FACE, ARCH, FORCE, OFFSETS = "Face", "Upper arch", "Force on the molar", "Offset from the target"
_PAST_TARGET_MM = 14.0
_STRAP_MM = 60.0
_MM_PER_N = 2.5
_SHORTEST_OFFSET_MM = 0.3


def scene_of_plan(plan: Plan) -> Scene:
    """The scene of ``plan`` in the treatment frame."""
    turn = np.asarray(plan.treatment_rotation)
    sides = [(side, plan.sides[side]) for side in SIDES if side in plan.sides]
    extra = [region_items(side, s, turn) for side, s in sides]
    extra += [moment_items(side, s, turn, hidden=True) for side, s in sides]
    return Scene(
        title=f"Case {plan.case_id}",
        surfaces=(
            *_surfaces(plan, turn),
            *stress_surfaces(plan, turn, hidden=True),
            *(item for surfaces, _ in extra for item in surfaces),
        ),
        wires=(*_bows(plan, turn), *(_tube(side, s, turn) for side, s in sides)),
        lines=tuple(
            line
            for side, s in sides
            for line in (*_lines_of_force(side, s, turn), *_straps(plan, side, s, turn))
        )
        + tuple(strap_skin_lines(plan, turn))
        + tuple(line for side, s in sides for line in cheek_ways(side, s, turn, hidden=True)),
        points=tuple(
            p for side, s in sides for p in (*_estimates(side, s, turn), *_marks(plan, side, s, turn))
        )
        + tuple(p for side, s in sides for p in cheek_points(side, s, turn, hidden=True))
        + tuple(nearest_points(plan, turn, hidden=True)),
        arrows=tuple(_force(side, s, turn) for side, s in sides),
        labels=(
            *(label for side, s in sides for label in _line_labels(side, s, turn)),
            *(label for _, labels in extra for label in labels),
        ),
        dimensions=tuple(
            d for side, s in sides for d in (*_rule_dimensions(side, s, turn), *_offsets(side, s, turn))
        )
        + tuple(d for side, s in sides for d in cheek_dimensions(side, s, turn, hidden=True)),
        focuses=tuple(_focus(plan, side, s, turn) for side, s in sides),
        captions={side: _caption(plan, side, s) for side, s in sides},
        stress_scale=stress_scale(plan),
    )


def _caption(plan: Plan, side: Side, s: SidePlan) -> str:
    if s.solved and not plan.bendable:
        return f"Do not bend the {side} outer arm from this plan: see its warnings."
    return bend_order(side, bend_deg=s.bend_deg, place_mm=s.bend_place_mm, solved=s.solved)


def _turned(turn: Array, points: ArrayLike) -> Array:
    return np.asarray(points, dtype=np.float64) @ turn.T


def _surfaces(plan: Plan, turn: Array) -> tuple[SurfaceItem, ...]:
    def item(
        surface: Surface, name: str, group: str, role: Role, opacity: float, side: Side | None
    ) -> SurfaceItem:
        return SurfaceItem(name=name, group=group, role=role, opacity=opacity, side=side,
                           points_mm=_turned(turn, surface.points_mm), faces=surface.faces)  # fmt: skip

    found = [] if plan.face is None else [item(plan.face, "face", FACE, "face", 0.22, None)]
    found += [] if plan.arch is None else [item(plan.arch, "upper arch", ARCH, "arch", 0.35, None)]
    for side, surface in plan.molars.items():
        tooth = plan.sides[side].tooth if side in plan.sides else ""
        found.append(item(surface, f"{side} molar {tooth}".strip(), MOLARS, "molar", 0.5, side))
    return tuple(found)


def _bows(plan: Plan, turn: Array) -> list[WireItem]:
    found: list[WireItem] = []
    for part in (plan.worn_before.inner, plan.worn_before.outer):
        found += _halves(part, turn, group=BEFORE, role="bow_before", opacity=1.0)
    for part in (plan.worn_after.inner, plan.worn_after.outer):
        found += _halves(part, turn, group=AFTER, role="bow_after", opacity=1.0)
    for part in (plan.bow_bench.inner, plan.bow_bench.outer):
        found += _halves(part, turn, group=BENCH, role="bow_bench", opacity=0.6)
    return found


def _halves(part: WirePart, turn: Array, *, group: str, role: Role, opacity: float) -> list[WireItem]:
    points, middle = _turned(turn, part.points_mm), len(part.points_mm) // 2
    cuts: dict[Side, Array] = {"right": points[: middle + 1], "left": points[middle:]}
    return [
        WireItem(name=f"{side} {part.part} bow", group=group, role=role, opacity=opacity, side=side,
                 points_mm=cut, diameter_mm=float(np.median(part.diameter_mm)), hidden_at_first=group == BENCH)
        for side, cut in cuts.items()
    ]  # fmt: skip


def _tube(side: Side, s: SidePlan, turn: Array) -> WireItem:
    ends = _turned(turn, [s.rule.tube_mesial_mm, s.rule.tube_distal_mm])
    return WireItem(
        name=f"{side} tube", group=MOLARS, role="tube", side=side, points_mm=ends, diameter_mm=2.0
    )


def _line_of_force(hook: Array, direction: Array, target: Array, back_mm: float) -> Array:
    """Ends (2, 3) of the line: from before the target in front to ``back_mm`` behind the hook."""
    along = (hook[1] - (target[1] - _PAST_TARGET_MM)) / max(abs(direction[1]), 0.2)
    return np.array([hook - max(along, 0.0) * direction, hook + back_mm * direction])


def _lines_of_force(side: Side, s: SidePlan, turn: Array) -> list[LineItem]:
    target = _turned(turn, s.target_mm)
    back_mm = _STRAP_MM if s.strap_toward_mm is None else float(np.linalg.norm(s.strap_toward_mm - s.hook_mm))
    before = _turned(turn, s.hook_before_mm), _turned(turn, s.strap_direction_before)
    after = _turned(turn, s.hook_mm), _turned(turn, s.strap_direction)
    return [
        LineItem(name=f"{side} line of force before the bend", group=LINE_BEFORE, role="line_before", side=side,
                 points_mm=_line_of_force(*before, target, back_mm)),
        LineItem(name=f"{side} line of force after the bend", group=LINE_AFTER, role="line_after", side=side,
                 points_mm=_line_of_force(*after, target, back_mm)),
    ]  # fmt: skip


def _straps(plan: Plan, side: Side, s: SidePlan, turn: Array) -> list[LineItem]:
    """Every strap from the worn hook to its point, or a stretch of it where only its direction is given."""
    hook, found = _turned(turn, s.hook_mm), []
    for k, strap in enumerate(plan.straps[side].straps):
        if strap.toward_mm is not None:
            end = _turned(turn, strap.toward_mm)
        else:
            end = hook + _STRAP_MM * _turned(turn, strap.direction_at(s.hook_mm))
        found.append(LineItem(name=f"{side} strap {k + 1}: {strap.force_n:.1f} N", group=STRAP, role="strap", side=side,
                              opacity=0.35, points_mm=np.array([hook, end])))  # fmt: skip
    return found


def _estimates(side: Side, s: SidePlan, turn: Array) -> list[PointItem]:
    return [
        PointItem(
            name=method_name(method),
            group=ESTIMATES,
            role=METHOD_ROLES.get(method, "estimate"),
            side=side,
            at_mm=_turned(turn, result.point_mm),
            size_mm=0.9,
            glyph=look(METHOD_ROLES.get(method, "estimate")).glyph,
        )
        for method, result in s.centre.methods.items()
    ]


def _marks(plan: Plan, side: Side, s: SidePlan, turn: Array) -> list[PointItem]:
    here = f"bend here: {bend_words(s.bend_deg)}" if plan.bendable else "bend place (do not bend)"
    on_wire = plan.worn_after.outer.at(plan.bow_bench.outer_s_mm(side, s.bend_place_mm))
    return [
        PointItem(name=f"target: {method_name(s.target_method)}", group=ESTIMATES, role="target", side=side,
                  at_mm=_turned(turn, s.target_mm), size_mm=2.4, glyph="ring"),
        PointItem(name=here, group=AFTER, role="bend", side=side,
                  at_mm=_turned(turn, on_wire), size_mm=3.0, glyph="ring",
                  detail=f"{s.bend_place_mm:.0f} mm from the middle"),
        PointItem(name="hook, worn", group=AFTER, role="bow_after", side=side, at_mm=_turned(turn, s.hook_mm),
                  size_mm=2.0),
        PointItem(name="hook before", group=BEFORE, role="bow_before", side=side,
                  at_mm=_turned(turn, s.hook_before_mm), size_mm=1.6),
    ]  # fmt: skip


def _force(side: Side, s: SidePlan, turn: Array) -> ArrowItem:
    force = _turned(turn, s.wrench_at_centre.force_n)
    return ArrowItem(name=f"force on the {side} molar", group=FORCE, role="force", side=side,
                     at_mm=_turned(turn, s.target_mm), vector_mm=_MM_PER_N * force,
                     text=f"force on the molar {np.linalg.norm(force):.1f} N")  # fmt: skip


def _line_labels(side: Side, s: SidePlan, turn: Array) -> list[LabelItem]:
    return [
        LabelItem(name=line.name, group=line.group, role=line.role, side=side, close_up=True,
                  text=line.group.lower(), at_mm=_where_it_passes(line.points_mm, _turned(turn, s.target_mm)))
        for line in _lines_of_force(side, s, turn)
    ]  # fmt: skip


def _where_it_passes(ends: Array, target: Array) -> Array:
    """Point (3,) of the line 7 mm in front of the target."""
    step = ends[1] - ends[0]
    along = (target[1] - 7.0 - ends[0][1]) / step[1] if abs(step[1]) > 1e-6 else 0.0
    return np.asarray(ends[0] + np.clip(along, 0.0, 1.0) * step)


def _rule_dimensions(side: Side, s: SidePlan, turn: Array) -> list[DimensionItem]:
    mesial, corner, point = (
        _turned(turn, p) for p in (s.rule.tube_mesial_mm, s.rule.corner_mm, s.rule.point_mm)
    )
    back = np.array([corner[0], point[1], point[2]])
    return [
        DimensionItem(name=f"{side} rule of thumb, {what}", group=RULE, role="dimension", side=side, from_mm=a,
                      to_mm=b, text=f"{mm:.4g} mm {what}")
        for what, mm, a, b in (("up", s.rule.up_mm, mesial, corner), ("back", s.rule.back_mm, corner, back))
    ]  # fmt: skip


def _offsets(side: Side, s: SidePlan, turn: Array) -> list[DimensionItem]:
    """From the target to the foot on each line of force, in the target's sagittal plane; short ones are left out."""
    target = _turned(turn, s.target_mm)
    found = [
        _offset(side, "before", s.offset_before_mm, target, _turned(turn, s.strap_direction_before)),
        _offset(side, "after", s.offset_after_mm, target, _turned(turn, s.strap_direction)),
    ]
    return [d for d in found if d is not None]


def _offset(side: Side, when: str, offset_mm: float, target: Array, way: Array) -> DimensionItem | None:
    if abs(offset_mm) < _SHORTEST_OFFSET_MM:
        return None
    return DimensionItem(
        name=f"{side} offset {when}",
        group=OFFSETS,
        role="line_before" if when == "before" else "line_after",
        side=side,
        from_mm=target,
        to_mm=target + offset_mm * apical_normal(way),
        text=f"offset {when}: {abs(offset_mm):.1f} mm",
    )


def apical_normal(direction: Array) -> Array:
    """Unit vector (3,) in the sagittal plane, square to ``direction`` there and pointing up."""
    y, z = direction[1], direction[2]
    normal = np.array([0.0, -z, y]) / np.hypot(y, z)
    return np.asarray(normal if normal[2] >= 0.0 else -normal)


def _focus(plan: Plan, side: Side, s: SidePlan, turn: Array) -> Focus:
    surface = plan.molars.get(side)
    around = (
        np.array([s.target_mm, s.rule.point_mm, s.rule.tube_mesial_mm])
        if surface is None
        else surface.points_mm
    )
    points = _turned(turn, around)
    low, high = points.min(axis=0), points.max(axis=0)
    return Focus(title=f"{side.capitalize()} molar {s.tooth}", side=side, centre_mm=0.5 * (low + high),
                 half_height_mm=float(max(0.66 * (high[2] - low[2]), 9.0)))  # fmt: skip
