"""The page's scenes, by layer: the scans, the centres of resistance, and the bow as the handles stand. Pure functions.

All are in the treatment frame (LPS until the occlusal plane is known), like every scene.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array
from viewer.load_items import REGION, region_size
from viewer.load_shapes import stressed_tube
from viewer.page.words import say
from viewer.palette import METHOD_ROLES, Role, look
from viewer.scene import (
    ArrowItem,
    DimensionItem,
    LineItem,
    PointItem,
    Scene,
    SurfaceItem,
    WireItem,
)
from viewer.scene_of_centre import region_shape
from viewer.scene_of_plan import (
    AFTER,
    ARCH,
    BEFORE,
    BENCH,
    ESTIMATES,
    FACE,
    FORCE,
    LINE_AFTER,
    LINE_BEFORE,
    MOLARS,
    OFFSETS,
    RULE,
    STRAP,
)
from viewer.stress_colours import scale_top_mpa
from viewer.words import method_name

if TYPE_CHECKING:
    from casework.desk.bench import Workbench
    from casework.desk.live import Live, LiveSide
    from mechanics.bow.wire import PartName
    from mesh_tools.surface import Surface

BONE, SCANNED_BOW, STRESS = "Bone", "Bow, as scanned", "Stress in the worn bow"
_PARTS: dict[str, tuple[str, Role, float, Side | None]] = {
    "face": (FACE, "face", 0.16, None), "arch": (ARCH, "arch", 0.45, None),
    "right_molar": (MOLARS, "molar", 0.62, "right"), "left_molar": (MOLARS, "molar", 0.62, "left"),
    "right_bone": (BONE, "arch", 0.25, "right"), "left_bone": (BONE, "arch", 0.25, "left"),
    "bow": (SCANNED_BOW, "bow_bench", 1.0, None),
}  # fmt: skip
_STRAP_MM, _PAST_TARGET_MM, _MM_PER_N, _LEAST_OFFSET_MM = 60.0, 16.0, 2.5, 0.1


def scans_scene(surfaces: Mapping[str, Surface], turn: Array) -> Scene:
    """Every scan that could be read; ``turn`` (3, 3) takes LPS to the scene's frame."""
    items = []
    for name, surface in surfaces.items():
        group, role, opacity, side = _PARTS[name]
        points = np.asarray(surface.points_mm) @ turn.T
        items.append(SurfaceItem(name=say(f"scan_{name}"), group=group, role=role, opacity=opacity, side=side,
                                 points_mm=points, faces=surface.faces))  # fmt: skip
    return Scene(title="scans", surfaces=tuple(items))


def centres_scene(bench: Workbench) -> Scene:
    """Every estimate of both molars as its glyph, the target's ring, the region, and the rule of thumb's two steps."""
    sides = [(side, bench.reports[side]) for side in SIDES]
    balls = [_region(bench, side) for side in SIDES]
    return Scene(
        title="centres",
        surfaces=tuple(ball for ball in balls if ball is not None),
        points=(*(p for side, _ in sides for p in _estimates(bench, side)), *(_target(bench, s) for s in SIDES)),
        wires=tuple(_tube(bench, side) for side in SIDES),
        dimensions=tuple(d for side in SIDES for d in _rule(bench, side)),
    )  # fmt: skip


def _estimates(bench: Workbench, side: Side) -> list[PointItem]:
    found = []
    for method, result in bench.reports[side].methods.items():
        role = METHOD_ROLES.get(method, "estimate")
        group = RULE if method == "rule_of_thumb" else ESTIMATES
        found.append(PointItem(name=method_name(method), group=group, role=role, glyph=look(role).glyph, side=side,
                               size_mm=1.0, at_mm=bench.rotation @ result.point_mm))  # fmt: skip
    return found


def _target(bench: Workbench, side: Side) -> PointItem:
    centre = bench.centres[side]
    return PointItem(name=say("target_is", method=method_name(centre.target_method)), group=ESTIMATES, role="target",
                     glyph="ring", side=side, size_mm=2.6, at_mm=bench.rotation @ centre.target_mm)  # fmt: skip


