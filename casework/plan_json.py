"""``plan.json``: the plan as a versioned, documented tree of numbers; coordinates LPS mm, units in the key names."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from casework.cautions import CAUTIONS
from casework.module_answer import module_as_dict
from casework.plan import BenchWork, CheekMarks, Plan, SidePlan
from mechanics.bow.wire import Tube
from mechanics.centres.movement import Movement
from mechanics.clearance.along import Clearance, Least, WireClearance
from mechanics.sides import SIDES, outward_sign
from mechanics.strap.path import StrapPath
from mechanics.strap.pull import Strap
from mesh_tools.arrays import Array

PLAN_SCHEMA = 1


def plan_as_dict(plan: Plan) -> dict[str, Any]:
    """The tree written as ``plan.json``; docs/plan-json.md describes every key."""
    return {
        "schema": PLAN_SCHEMA,
        "version": plan.version,
        "case_id": plan.case_id,
        "age_years": plan.age_years,
        "pull": plan.pull_kind,
        "bow_model": plan.bow_model,
        "frame": "LPS mm, origin as in the scans",
        "treatment_axes_in_lps": _list(plan.treatment_rotation),
        "sides": {name: side_as_dict(side, bendable=plan.bendable) for name, side in plan.sides.items()},
        "bow": _bow(plan),
        "clearance": _clearance(plan.clearance),
        "strap_paths": [_strap_path(p, plan.treatment_rotation) for p in plan.strap_paths],
        "module": None if plan.module is None else module_as_dict(plan.module),
        "bendable": plan.bendable,
        "refusals": list(plan.refusals),
        "warnings": list(plan.warnings),
        "findings": list(plan.findings),
        "cautions": [c.text for c in CAUTIONS],
        "inputs": [{"name": i.name, "file": i.file, "sha256": i.sha256} for i in plan.inputs],
    }


def side_as_dict(side: SidePlan, *, bendable: bool) -> dict[str, Any]:
    """One side of ``plan.json``; no bend, band or bench work of a plan that is not to be bent."""
    return {
        "tooth": side.tooth,
        "target_method": side.target_method,
        "target_mm": _list(side.target_mm),
        "bend_deg": side.bend_deg if bendable else None,
        "stopped_at_deg": None if bendable else side.bend_deg,
        "bend_place_mm": side.bend_place_mm,
        "bend_point_mm": _list(side.bend_point_mm),
        "arm_length_mm": side.arm_length_mm,
        "widened_mm": side.widened_mm,
        "solved": side.solved,
        "hook_before_mm": _list(side.hook_before_mm),
        "hook_bench_mm": _list(side.hook_bench_mm),
        "hook_mm": _list(side.hook_mm),
        "hook_travel_mm": side.hook_travel_mm,
        "strap_direction": _list(side.strap_direction),
        "strap_force_n": side.strap_force_n,
        "offset_before_mm": side.offset_before_mm,
        "offset_after_mm": side.offset_after_mm,
        "tipping_moment_before_n_mm": side.tipping_moment_before_n_mm,
        "tipping_moment_after_n_mm": side.tipping_moment_after_n_mm,
        "tip_before_n_mm": side.tip_before_n_mm,
        "tip_after_n_mm": side.tip_after_n_mm,
        "wrench_at_centre": {
            "force_n": _list(side.wrench_at_centre.force_n),
            "moment_n_mm": _list(side.wrench_at_centre.moment_n_mm),
        },
        "components": {"distal_n": side.distal_n, "vertical_n": side.vertical_n, "lateral_n": side.lateral_n},
        "rule_of_thumb": {
            "tube_mesial_mm": _list(side.rule.tube_mesial_mm),
            "up_mm": side.rule.up_mm,
            "back_mm": side.rule.back_mm,
            "point_mm": _list(side.rule.point_mm),
        },
        "centre": side.centre.as_dict(),
        "skin_mm": side.skin_mm,
        "cheek": _cheek(side.cheek),
        "bands": None if side.bands is None or not bendable else asdict(side.bands),
        "movement": _movement(side.movement),
        "bench": _bench(side.bench) if bendable else None,
        "terminal_fit": asdict(side.fit),
        "sensitivities": dict(side.sensitivities),
        "advice": list(side.advice),
    }


def _movement(movement: Movement | None) -> dict[str, Any] | None:
    if movement is None:
        return None
    pole = movement.centre_of_rotation_mm
    return {
        "kind": movement.kind,
        "words": movement.words,
        "tip_deg_per_mm": movement.tip_deg_per_mm,
        "centre_of_rotation_mm": None if pole is None else _list(pole),
    }


def _cheek(marks: CheekMarks | None) -> dict[str, Any] | None:
    if marks is None:
        return None
    points = ("mark_mm", "dot_mm", "rule_dot_mm", "corner_mm")
    numbers = ("up_mm", "back_mm", "rule_up_mm", "rule_back_mm", "depth_mm")
    return {**{k: _list(getattr(marks, k)) for k in points}, **{k: getattr(marks, k) for k in numbers}}


def _clearance(clearance: Clearance | None) -> dict[str, Any] | None:
    if clearance is None:
        return None
    wires = {"outer": clearance.outer, "inner": clearance.inner}
    return {
        "least": [_nearest(least) for least in clearance.least()],
        "mouth_exits": {
            side: {
                "above_mm": e.above_mm,
                "ahead_mm": e.ahead_mm,
                "s_mm": e.s_mm,
                "at_mm": _list(e.at_mm),
            }
            for side, e in clearance.exits.items()
        },
        "along": {name: None if wire is None else _along(wire) for name, wire in wires.items()},
    }


def _nearest(least: Least) -> dict[str, Any]:
    points = {"wire_mm": _list(least.wire_mm), "scan_mm": _list(least.scan_mm)}
    return {
        "region": least.region,
        "side": least.side,
        "gap_mm": least.gap_mm,
        "s_mm": least.s_mm,
        **points,
    }


def _along(wire: WireClearance) -> dict[str, Any]:
    return {
        "s_mm": _list(np.round(wire.s_mm, 3)),
        "gap_mm": _list(np.round(wire.gap_mm, 3)),
        "region": list(wire.region),
    }


def _bench(bench: BenchWork) -> dict[str, Any]:
    return {
        "plier_deg": bench.plier_deg,
        "beak_radius_mm": bench.beak_radius_mm,
        "schedule": [] if bench.schedule is None else [asdict(row) for row in bench.schedule.bends],
        "told": list(bench.told),
    }


def _bow(plan: Plan) -> dict[str, Any]:
    part, place = plan.worn_after.max_stress_place
    tree: dict[str, Any] = {
        "max_stress_mpa": plan.worn_after.max_stress_mpa,
        "max_stress_part": part,
        "max_stress_s_mm": place,
        "proof_mpa": plan.bow_bench.material.proof_mpa,
        "residual": plan.worn_after.residual,
        "e_gpa": plan.bow_bench.material.e_gpa,
        "nu": plan.bow_bench.material.nu,
        "joint_diameter_mm": plan.bow_bench.joint.diameter_mm,
        "tubes": {side: _tube(plan.bow_bench.tubes[side]) for side in SIDES},
        "straps": {side: [_strap(s) for s in plan.straps[side].straps] for side in SIDES},
        "inserted": None,
    }
    if plan.inserted is not None:
        tree["inserted"] = {
            side: {
                "force_n": _list(plan.inserted.force_n[side]),
                "moment_n_mm": _list(plan.inserted.moment_n_mm[side]),
            }
            for side in SIDES
        }
    return tree


def _tube(tube: Tube) -> dict[str, Any]:
    return {"mesial_mm": _list(tube.mesial_mm), "distal_mm": _list(tube.distal_mm), "bore_mm": tube.bore_mm}


def _strap(strap: Strap) -> dict[str, Any]:
    line = {"toward_mm": strap.toward_mm, "direction": strap.direction}
    return {"force_n": strap.force_n, **{k: _list(v) for k, v in line.items() if v is not None}}


def _strap_path(path: StrapPath, rotation: Array) -> dict[str, Any]:
    ways = {s: rotation @ path.direction(s) for s in SIDES}
    return {
        "band": path.band,
        "length_mm": path.length_mm,
        "width_mm": path.width_mm,
        "leaves_mm": {s: _list(path.leaves_mm[s]) for s in SIDES},
        "direction": {s: _list(path.direction(s)) for s in SIDES},
        "angle_deg": {s: float(np.degrees(np.arcsin(ways[s][2]))) for s in SIDES},
        "midline_deg": {
            s: float(np.degrees(np.arctan2(-outward_sign(s) * ways[s][0], ways[s][1]))) for s in SIDES
        },
        "wrap_deg": float(np.degrees(path.wrap_rad)),
        "grip": path.grip,
        "most_pressure_kpa": float(path.pressure_kpa.max()),
        "points_mm": _list(path.points_mm),
        "pressure_kpa": _list(path.pressure_kpa),
        "told": list(path.told),
    }


def _list(values: Any) -> Any:
    return np.asarray(values, dtype=np.float64).tolist()
