"""Facets of the supported root surface: centroid, normal and area of each, and what a scan can get wrong there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array, BoolArray, IntArray
from mesh_tools.errors import BadShapeError, BadValueError


@dataclass(frozen=True, eq=False)
class Facets:
    """``centres_mm`` (m, 3), unit ``normals`` (m, 3) by the winding, ``areas_mm2`` (m,)."""

    centres_mm: Array
    normals: Array
    areas_mm2: Array

    @property
    def arms(self) -> Array:
        """(m, 6): normal approach of each facet for the six unit rigid motions about the origin."""
        return np.hstack([self.normals, np.cross(self.centres_mm, self.normals)])


def facets_of(points_mm: ArrayLike, faces: ArrayLike) -> Facets:
    """Facets of the surface ``points_mm`` (n, 3), ``faces`` (m, 3).

    Raises BadShapeError for other shapes or no faces, BadValueError for indices out of range, NaN, or no area.
    """
    points, triangles = checked_surface(points_mm, faces)
    a, b, c = points[triangles[:, 0]], points[triangles[:, 1]], points[triangles[:, 2]]
    cross = 0.5 * np.cross(b - a, c - a)
    areas = np.sqrt(np.einsum("ij,ij->i", cross, cross))
    if not areas.sum() > 0.0:
        raise BadValueError(f"the supported root must have an area; its {len(triangles)} faces have none.")
    normals = np.divide(cross, areas[:, None], out=np.zeros_like(cross), where=areas[:, None] > 0.0)
    return Facets((a + b + c) / 3.0, normals, areas)


def mean_root_radius_mm(points_mm: ArrayLike, faces: ArrayLike) -> float:
    """Twice the volume over the area of the supported root, mm.

    That is the radius of a long cylinder closed at its end, and two thirds of that of a cone's rim. The volume is
    closed by a fan from the mean of the points on the open rim (divergence theorem).
    """
    facets = facets_of(points_mm, faces)
    points = np.asarray(points_mm, dtype=np.float64)
    volume = enclosed_mm3(points, facets, rim_points(faces, len(points)))
    return float(2.0 * abs(volume) / facets.areas_mm2.sum())


def enclosed_mm3(points_mm: Array, facets: Facets, rim: BoolArray) -> float:
    """Volume, mm3, positive for outward normals, closed by a fan from the mean of the points on the ``rim`` (n,)."""
    middle = points_mm[rim].mean(axis=0) if rim.any() else points_mm.mean(axis=0)
    heights = np.einsum("ij,ij->i", facets.centres_mm - middle, facets.normals)
    return float(heights @ facets.areas_mm2) / 3.0


def check_thickness(points_mm: ArrayLike, faces: ArrayLike, *, thickness_mm: float) -> None:
    """Raise BadValueError where the ligament would be thicker than the root's own mean radius."""
    refuse_thick(mean_root_radius_mm(points_mm, faces), thickness_mm=thickness_mm)


def refuse_thick(radius_mm: float, *, thickness_mm: float) -> None:
    """Raise BadValueError for a thickness not below ``radius_mm``."""
    if not thickness_mm < radius_mm:
        raise BadValueError(
            f"ligament thickness must be below the root's mean radius ({radius_mm:.3g} mm); got {thickness_mm:g} mm. "
            "Check the unit of the scan and the crest level."
        )


def rim_points(faces: ArrayLike, n_points: int) -> BoolArray:
    """Mask (n,) of the points on an edge that only one face uses."""
    triangles = np.asarray(faces, dtype=np.int64)
    ahead = np.roll(triangles, -1, axis=1)
    keys = np.sort((np.minimum(triangles, ahead) * n_points + np.maximum(triangles, ahead)).ravel())
    alone = np.ones(len(keys), dtype=np.bool_)
    same = keys[1:] == keys[:-1]
    alone[1:] &= ~same
    alone[:-1] &= ~same
    mask = np.zeros(n_points, dtype=np.bool_)
    mask[keys[alone] // n_points] = True
    mask[keys[alone] % n_points] = True
    return mask


def checked_surface(points_mm: ArrayLike, faces: ArrayLike) -> tuple[Array, IntArray]:
    """The arrays; raises BadShapeError for other shapes or no faces, BadValueError for bad indices or NaN."""
    points, triangles = np.asarray(points_mm, dtype=np.float64), np.asarray(faces)
    if points.ndim != 2 or points.shape[1:] != (3,) or triangles.ndim != 2 or triangles.shape[1:] != (3,):
        raise BadShapeError(
            f"points_mm must be (n, 3) and faces (m, 3); got {points.shape} and {triangles.shape}."
        )
    if len(triangles) == 0:
        raise BadShapeError(
            "the supported root has no faces: the crest lies below the apex; check the crest level."
        )
    if triangles.min() < 0 or triangles.max() >= len(points):
        raise BadValueError(
            f"faces must index the {len(points)} points; got {triangles.min()} to {triangles.max()}."
        )
    if not np.isfinite(points).all():
        raise BadValueError("points_mm must be finite; the root surface holds NaN or infinite coordinates.")
    return points, triangles
