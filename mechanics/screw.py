"""A finite rigid motion as a screw, and as a turn about a point of the plane it is looked at in.

Every motion is a turn about one line and a slide along it (Chasles M 1830). The line is found from where one point
goes: c = p + (u + cot(a / 2) n x u) / 2 with u the part of that point's travel square to the axis n and a the angle,
which is exact for any angle (Rodrigues O 1840 J Math Pures Appl 5:380-440, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array, frozen, unit, vee
from mesh_tools.errors import BadValueError

LEAST_ANGLE = 1e-9
_OFF = 1e-6


@dataclass(frozen=True, eq=False)
class Screw:
    """A turn by ``angle`` (rad, 0 to pi) about the line along ``axis`` (3,) through ``point_mm`` (3,), and a slide.

    ``point_mm`` is the point of the line nearest to the point it was asked for; ``along_mm`` the slide along ``axis``.
    For a motion that does not turn ``axis`` is the way it goes (zero when it does not go), ``point_mm`` is None.
    """

    axis: Array
    angle: float
    point_mm: Array | None
    along_mm: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "axis", frozen(self.axis, (3,), name="screw axis"))
        if self.point_mm is not None:
            object.__setattr__(self, "point_mm", frozen(self.point_mm, (3,), name="screw point"))


def screw_of(rotation: ArrayLike, shift_mm: ArrayLike, *, near_mm: ArrayLike) -> Screw:
    """The screw of p -> ``rotation`` (3, 3) @ p + ``shift_mm`` (3,).

    Raises BadValueError for a matrix that is no rotation.
    """
    r, t = _checked(rotation), frozen(shift_mm, (3,), name="shift")
    p = frozen(near_mm, (3,), name="near point")
    turn = rotation_vector(r)
    angle = float(np.linalg.norm(turn))
    travel = r @ p + t - p
    if angle < LEAST_ANGLE:
        far = float(np.linalg.norm(travel))
        return Screw(travel / far if far > 0.0 else np.zeros(3), 0.0, None, far)
    axis = turn / angle
    along = float(travel @ axis)
    return Screw(axis, angle, p + _toward_axis(travel - along * axis, axis, angle), along)


def planar_turn(rotation: ArrayLike, *, normal: ArrayLike) -> float:
    """Angle (rad) by which ``rotation`` turns what is seen along ``normal`` (3,), right-handed about it.

    The turn that best fits the rotation in that plane by least squares; for a turn about ``normal`` it is exact.
    """
    r, n = _checked(rotation), unit(normal, name="normal")
    across = r - np.outer(n, n) @ r - r @ np.outer(n, n) + n @ r @ n * np.outer(n, n)
    return float(np.arctan2(2.0 * vee(across) @ n, np.trace(across)))


def centre_of_rotation(
    rotation: ArrayLike, shift_mm: ArrayLike, *, through_mm: ArrayLike, normal: ArrayLike
) -> Array | None:
    """Point (3,) about which the motion turns in the plane square to ``normal`` through ``through_mm`` (3,).

    From the travel of ``through_mm`` in that plane and the turn seen there; None where hardly anything turns.
    """
    n = unit(normal, name="normal")
    angle = planar_turn(rotation, normal=n)
    if abs(angle) < LEAST_ANGLE:
        return None
    p = frozen(through_mm, (3,), name="through point")
    travel = np.asarray(rotation) @ p + np.asarray(shift_mm) - p
    return np.asarray(p + _toward_axis(travel - (travel @ n) * n, n, angle))


def rotation_vector(rotation: ArrayLike) -> Array:
    """Axis times angle (3,), rad, of a rotation (3, 3); well defined up to half a turn."""
    from scipy.spatial.transform import Rotation  # slow to import

    return np.asarray(Rotation.from_matrix(_checked(rotation)).as_rotvec(), dtype=np.float64)


def _toward_axis(travel: Array, axis: Array, angle: float) -> Array:
    """From a point to the axis, given the part of its travel square to the axis."""
    return 0.5 * np.asarray(travel + np.cross(axis, travel) / np.tan(0.5 * angle))


def _checked(rotation: ArrayLike) -> Array:
    r = frozen(rotation, (3, 3), name="rotation")
    off = float(np.abs(r @ r.T - np.eye(3)).max())
    if off > _OFF or np.linalg.det(r) < 0.0:
        raise BadValueError(f"rotation must be orthonormal and right-handed; it is off by {off:.1e}.")
    return r
