"""A trial plan for the viewer's tests: invented numbers in real records, a molar of a few ellipsoids.

Everything is laid out in the treatment frame and turned into LPS by ``rotation``, as a real plan is.
"""

from __future__ import annotations

from dataclasses import MISSING, fields
from typing import Any

import numpy as np

from casework.centre import CentreReport, MethodResult
from casework.plan import BenchWork, InputFile, Plan, RuleMarks, SidePlan, Wrench
from mechanics.bow.passivity import TerminalFit
from mechanics.bow.wire import BowWire, JointRegion, PartName, StockMaterial, Tube, WirePart, WornBow
from mechanics.centres.estimate import CentreEstimate
from mechanics.ligament.springs import Ligament
from mechanics.sides import SIDES, Side, outward_sign
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array
from mesh_tools.fdi import ToothNumber
from mesh_tools.surface import Surface

STRAP_N = 4.0


def ellipsoid(centre: Any, radii: Any, n: int = 24) -> Surface:
    """A closed ellipsoid of revolution-ordered faces, normals outward."""
    u, v = np.meshgrid(np.linspace(0, 2 * np.pi, n, endpoint=False), np.linspace(0, np.pi, n // 2 + 1))
    p = np.stack([np.cos(u) * np.sin(v), np.sin(u) * np.sin(v), np.cos(v)], axis=-1)
    k = np.arange(len(p) - 1)[:, None] * n
    j = np.arange(n)[None, :]
    a, b = k + j, k + (j + 1) % n
    upper, lower = np.stack([a, a + n, b], -1), np.stack([b, a + n, b + n], -1)
    faces = np.concatenate([upper.reshape(-1, 3), lower.reshape(-1, 3)])
    return Surface(p.reshape(-1, 3) * np.asarray(radii) + np.asarray(centre), faces)


def joined(parts: list[Surface]) -> Surface:
    starts = np.cumsum([0, *(len(p.points_mm) for p in parts[:-1])])
    faces = [p.faces + s for p, s in zip(parts, starts, strict=True)]
    return Surface(np.concatenate([p.points_mm for p in parts]), np.concatenate(faces))


def trial_molar(sign: int) -> Surface:
    x = 25.0 * sign
    crown = ellipsoid([x, 0, 0], [5.2, 5.0, 4.2])
    mesial = ellipsoid([x + 2.6 * sign, -2.6, 8.0], [1.8, 1.7, 7.0])
    distal = ellipsoid([x + 2.6 * sign, 2.8, 7.6], [1.7, 1.6, 6.5])
    palatal = ellipsoid([x - 3.2 * sign, 0.4, 8.2], [2.0, 2.2, 7.6])
    return joined([crown, mesial, distal, palatal])


def outer_wire(lift_deg: float, droop_mm: float) -> WirePart:
    angle = np.linspace(-np.pi / 2, np.pi / 2, 81)
    front = np.stack([45 * np.sin(angle), -32 - 30 * np.cos(angle), 0 * angle], -1)
    back = np.linspace(0, 1, 30)[1:]
    rise = 42 * back * np.tan(np.radians(lift_deg)) - droop_mm * back**2
    right = np.stack([-45 - 12 * back, -32 + 42 * back, rise], -1)
    points = np.concatenate([right[::-1], front, right * [-1, 1, 1]]) + np.array([0, 0, -2])
    return WirePart(points, np.full(len(points), 1.829), "outer")


def inner_wire() -> WirePart:
    t = np.linspace(-np.pi / 2, np.pi / 2, 61)
    front = np.stack([31 * np.sin(t), -30 - 24 * np.cos(t), 0 * t - 2], -1)
    points = np.concatenate([[[-31, 1, -2.0]], front, [[31, 1, -2.0]]])
    return WirePart(points, np.full(len(points), 1.143), "inner")


def tube(side: Side) -> Tube:
    x = 31.0 * outward_sign(side)
    return Tube(np.array([x, -3.2, -2.0]), np.array([x, 0.8, -2.0]), 1.27)


def trial_bow(outer: WirePart) -> BowWire:
    inner = inner_wire()
    i, o = 0.5 * inner.length_mm, 0.5 * outer.length_mm
    joint = JointRegion(i - 10, i + 10, o - 10, o + 10, 2.4)
    stops: dict[Side, float] = {"right": 4.2, "left": inner.length_mm - 4.2}
    return BowWire(
        inner, outer, joint, StockMaterial(), {s: tube(s) for s in SIDES}, stops, dict.fromkeys(SIDES, 62.0)
    )


def worn(bow: BowWire, turn: Array) -> WornBow:
    nothing = {s: np.zeros(3) for s in SIDES}
    stress: dict[PartName, Array] = {
        "inner": np.zeros(len(bow.inner.points_mm)),
        "outer": np.zeros(len(bow.outer.points_mm)),
    }
    return WornBow(
        bow.inner, bow.outer, bow.hook_mm, dict.fromkeys(SIDES, STRAP_N), nothing, nothing, nothing, nothing,
        stress, True, 0.0,
    )  # fmt: skip


def strap_point(side: Side) -> Array:
    return np.array([50.0 * outward_sign(side), 85.0, -55.0])


def estimates(side: Side) -> dict[str, Array]:
    sign = outward_sign(side)
    x = 25.0 * sign
    return {
        "rule_of_thumb": np.array([x, -1.2, 8.0]),
        "furcation": np.array([x, 0.2, 6.6]),
        "root_fraction": np.array([x - 0.4 * sign, 0.6, 7.9]),
        "root_centroid": np.array([x - 0.9 * sign, 0.5, 8.6]),
        "elastic_foundation": np.array([x, 0.7, 7.4]),
    }


def offset_of(hook: Array, way: Array, target: Array) -> float:
    """Signed distance from the target to the line in the sagittal plane, apical positive: the plan's definition."""
    normal = np.array([-way[2], way[1]]) / np.hypot(way[1], way[2])
    return float((hook - target)[1:] @ (normal if normal[1] > 0 else -normal))


def centre_report(side: Side, turn: Array) -> CentreReport:
    methods = {
        name: MethodResult(
            CentreEstimate(name, p @ turn, "tooth and bone are rigid", "an invented source"), None, 0.0
        )
        for name, p in estimates(side).items()
    }
    return CentreReport(
        ToothNumber(16 if side == "right" else 26), Ligament(), 0.75, None, None, methods, "roots"
    )


def _completed(record: type, values: dict[str, Any]) -> dict[str, Any]:
    """``values`` with None for what the record needs and the viewer does not read: reading it would fail a test."""
    needed = [f.name for f in fields(record) if f.default is MISSING and f.default_factory is MISSING]
    return dict.fromkeys(needed) | values


def trial_side(
    side: Side, before: BowWire, bench: BowWire, after: BowWire, turn: Array, **changes: Any
) -> SidePlan:
    """One side; ``changes`` replaces fields."""
    sign, target = outward_sign(side), estimates(side)["elastic_foundation"]
    hook_before, hook, strap = before.hook_mm[side], after.hook_mm[side], strap_point(side)
    way_before, way = ((strap - h) / np.linalg.norm(strap - h) for h in (hook_before, hook))
    offsets = [offset_of(h, w, target) for h, w in ((hook_before, way_before), (hook, way))]
    force = STRAP_N * way
    rule = estimates(side)["rule_of_thumb"]
    mesial, distal = tube(side).mesial_mm, tube(side).distal_mm
    values: dict[str, Any] = {
        "side": side, "tooth": 16 if side == "right" else 26, "centre": centre_report(side, turn),
        "target_method": "elastic_foundation", "target_mm": target @ turn,
        "rule": RuleMarks(mesial @ turn, distal @ turn, np.add(mesial, [0, 0, 10.0]) @ turn, rule @ turn, 10.0, 2.0),
        "arm_length_mm": 110.0, "bend_deg": 14.5, "bend_place_mm": 62.0, "bend_point_mm": np.zeros(3),
        "hook_before_mm": hook_before @ turn, "hook_bench_mm": bench.hook_mm[side] @ turn, "hook_mm": hook @ turn,
        "strap_toward_mm": strap @ turn, "strap_direction": way @ turn, "strap_direction_before": way_before @ turn,
        "strap_force_n": STRAP_N, "offset_before_mm": offsets[0], "offset_after_mm": offsets[1],
        "tipping_moment_before_n_mm": STRAP_N * offsets[0], "tipping_moment_after_n_mm": STRAP_N * offsets[1],
        "tip_before_n_mm": STRAP_N * offsets[0], "tip_after_n_mm": STRAP_N * offsets[1],
        "wrench_at_centre": Wrench(force @ turn, np.array([0.1, 20.0, 60.0]) @ turn), "distal_n": float(force[1]),
        "vertical_n": float(force[2]), "lateral_n": float(force[0] * sign), "solved": True,
        "movement": None, "bench": BenchWork(16.2, 3.0, None), "fit": TerminalFit(*[0.0] * 7, passive=True),
    }  # fmt: skip
    return SidePlan(**_completed(SidePlan, values | changes))


def trial_plan(rotation: Any = None, **changes: Any) -> Plan:
    """The plan; ``rotation`` (3, 3) is its treatment frame, ``changes`` replaces fields."""
    turn = np.eye(3) if rotation is None else np.asarray(rotation, dtype=np.float64)
    before, bench = trial_bow(outer_wire(4.0, 0.0)), trial_bow(outer_wire(17.2, 0.0))
    worn_before, after = trial_bow(outer_wire(4.0, 7.0)), trial_bow(outer_wire(17.2, 4.0))
    back = turn.T
    values: dict[str, Any] = {
        "case_id": "trial-1", "version": "0.0.1", "age_years": 10.5, "pull_kind": "cervical", "bow_model": "elastic",
        "treatment_rotation": turn,
        "sides": {s: trial_side(s, worn_before, bench, after, turn) for s in SIDES},
        "straps": {s: StrapPull.toward(strap_point(s) @ turn, force_n=STRAP_N) for s in SIDES},
        "bow_before": before.moved(back), "bow_bench": bench.moved(back),
        "worn_before": worn(worn_before.moved(back), turn), "worn_after": worn(after.moved(back), turn),
        "molars": {"right": trial_molar(-1).moved(back), "left": trial_molar(1).moved(back)},
        "face": None, "arch": None, "inserted": None,
        "warnings": ("Age 10.5: look at the apices.",), "findings": ("Right molar: three separate roots.",),
        "inputs": (InputFile("right_molar", "right.stl", "ab" * 32),),
    }  # fmt: skip
    return Plan(**_completed(Plan, values | changes))
