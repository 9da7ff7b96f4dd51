"""Nearest point on a surface, exact on the triangles near it: Ericson C 2005 Real-Time Collision Detection, 5.1.5."""

from __future__ import annotations

import numpy as np

from mesh_tools.arrays import Array, IntArray
from mesh_tools.registration.samples import Samples
from mesh_tools.surface import Surface

_TRIED = 6
_AT_ONCE = 20_000


def signed_distances(points_mm: Array, surface: Surface, samples: Samples) -> Array:
    """Distance (n,) mm of points (n, 3) from ``surface``, positive on the side its normals point to.

    The triangles tried for a point are those of the six nearest ``samples`` of the surface.
    """
    parts = [
        _distances(points_mm[k : k + _AT_ONCE], surface, samples) for k in range(0, len(points_mm), _AT_ONCE)
    ]
    return np.concatenate(parts) if parts else np.zeros(0)


def _distances(points: Array, surface: Surface, samples: Samples) -> Array:
    tried = min(_TRIED, len(samples.points_mm))
    _, near = samples.tree.query(points, k=tried)
    faces = samples.face[np.asarray(near).reshape(len(points), tried)]
    gaps = points[:, None] - closest_on_faces(points, surface, faces)
    distance = np.linalg.norm(gaps, axis=2)
    rows = np.arange(len(points))
    best = np.argmin(distance, axis=1)
    side = np.einsum("nk,nk->n", gaps[rows, best], surface.area_vectors_mm2[faces[rows, best]])
    return np.asarray(np.where(side < 0.0, -1.0, 1.0) * distance[rows, best])


def closest_on_faces(points: Array, surface: Surface, faces: IntArray) -> Array:
    """Closest point (n, k, 3) to each of ``points`` (n, 3) on each of its ``faces`` (n, k)."""
    a, b, c = np.moveaxis(surface.corners_mm[faces], 2, 0)
    p = np.broadcast_to(points[:, None], a.shape)
    ab, ac = b - a, c - a
    d00, d01, d11 = _dot(ab, ab), _dot(ab, ac), _dot(ac, ac)
    d20, d21 = _dot(p - a, ab), _dot(p - a, ac)
    area = np.maximum(d00 * d11 - d01 * d01, 1e-300)
    v, w = (d11 * d20 - d01 * d21) / area, (d00 * d21 - d01 * d20) / area
    inside = (v >= 0.0) & (w >= 0.0) & (v + w <= 1.0)
    best = a + v[..., None] * ab + w[..., None] * ac
    gap = np.where(inside, _dot(p - best, p - best), np.inf)
    for start, end in ((a, b), (b, c), (c, a)):
        along = end - start
        t = np.clip(_dot(p - start, along) / np.maximum(_dot(along, along), 1e-300), 0.0, 1.0)
        on_edge = start + t[..., None] * along
        off = _dot(p - on_edge, p - on_edge)
        closer = off < gap
        best, gap = np.where(closer[..., None], on_edge, best), np.where(closer, off, gap)
    return np.asarray(best)


def _dot(u: Array, v: Array) -> Array:
    return np.asarray(np.einsum("...k,...k->...", u, v))
