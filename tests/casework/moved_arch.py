"""The demo arch months later: each molar's crown and tube moved by a known motion, the gum blended between."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

import numpy as np
from scipy.spatial.transform import Rotation

from casework.case_file import CaseModel, parsed_case
from casework.plan import Plan
from casework.planning import plan_case
from demo_meshes import demo_folder
from mechanics.sides import Side, outward_sign
from mesh_tools.arrays import Array
from mesh_tools.registration.motion import RigidMotion
from mesh_tools.registration.samples import sampled
from mesh_tools.surface import Surface
from tests.casework.moving import demo_values

WHOLE_MM, FREE_MM = 1.2, 4.0


@cache
def case_and_plan() -> tuple[CaseModel, Plan]:
    """The demo case and its plan."""
    values = demo_values()
    values["choices"]["samples"] = 0
    case = parsed_case(values)
    return case, plan_case(case, demo_folder())


def motion_of(
    plan: Plan, side: Side, *, out: float = 0.0, back: float = 0.0, up: float = 0.0, tip: float = 0.0,
    torque: float = 0.0, turn: float = 0.0,
) -> RigidMotion:  # fmt: skip
    """A molar's motion, LPS: travel of the plan's target (mm) and turns (deg) about it, in the treatment frame."""
    axes, sign = plan.treatment_rotation, outward_sign(side)
    r = Rotation.from_rotvec(np.radians([tip, -sign * torque, sign * turn])).as_matrix()
    rotation = axes.T @ r @ axes
    target = plan.sides[side].target_mm
    return RigidMotion(rotation, target - rotation @ target + axes.T @ np.array([sign * out, back, up]))


def moved_arch(
    plan: Plan,
    motions: Mapping[Side, RigidMotion],
    *,
    noise_mm: float = 0.0,
    seed: int = 0,
    grown: Array | None = None,
) -> Surface:
    """The case's arch with each molar moved, its points shaken; ``grown`` (3,): further LPS travel of both."""
    assert plan.arch is not None
    points = np.array(plan.arch.points_mm)
    moved = points.copy()
    for side, motion in motions.items():
        away = sampled(plan.molars[side], 40_000).tree.query(points)[0]
        share = np.clip((FREE_MM - away) / (FREE_MM - WHOLE_MM), 0.0, 1.0)[:, None]
        extra = np.zeros(3) if grown is None else grown
        moved += share * (motion.applied(points) + extra - points)
    return Surface(moved + np.random.default_rng(seed).normal(0.0, noise_mm, points.shape), plan.arch.faces)


def elsewhere(seed: int = 0) -> RigidMotion:
    """The frame of another scan."""
    dice = np.random.default_rng(seed)
    return RigidMotion(Rotation.from_rotvec(dice.normal(0, 0.05, 3)).as_matrix(), dice.normal(0, 1.0, 3))
