"""A trial plan for the viewer's tests: invented numbers, with a molar of a few ellipsoids."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np

from mechanics.bow.wire import WirePart
from mesh_tools.surface import Surface


def ellipsoid(centre: Any, radii: Any, n: int = 24) -> Surface:
    u, v = np.meshgrid(np.linspace(0, 2 * np.pi, n, endpoint=False), np.linspace(0, np.pi, n // 2 + 1))
    p = np.stack([np.cos(u) * np.sin(v), np.sin(u) * np.sin(v), np.cos(v)], axis=-1)
    rows = len(p)
    k = np.arange(rows - 1)[:, None] * n
    j = np.arange(n)[None, :]
    a, b = k + j, k + (j + 1) % n
    faces = np.concatenate(
        [np.stack([a, a + n, b], -1).reshape(-1, 3), np.stack([b, a + n, b + n], -1).reshape(-1, 3)]
    )
    return Surface(p.reshape(-1, 3) * radii + centre, faces)


def joined(parts: list[Surface]) -> Surface:
    starts = np.cumsum([0, *(len(p.points_mm) for p in parts[:-1])])
    return Surface(
        np.concatenate([p.points_mm for p in parts]),
        np.concatenate([p.faces + s for p, s in zip(parts, starts, strict=True)]),
    )


def trial_molar(sign: int) -> Surface:
    x = 25.0 * sign
    return joined(
        [
            ellipsoid([x, 0, 0], [5.2, 5.0, 4.2]),
            ellipsoid([x + 2.6 * sign, -2.6, 8.0], [1.8, 1.7, 7.0]),
            ellipsoid([x + 2.6 * sign, 2.8, 7.6], [1.7, 1.6, 6.5]),
            ellipsoid([x - 3.2 * sign, 0.4, 8.2], [2.0, 2.2, 7.6]),
        ]
    )


def outer_bow(lift_deg: float, droop: float) -> WirePart:
    t = np.linspace(-1, 1, 81)
    angle = t * np.pi / 2
    front = np.stack([45 * np.sin(angle), -62 + 30 * (1 - np.cos(angle)), 0 * t], -1)
    back = np.linspace(0, 1, 30)[1:]
    right = np.stack(
        [-45 - 12 * back, -32 + 42 * back, 42 * back * np.tan(np.radians(lift_deg)) - droop * back**2], -1
    )
    left = right * [-1, 1, 1]
    points = np.concatenate([right[::-1], front, left]) + np.array([0, 0, -2])
    return WirePart(points, np.full(len(points), 1.829), "outer")


def inner_bow() -> WirePart:
    t = np.linspace(-np.pi / 2, np.pi / 2, 61)
    front = np.stack([31 * np.sin(t), -30 - 24 * np.cos(t), 0 * t - 2], -1)
    points = np.concatenate([[[-31, 3, -2.0]], front, [[31, 3, -2.0]]])
    return WirePart(points, np.full(len(points), 1.143), "inner")


class TrialBow(SimpleNamespace):
    def outer_s_mm(self, side: str, from_middle_mm: float) -> float:
        return float(0.5 * self.outer.length_mm + (from_middle_mm if side == "left" else -from_middle_mm))


def trial_side(side: str, before: Any, bench: Any, after: Any) -> Any:
    sign = 1 if side == "left" else -1
    x = 25.0 * sign
    end = 0 if side == "right" else -1
    target = np.array([x, 1.2, 7.4])
    points = {
        "rule_of_thumb": [x, -1.2, 8.0],
        "furcation": [x, 0.2, 6.6],
        "root_fraction": [x - 0.4 * sign, 0.6, 7.9],
        "root_centroid": [x - 0.9 * sign, 0.5, 8.6],
        "elastic_foundation": target,
    }
    methods = {
        name: SimpleNamespace(
            method=name,
            point_mm=np.array(p),
            assumptions=("tooth and bone rigid",),
            source="a source",
            distance_from_rule_mm=float(np.linalg.norm(np.array(p) - points["rule_of_thumb"])),
        )
        for name, p in points.items()
    }
    strap = np.array([50.0 * sign, 85.0, -55.0])

    def way(hook: Any) -> Any:
        return (strap - hook) / np.linalg.norm(strap - hook)

    def offset(hook: Any) -> float:
        d = way(hook)
        n = np.array([-d[2], d[1]]) / np.hypot(d[1], d[2])
        n = n if n[1] > 0 else -n
        return float((hook - target)[1:] @ n)

    hb, ha = before.outer.points_mm[end], after.outer.points_mm[end]
    force = 4.0 * way(ha)
    return SimpleNamespace(
        side=side,
        tooth=16 if side == "right" else 26,
        centre=SimpleNamespace(methods=methods),
        target_method="elastic_foundation",
        target_mm=target,
        rule=SimpleNamespace(
            tube_mesial_mm=np.array([31.0 * sign, -3.2, -2.0]),
            tube_distal_mm=np.array([31.0 * sign, 0.8, -2.0]),
            corner_mm=np.array([31.0 * sign, -3.2, 8.0]),
            point_mm=np.array(points["rule_of_thumb"]),
            up_mm=10.0,
            back_mm=2.0,
        ),
        arm_length_mm=110.0,
        bend_deg=14.5,
        bend_place_mm=62.0,
        bend_point_mm=np.zeros(3),
        hook_before_mm=hb,
        hook_bench_mm=bench.outer.points_mm[end],
        hook_mm=ha,
        strap_toward_mm=strap,
        strap_direction=way(ha),
        strap_direction_before=way(hb),
        strap_force_n=4.0,
        offset_before_mm=offset(hb),
        offset_after_mm=offset(ha),
        tipping_moment_before_n_mm=3.9 * offset(hb),
        tipping_moment_after_n_mm=3.9 * offset(ha),
        wrench_at_centre=SimpleNamespace(force_n=force, moment_n_mm=np.array([0.1, 20.0, 60.0])),
        distal_n=float(force[1]),
        vertical_n=float(force[2]),
        lateral_n=float(force[0] * sign),
        solved=True,
        advice=(),
        sensitivities={},
        hook_travel_mm=6.0,
    )


def trial_plan() -> Any:
    before = TrialBow(inner=inner_bow(), outer=outer_bow(4.0, 0.0))
    worn_before = TrialBow(inner=inner_bow(), outer=outer_bow(4.0, 7.0))
    bench = TrialBow(inner=inner_bow(), outer=outer_bow(25.0, 0.0))
    after = TrialBow(inner=inner_bow(), outer=outer_bow(25.0, 3.0))
    return SimpleNamespace(
        case_id="trial-1",
        version="0.1.0",
        age_years=10.5,
        pull_kind="cervical",
        bow_model="elastic",
        treatment_rotation=np.eye(3),
        sides={s: trial_side(s, worn_before, bench, after) for s in ("right", "left")},
        bow_before=before,
        bow_bench=bench,
        worn_before=worn_before,
        worn_after=after,
        molars={"right": trial_molar(-1), "left": trial_molar(1)},
        face=None,
        arch=None,
        warnings=("The bow is taken as RIGID.",),
        findings=("Right molar: three separate roots.",),
        inputs=(SimpleNamespace(name="right_molar", file="right.stl", sha256="ab" * 32),),
    )
