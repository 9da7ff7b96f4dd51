"""Mid-surface of the ligament: the root surface moved outward by half the thickness, with coincident points joined."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mechanics.ligament.facets import (
    Facets,
    checked_surface,
    enclosed_mm3,
    facets_of,
    refuse_thick,
    rim_points,
)
from mesh_tools.arrays import Array, BoolArray, IntArray
from mesh_tools.errors import BadShapeError, BadValueError


@dataclass(frozen=True, eq=False)
class MidSurface:
    """Mid-surface of a layer.

    ``points_mm`` (n, 3), ``faces`` (m, 3), ``thickness_mm`` (n,) at the points, ``face_thickness_mm`` (m,), and the
    mask ``rim`` (n,) of the points on the open rim.
    """

    points_mm: Array
    faces: IntArray
    thickness_mm: Array
    face_thickness_mm: Array
    rim: BoolArray


def mid_surface(points_mm: ArrayLike, faces: ArrayLike, *, thickness_mm: ArrayLike) -> MidSurface:
    """Mid-surface of a layer of ``thickness_mm`` (one number or (n,)) on the outside of the root surface.

    Outside is the side away from the enclosed volume, whatever the winding. Raises BadShapeError or BadValueError.
    """
    checked_surface(points_mm, faces)
    points, thickness = (
        np.asarray(points_mm, dtype=np.float64),
        _thickness(thickness_mm, len(np.asarray(points_mm))),
    )
    points, triangles, thickness = _joined(points, np.asarray(faces, dtype=np.int64), thickness)
    facets, rim = facets_of(points, triangles), rim_points(triangles, len(points))
    _check_thin(points, facets, rim, thickness_mm=float(thickness.max()))
    moved = points + 0.5 * thickness[:, None] * _outward(points, triangles, facets, rim)
    return MidSurface(moved, triangles, thickness, thickness[triangles].mean(axis=1), rim)


def _outward(points: Array, faces: IntArray, facets: Facets, rim: BoolArray) -> Array:
    """Unit directions (n, 3) away from the enclosed volume."""
    vectors = np.repeat(facets.normals * facets.areas_mm2[:, None], 3, axis=0)
    at = faces.ravel()
    sums = np.stack([np.bincount(at, vectors[:, i], minlength=len(points)) for i in range(3)], axis=1)
    length = np.linalg.norm(sums, axis=1, keepdims=True)
    sense = np.sign(enclosed_mm3(points, facets, rim))
    return np.asarray(np.divide(sense * sums, length, out=np.zeros_like(sums), where=length > 0.0))


def _check_thin(points: Array, facets: Facets, rim: BoolArray, *, thickness_mm: float) -> None:
    refuse_thick(
        2.0 * abs(enclosed_mm3(points, facets, rim)) / facets.areas_mm2.sum(), thickness_mm=thickness_mm
    )


def _thickness(thickness_mm: ArrayLike, n: int) -> Array:
    given = np.asarray(thickness_mm, dtype=np.float64)
    if given.ndim and given.shape != (n,):
        raise BadShapeError(
            f"thickness_mm must be one number or ({n},), one for each point; got {given.shape}."
        )
    if not (np.isfinite(given).all() and (given > 0.0).all()):
        raise BadValueError(f"thickness_mm must be positive everywhere; got {float(np.min(given)):g}.")
    return np.broadcast_to(given, (n,)).copy()


def _joined(points: Array, faces: IntArray, thickness: Array) -> tuple[Array, IntArray, Array]:
    """Surface with coincident points joined, unused points and collapsed faces dropped."""
    order = np.lexsort(points.T)
    new = np.ones(len(points), dtype=np.bool_)
    new[1:] = (points[order][1:] != points[order][:-1]).any(axis=1)
    label = np.empty(len(points), dtype=np.int64)
    label[order] = order[new][np.cumsum(new) - 1]
    triangles = label[faces]
    kept = triangles[(triangles != np.roll(triangles, 1, axis=1)).all(axis=1)]
    used = np.zeros(len(points), dtype=np.bool_)
    used[kept.ravel()] = True
    number = np.cumsum(used) - 1
    return points[used], number[kept], thickness[used]
