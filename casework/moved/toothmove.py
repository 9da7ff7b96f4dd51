"""One molar's movement in the treatment frame, as it was and as the line of force predicted it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from casework.moved.tracking import Held, Tracked
from casework.plan import Plan, SidePlan
from casework.side_ligament import side_ligament
from mechanics.rigid import compliance, stiffness_about
from mechanics.screw import Screw, centre_of_rotation, planar_turn, rotation_vector, screw_of
from mechanics.sides import Side, outward_sign
from mesh_tools.arrays import Array

SCAN_SD_MM = 0.1
"""Scans of an arch deviate by about 0.1 mm from place to place beside what a fit shows (common practice, no source)."""
CROWN_MM = 10.0
"""Width of a first molar's crown (Ash/Nelson, Wheeler's Dental Anatomy): what the scan's deviation tilts it over."""
AXES = ("lateral", "distal", "apical")
TURNS = ("tip", "torque", "rotation")


@dataclass(frozen=True, eq=False)
class Motion:
    """``crown_mm`` (3,): travel of the crown's middle outward, back and up; ``turn_deg`` (3,): tip, positive crown
    back; torque, positive crown outward; rotation, positive mesial end outward.
    """

    crown_mm: Array
    turn_deg: Array


@dataclass(frozen=True, eq=False)
class ToothMove:
    """What one molar really did. ``sd``: standard deviations of ``motion``; ``draws`` (d, 6): its errors, mm and deg.

    ``pole_mm``: centre of rotation in side view, LPS, and ``pole_sd_mm`` of its height; None where the turn is within
    its error. ``screw``: the axis of the whole motion, LPS. ``target_mm`` (3,): travel of the plan's target.
    """

    side: Side
    tooth: int
    motion: Motion
    sd: Motion
    draws: Array
    target_mm: Array
    tip_deg_per_mm: float | None
    pole_mm: Array | None
    pole_up_mm: float | None
    pole_sd_mm: float | None
    screw: Screw | None
    rms_mm: float
    agreement: float


@dataclass(frozen=True, eq=False)
class Prediction:
    """The pattern that the plan's line predicts: ``way`` (6,): crown travel outward, back, up and tip, torque,
    rotation for one mm of crown travel; ``pole_up_mm`` of the centre of rotation above the target; its kind in words.

    Absolute mobility is unknown; only the pattern is meant.
    """

    way: Array
    pole_up_mm: float | None
    kind: str


def tooth_move(plan: Plan, side: Side, held: Held, track: Tracked, *, seed: int = 0) -> ToothMove:
    """The movement of the molar of ``side``, its errors drawn from both fits and the scan's own deviation."""
    axes, crown = plan.treatment_rotation, track.middle_mm
    target = plan.sides[side].target_mm
    motion, draws = _motion(plan, side, track), _errors(plan, side, held, track, seed=seed)
    sd = draws.std(axis=0, ddof=1)
    turns = bool(abs(motion.turn_deg[0]) > 2.0 * sd[3])
    r, t = track.motion.rotation, track.motion.shift_mm
    pole = centre_of_rotation(r, t, through_mm=target, normal=axes[0]) if turns else None
    up, up_sd = _pole_height(plan, side, motion, draws, crown) if turns else (None, None)
    whole = float(np.linalg.norm(motion.turn_deg)) > 2.0 * float(np.linalg.norm(sd[3:]))
    seen = float(np.hypot(*motion.crown_mm[1:]))
    return ToothMove(
        side=side,
        tooth=plan.sides[side].tooth,
        motion=motion,
        sd=Motion(sd[:3], sd[3:]),
        draws=draws,
        target_mm=_sided(axes @ (track.motion.applied(target[None])[0] - target), side),
        tip_deg_per_mm=float(motion.turn_deg[0]) / seen
        if seen > 3.0 * float(np.hypot(sd[1], sd[2]))
        else None,
        pole_mm=pole,
        pole_up_mm=up,
        pole_sd_mm=up_sd,
        screw=screw_of(r, t, near_mm=target) if whole else None,
        rms_mm=track.draws.rms_mm,
        agreement=track.found.agreement.agreement,
    )