def _region(bench: Workbench, side: Side) -> SurfaceItem | None:
    sure = bench.reports[side].confidence
    if sure is None:
        return None
    points, faces = region_shape(sure)
    name = say("region_is", size=region_size(sure.uncertainty.region.half_axes_mm))
    return SurfaceItem(name=name, group=REGION, role="region", opacity=0.45, side=side,
                       points_mm=points @ bench.rotation.T, faces=faces)  # fmt: skip


def _tube(bench: Workbench, side: Side) -> WireItem:
    tube = bench.ready.bow.tubes[side]
    ends = np.array([tube.mesial_mm, tube.distal_mm])
    return WireItem(
        name=say(f"tube_{side}"), group=MOLARS, role="tube", side=side, points_mm=ends, diameter_mm=2.0
    )


def _rule(bench: Workbench, side: Side) -> list[DimensionItem]:
    """From the tube's mesial end up, then back, to the rule of thumb's point, on the tube's own side plane."""
    rule = bench.reports[side].methods.get("rule_of_thumb")
    if rule is None:
        return []
    mesial, point = bench.ready.bow.tubes[side].mesial_mm, bench.rotation @ rule.point_mm
    corner = np.array([mesial[0], mesial[1], point[2]])
    back = np.array([mesial[0], point[1], point[2]])
    steps = (("up", mesial, corner, point[2] - mesial[2]), ("back", corner, back, point[1] - mesial[1]))
    return [
        DimensionItem(name=say(f"rule_{what}_{side}"), group=RULE, role="dimension", side=side, from_mm=a, to_mm=b,
                      text=say(f"rule_{what}", mm=f"{mm:.1f}"))
        for what, a, b, mm in steps
    ]  # fmt: skip


def live_scene(bench: Workbench, live: Live) -> Scene:
    """The bow worn and on the bench, straps, lines of force, offsets and the force on each molar."""
    turn = bench.rotation
    return Scene(
        title="live",
        surfaces=tuple(_stressed(live, turn)),
        wires=(
            *_halves(live.worn_mm, turn, group=AFTER, role="bow_after", diameters=_diameters(bench)),
            *_halves(live.bench_mm, turn, group=BENCH, role="bow_bench", diameters=_diameters(bench)),
        ),
        lines=tuple(line for side in SIDES for line in _lines(bench, live, side)),
        points=tuple(_hook(live.sides[side], side, turn) for side in SIDES),
        arrows=tuple(_force(live.sides[side], side, turn) for side in SIDES),
        dimensions=tuple(d for side in SIDES for d in _offset(live.sides[side], side, turn)),
    )


def before_scene(bench: Workbench, live: Live) -> Scene:
    """The bow as the case gives it, unbent and worn, and its line of force, thin and dashed."""
    turn = bench.rotation
    lines = [
        LineItem(name=say(f"line_before_{side}"), group=LINE_BEFORE, role="line_before", side=side,
                 points_mm=_line_of_force(live.sides[side], turn))
        for side in SIDES
    ]  # fmt: skip
    return Scene(
        title="before",
        wires=_halves(live.worn_mm, turn, group=BEFORE, role="bow_before", diameters=_diameters(bench)),
        lines=tuple(lines),
    )


def _diameters(bench: Workbench) -> dict[str, float]:
    return {"inner": bench.case.bow.inner_diameter_mm, "outer": bench.case.bow.outer_diameter_mm}


def _halves(
    parts: Mapping[PartName, Array],
    turn: Array,
    *,
    group: str,
    role: Role,
    diameters: dict[str, float],
) -> tuple[WireItem, ...]:
    found = []
    for part, stations in parts.items():
        points = np.asarray(stations, dtype=np.float64) @ turn.T
        middle = len(points) // 2
        for side, cut in (("right", points[: middle + 1]), ("left", points[middle:])):
            found.append(
                WireItem(name=say(f"wire_{part}_{side}"), group=group, role=role, points_mm=cut,
                         side=side,  # type: ignore[arg-type]
                         diameter_mm=diameters[part], hidden_at_first=group == BENCH)
            )  # fmt: skip
    return tuple(found)


