"""A rigid motion: turn, then shift."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array, frozen
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface

_TOLERANCE = 1e-9


@dataclass(frozen=True, eq=False)
class RigidMotion:
    """``p -> rotation @ p + shift_mm``; the rotation (3, 3) is proper, the shift (3,) in mm."""

    rotation: Array
    shift_mm: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "rotation", frozen(self.rotation, (3, 3), name="rotation"))
        object.__setattr__(self, "shift_mm", frozen(self.shift_mm, (3,), name="shift_mm"))
        off = float(np.abs(self.rotation @ self.rotation.T - np.eye(3)).max())
        if off > _TOLERANCE or np.linalg.det(self.rotation) < 0.0:
            raise BadValueError(
                f"rotation must be orthonormal and right-handed; it is off by {off:.1e} with determinant "
                f"{np.linalg.det(self.rotation):.3f}."
            )

    @classmethod
    def still(cls) -> RigidMotion:
        """No motion."""
        return cls(np.eye(3), np.zeros(3))

    def applied(self, points: ArrayLike) -> Array:
        """Points (n, 3) moved."""
        return np.asarray(np.asarray(points, dtype=np.float64) @ self.rotation.T + self.shift_mm)

    def moved(self, surface: Surface) -> Surface:
        """``surface`` moved."""
        return surface.moved(self.rotation, self.shift_mm)

    @property
    def inverse(self) -> RigidMotion:
        """The way back."""
        return RigidMotion(self.rotation.T, -self.rotation.T @ self.shift_mm)

    def after(self, first: RigidMotion) -> RigidMotion:
        """``first``, then this one."""
        return RigidMotion(
            orthonormal(self.rotation @ first.rotation), self.rotation @ first.shift_mm + self.shift_mm
        )

    @property
    def angle_deg(self) -> float:
        """How far it turns; well defined near 0 and near 180 degrees."""
        r = self.rotation
        axis = np.array([r[2, 1] - r[1, 2], r[0, 2] - r[2, 0], r[1, 0] - r[0, 1]])
        return float(np.degrees(np.arctan2(np.linalg.norm(axis), np.trace(r) - 1.0)))

    def travel_mm(self, points: ArrayLike) -> float:
        """Largest distance by which any of ``points`` (n, 3) moves."""
        p = np.asarray(points, dtype=np.float64)
        return float(np.linalg.norm(self.applied(p) - p, axis=1).max())


def orthonormal(matrix: ArrayLike) -> Array:
    """The rotation (..., 3, 3) nearest to ``matrix`` in the least-squares sense (singular value decomposition)."""
    u, _, vt = np.linalg.svd(np.asarray(matrix, dtype=np.float64))
    sign = np.sign(np.linalg.det(u @ vt))
    u = u.copy()
    u[..., :, 2] *= sign[..., None]
    return np.asarray(u @ vt)


def turned(vectors: ArrayLike) -> Array:
    """Rotations (s, 3, 3) of rotation vectors (s, 3), rad, by Rodrigues' formula."""
    w = np.atleast_2d(np.asarray(vectors, dtype=np.float64))
    angle = np.linalg.norm(w, axis=1)
    x, y, z = (w / np.maximum(angle, 1e-300)[:, None]).T
    zero = np.zeros_like(x)
    cross = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=1).reshape(-1, 3, 3)
    s, c = np.sin(angle)[:, None, None], np.cos(angle)[:, None, None]
    return np.asarray(np.eye(3) + s * cross + (1.0 - c) * cross @ cross)
