"""Rigid-body algebra: moving a stiffness or a wrench to another point or frame, and proving a stiffness usable.

A stiffness K (6, 6) about a point maps the motion of that point and the rotation to force and moment:
``[f; m] = K [u; theta]``, N, N mm, mm, rad.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array, skew
from mesh_tools.errors import NoAnswerError

MAX_CONDITION = 1e8


def motion_shift(offset_mm: ArrayLike) -> Array:
    """Matrix (6, 6) taking the motion of the point ``offset_mm`` (3,) to that of the origin: u + offset x theta."""
    shift = np.eye(6)
    shift[:3, 3:] = skew(offset_mm)
    return shift


def stiffness_about(stiffness: ArrayLike, point_mm: ArrayLike) -> Array:
    """``stiffness`` (6, 6) about the origin, moved to be about ``point_mm`` (3,)."""
    shift = motion_shift(point_mm)
    return np.asarray(shift.T @ np.asarray(stiffness) @ shift)


def stiffness_turned(stiffness: ArrayLike, rotation: ArrayLike) -> Array:
    """``stiffness`` (6, 6) in the axes of ``rotation`` (3, 3), new = rotation @ old; reflections are allowed.

    Rotation vectors and moments are axial: a reflection turns their sign once more.
    """
    r = np.asarray(rotation, dtype=np.float64)
    axial = r * np.sign(np.linalg.det(r))
    turn = np.block([[r, np.zeros((3, 3))], [np.zeros((3, 3)), axial]])
    return np.asarray(turn @ np.asarray(stiffness) @ turn.T)


def condition_number(stiffness: ArrayLike, *, length_mm: float) -> float:
    """Condition of ``stiffness`` with rotations scaled by ``length_mm``, so that its entries share one unit."""
    scale = np.diag([1.0] * 3 + [1.0 / length_mm] * 3)
    return float(np.linalg.cond(scale @ np.asarray(stiffness) @ scale))


def compliance(stiffness: ArrayLike, *, length_mm: float = 5.0) -> Array:
    """Inverse of ``stiffness`` (6, 6); raises NoAnswerError with the condition number when it cannot be trusted.

    The condition is judged about the elastic middle, where it does not depend on the origin.
    """
    k = np.asarray(stiffness, dtype=np.float64)
    middle = np.linalg.lstsq(np.trace(k[:3, :3]) * np.eye(3) - k[:3, :3], _coupling(k), rcond=None)[0]
    condition = condition_number(stiffness_about(k, middle), length_mm=length_mm)
    if not condition <= MAX_CONDITION:
        raise NoAnswerError(
            f"ligament stiffness is ill-conditioned (condition number {condition:.2g}, limit {MAX_CONDITION:.0e}): "
            "the root surface does not hold the tooth in every direction; check the crest level and the scan."
        )
    shift = motion_shift(middle)
    return np.asarray(shift @ np.linalg.inv(stiffness_about(k, middle)) @ shift.T)


def _coupling(k: Array) -> Array:
    b = k[:3, 3:]
    return -np.array([b[2, 1] - b[1, 2], b[0, 2] - b[2, 0], b[1, 0] - b[0, 1]])