def _stressed(live: Live, turn: Array) -> list[SurfaceItem]:
    """The worn wires coloured by stress, hidden at first; none for a rigid bow."""
    if live.rigid or live.max_stress_mpa <= 0.0:
        return []
    top = scale_top_mpa(largest_mpa=live.max_stress_mpa, proof_mpa=live.proof_mpa)
    found = []
    for part, stations in live.worn_mm.items():
        tube, faces, colours = stressed_tube(
            np.asarray(stations) @ turn.T, np.asarray(live.stress_mpa[part]), top_mpa=top,
            radius_mm=1.15 if part == "outer" else 0.75,
        )  # fmt: skip
        found.append(SurfaceItem(name=say(f"stress_{part}"), group=STRESS, role="stress", hidden_at_first=True,
                                 points_mm=tube, faces=faces, face_colours=colours))  # fmt: skip
    return found


def _line_of_force(side: LiveSide, turn: Array) -> Array:
    """Ends (2, 3): from behind the target through it to the strap's side of the hook."""
    hook, foot, way = turn @ side.hook_mm, turn @ side.foot_mm, turn @ side.direction
    ahead = float((hook - foot) @ way)
    front = foot - _PAST_TARGET_MM * way if ahead > 0.0 else hook
    return np.array([front, max((foot, hook), key=lambda p: float(p @ way)) + 0.5 * _STRAP_MM * way])


def _lines(bench: Workbench, live: Live, side: Side) -> list[LineItem]:
    turn, one = bench.rotation, live.sides[side]
    hook = turn @ one.hook_mm
    line = LineItem(name=say(f"line_after_{side}"), group=LINE_AFTER, role="line_after", side=side,
                    points_mm=_line_of_force(one, turn))  # fmt: skip
    return [line, *_straps(bench, live, side, hook, turn @ one.direction)]


def _straps(bench: Workbench, live: Live, side: Side, hook: Array, way: Array) -> list[LineItem]:
    arm, found = live.handles.side(side), []
    shift = np.array([0.0, arm.strap_back_mm, arm.strap_up_mm])
    for k, strap in enumerate(bench.ready.straps[side].straps):
        end = hook + _STRAP_MM * way if strap.toward_mm is None else np.asarray(strap.toward_mm) + shift
        found.append(LineItem(name=say(f"strap_{side}", number=k + 1), group=STRAP, role="strap", side=side,
                              opacity=0.4, points_mm=np.array([hook, end])))  # fmt: skip
    return found


def _hook(side: LiveSide, name: Side, turn: Array) -> PointItem:
    return PointItem(name=say("hook_worn"), group=AFTER, role="bow_after", side=name, at_mm=turn @ side.hook_mm,
                     size_mm=3.0)  # fmt: skip


def _force(side: LiveSide, name: Side, turn: Array) -> ArrowItem:
    force = turn @ side.wrench.force_n
    return ArrowItem(name=say(f"force_{name}"), group=FORCE, role="force", side=name, at_mm=turn @ side.target_mm,
                     vector_mm=_MM_PER_N * force, text=say("force_is", n=f"{np.linalg.norm(force):.1f}"))  # fmt: skip


def _offset(side: LiveSide, name: Side, turn: Array) -> list[DimensionItem]:
    if abs(side.offset_mm) < _LEAST_OFFSET_MM:
        return []
    target, foot = turn @ side.target_mm, turn @ side.foot_mm
    return [
        DimensionItem(name=say(f"offset_{name}"), group=OFFSETS, role="line_after", side=name, from_mm=target,
                      to_mm=np.array([target[0], foot[1], foot[2]]),
                      text=say("offset_is", mm=f"{abs(side.offset_mm):.1f}"))
    ]  # fmt: skip
