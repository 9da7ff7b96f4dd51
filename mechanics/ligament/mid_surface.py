"""Mid-surface of the ligament: the root surface moved outward by half the thickness, with coincident points joined."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mechanics.ligament.facets import facets_of, rim_points
from mesh_tools.arrays import Array, IntArray
from mesh_tools.errors import BadShapeError, BadValueError


@dataclass(frozen=True, eq=False)
class MidSurface:
    """Mid-surface of a layer.

    ``points_mm`` (n, 3), ``faces`` (m, 3), ``thickness_mm`` (n,) at the points, ``face_thickness_mm`` (m,), and the
    same points on the root itself, ``root_mm`` (n, 3).
    """

    points_mm: Array
    faces: IntArray
    thickness_mm: Array
    face_thickness_mm: Array
    root_mm: Array


def mid_surface(points_mm: ArrayLike, faces: ArrayLike, *, thickness_mm: ArrayLike) -> MidSurface:
    """Mid-surface of a layer of ``thickness_mm`` (one number or (n,)) on the outside of the root surface.

    Outside is the side away from the enclosed volume, whatever the winding. Raises BadShapeError or BadValueError.
    """
    facets_of(points_mm, faces)
    points, thickness = (
        np.asarray(points_mm, dtype=np.float64),
        _thickness(thickness_mm, len(np.asarray(points_mm))),
    )
    points, triangles, thickness = _joined(points, np.asarray(faces, dtype=np.int64), thickness)
    facets = facets_of(points, triangles)
    rim = rim_points(triangles, len(points))
    middle = points[rim].mean(axis=0) if rim.any() else points.mean(axis=0)
    vectors = facets.normals * facets.areas_mm2[:, None]
    outward = 1.0 if np.einsum("ij,ij->", vectors, facets.centres_mm - middle) > 0.0 else -1.0
    sums = np.stack(
        [
            np.bincount(triangles.ravel(), np.repeat(vectors[:, i], 3), minlength=len(points))
            for i in range(3)
        ],
        axis=1,
    )
    length = np.linalg.norm(sums, axis=1, keepdims=True)
    direction = np.divide(outward * sums, length, out=np.zeros_like(sums), where=length > 0.0)
    moved = points + 0.5 * thickness[:, None] * direction
    return MidSurface(moved, triangles, thickness, thickness[triangles].mean(axis=1), points)


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
