"""Elastic foundation: every facet of the supported root a normal and a tangential spring at its centroid."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array


def foundation_stiffness(points_mm: ArrayLike, faces: ArrayLike, *, k_normal: float, k_shear: float) -> Array:
    """Stiffness (6, 6) about the origin of the frame: N, N mm against mm, rad.

    ``points_mm`` (n, 3), ``faces`` (m, 3) of point indices; ``k_normal`` and ``k_shear`` in N/mm per mm2. A facet of
    area a and normal n adds a (k_n n n' + k_t (1 - n n')) at its centroid. The winding does not matter.
    """
    corners = np.asarray(points_mm, dtype=np.float64)[np.asarray(faces)]
    centre = corners.mean(axis=1)
    cross = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(cross, axis=1)
    normal = np.divide(cross, area[:, None], out=np.zeros_like(cross), where=area[:, None] > 0.0)
    along = np.hstack([normal, np.cross(centre, normal)])
    pressed = (k_normal - k_shear) * (along.T * area) @ along
    return np.asarray(pressed + k_shear * _isotropic(centre, area))


def _isotropic(points: Array, weights: Array) -> Array:
    """Stiffness (6, 6) about the origin of equal springs in every direction, of ``weights`` (m,) at ``points``."""
    total, first = weights.sum(), weights @ points
    second = (points.T * weights) @ points
    x, y, z = first
    arm = np.array([[0.0, z, -y], [-z, 0.0, x], [y, -x, 0.0]])
    inertia = np.trace(second) * np.eye(3) - second
    return np.block([[total * np.eye(3), arm], [arm.T, inertia]])
