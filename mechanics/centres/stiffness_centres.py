"""Centres of a ligament stiffness: the elastic centre and the centres in the three anatomical planes."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mechanics.rigid import compliance
from mesh_tools.arrays import Array


def elastic_centre(stiffness: ArrayLike) -> Array:
    """Point (3,), mm, about which the coupling block of ``stiffness`` (6, 6, about the origin) is symmetric.

    About p the block is B + A[p]; its skew part vanishes for (tr(A) I - A) p = -(B32 - B23, B13 - B31, B21 - B12),
    one solution for A positive definite. Linear suspension: Dathe H, Naegerl H, Kubein-Meesenburg D 2013 J Dent
    Biomech 4:1758736013499770. Raises LinAlgError where A is singular.
    """
    k = np.asarray(stiffness, dtype=np.float64)
    a, b = k[:3, :3], k[:3, 3:]
    turn = np.array([b[2, 1] - b[1, 2], b[0, 2] - b[2, 0], b[1, 0] - b[0, 1]])
    return np.asarray(np.linalg.solve(np.trace(a) * np.eye(3) - a, -turn))


def plane_centre(stiffness: ArrayLike, normal: ArrayLike) -> Array:
    """In the plane square to ``normal`` (3,) through the elastic centre, the point through which no force in that
    plane turns the tooth about ``normal``; from the full compliance, (3,) mm."""
    n = np.asarray(normal, dtype=np.float64) / np.linalg.norm(normal)
    middle = elastic_centre(stiffness)
    c = compliance(stiffness)
    about, by_force = c[3:, 3:] @ n, c[3:, :3].T @ n
    turning = by_force + np.cross(about, middle)
    return np.asarray(middle + np.cross(n, turning) / float(n @ about))


def sagittal_centre(stiffness: ArrayLike, *, x_axis: ArrayLike = (1.0, 0.0, 0.0)) -> Array:
    """Target of the bend: the point in the sagittal plane through which no force in that plane tips the tooth."""
    return plane_centre(stiffness, x_axis)