def _sided(vector: Array, side: Side) -> Array:
    """A travel (..., 3) in the treatment frame as outward, back, up."""
    return np.asarray(vector * np.array([outward_sign(side), 1.0, 1.0]))


def _turns(vector: Array, side: Side) -> Array:
    """Rotation vectors (..., 3) in the treatment frame as tip, torque, rotation."""
    out = outward_sign(side)
    return np.asarray(vector * np.array([1.0, -out, out]))


def _motion(plan: Plan, side: Side, track: Tracked) -> Motion:
    axes, crown = plan.treatment_rotation, track.middle_mm
    travel = axes @ (track.motion.applied(crown[None])[0] - crown)
    turn = axes @ rotation_vector(track.motion.rotation)
    turn[0] = planar_turn(track.motion.rotation, normal=axes[0])
    return Motion(_sided(travel, side), np.degrees(_turns(turn, side)))


def _errors(plan: Plan, side: Side, held: Held, track: Tracked, *, seed: int) -> Array:
    """Errors (d, 6) of crown travel (mm) and turn (deg)."""
    axes, crown = plan.treatment_rotation, track.middle_mm
    dice = np.random.default_rng(seed)
    mine, other = track.draws, held.draws
    count = min(len(mine.turns), len(other.turns))
    own = track.motion.applied(crown[None])[0]
    travel = mine.at(own)[:count] + other.at(own)[:count] + dice.normal(0.0, SCAN_SD_MM, (count, 3))
    turn = mine.turns[:count] + other.turns[:count] + dice.normal(0.0, SCAN_SD_MM / CROWN_MM, (count, 3))
    return np.concatenate([_sided(travel @ axes.T, side), np.degrees(_turns(turn @ axes.T, side))], axis=1)


def _pole_height(
    plan: Plan, side: Side, motion: Motion, draws: Array, crown_mm: Array
) -> tuple[float, float]:
    """Height of the centre of rotation over the target, mm up, and its standard deviation from the draws.

    In the plane a turn by a about x carries the crown back by a times how far the pole lies above it. The spread is
    half of the middle 68 %, since a turn near nothing throws the pole far away.
    """
    lift = float(plan.treatment_rotation[2] @ (crown_mm - plan.sides[side].target_mm))
    back, tip = motion.crown_mm[1] + draws[:, 1], np.radians(motion.turn_deg[0] + draws[:, 3])
    half = 0.5 * (motion.crown_mm[2] + draws[:, 2])
    safe = np.where(np.abs(tip) < 1e-6, 1e-6, tip)
    heights = lift + half + 0.5 * back / np.tan(0.5 * safe)
    exact = (
        lift
        + 0.5 * motion.crown_mm[2]
        + 0.5 * motion.crown_mm[1] / np.tan(np.radians(0.5 * motion.turn_deg[0]))
    )
    low, high = np.quantile(heights, [0.16, 0.84])
    return float(exact), 0.5 * float(high - low)


def prediction(plan: Plan, side: Side, crown_mm: Array) -> Prediction | None:
    """What the plan's whole wrench on the molar would do to it; None when its roots were not seen."""
    known: SidePlan = plan.sides[side]
    stiffness = side_ligament(known)
    if stiffness is None:
        return None
    axes = plan.treatment_rotation
    wrench = np.concatenate([known.wrench_at_centre.force_n, known.wrench_at_centre.moment_n_mm])
    move = compliance(stiffness_about(stiffness, known.target_mm)) @ wrench
    travel = axes @ (move[:3] + np.cross(move[3:], crown_mm - known.target_mm))
    size = float(np.linalg.norm(travel))
    turn = np.degrees(_turns(axes @ move[3:], side))
    way = np.concatenate([_sided(travel, side), turn]) / max(size, 1e-12)
    pole = None if known.movement is None else known.movement.centre_of_rotation_mm
    up = None if pole is None else float(axes[2] @ (pole - known.target_mm))
    return Prediction(way, up, "bodily" if known.movement is None else known.movement.kind)
