"""A triangle surface: points and faces, frozen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array, IntArray, frozen, frozen_ints
from mesh_tools.errors import BadValueError


@dataclass(frozen=True, eq=False)
class Surface:
    """Points (n, 3) and faces (m, 3) of point indices, wound so that normals point outward.

    Coordinates are mm in LPS once a scan has passed ``to_lps`` and ``in_mm``; the reader alone returns the
    file's own axes and unit. The arrays are read-only copies.
    """

    points_mm: Array
    faces: IntArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm, (None, 3), name="points_mm"))
        object.__setattr__(self, "faces", frozen_ints(self.faces, (None, 3), name="faces"))
        if len(self.faces) and not (self.faces.min() >= 0 and self.faces.max() < len(self.points_mm)):
            raise BadValueError(
                f"faces must index the {len(self.points_mm)} points; got {self.faces.min()} to {self.faces.max()}."
            )

    @cached_property
    def corners_mm(self) -> Array:
        """Corner points of every face, (m, 3, 3): face, corner, coordinate."""
        return self.points_mm[self.faces]

    @cached_property
    def area_vectors_mm2(self) -> Array:
        """Outward normal times area of every face, (m, 3)."""
        a, b, c = np.moveaxis(self.corners_mm, 1, 0)
        return 0.5 * np.cross(b - a, c - a)

    @cached_property
    def areas_mm2(self) -> Array:
        """Area of every face, (m,)."""
        return np.asarray(np.linalg.norm(self.area_vectors_mm2, axis=1))

    @cached_property
    def face_centres_mm(self) -> Array:
        """Centroid of every face, (m, 3)."""
        return np.asarray(self.corners_mm.mean(axis=1))

    @cached_property
    def extent_mm(self) -> Array:
        """Edge lengths (3,) of the box around the points that faces use."""
        used = self.points_mm[np.unique(self.faces)]
        return np.asarray(np.ptp(used, axis=0))

    def moved(self, rotation: ArrayLike, shift_mm: ArrayLike = (0.0, 0.0, 0.0)) -> Surface:
        """Points as ``rotation @ p + shift``; a left-handed ``rotation`` flips the winding normals stay outward."""
        matrix = np.asarray(rotation, dtype=np.float64)
        faces = self.faces if np.linalg.det(matrix) > 0 else self.faces[:, ::-1]
        return Surface(self.points_mm @ matrix.T + np.asarray(shift_mm, dtype=np.float64), faces)

    def with_faces(self, keep: ArrayLike) -> Surface:
        """Surface of the faces chosen by the mask or indices ``keep``, without the points nobody uses."""
        faces = self.faces[np.asarray(keep)]
        used, renumbered = np.unique(faces, return_inverse=True)
        return Surface(self.points_mm[used], renumbered.reshape(-1, 3))

    def mapped(self, change: Callable[[Array], Array]) -> Surface:
        """Surface with ``change`` applied to the points (n, 3); the faces stay."""
        return Surface(change(np.array(self.points_mm)), self.faces)
