"""Edges turned within the two faces beside them, where that makes the thinner of the two less thin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mechanics.ligament_fe.root import Root
from mesh_tools.arrays import Array, BoolArray, IntArray

_ROUNDS = 30
_GOOD_ENOUGH = 0.25
_LEAST_GAIN = 1.05
_LEAST_COSINE = 0.8


@dataclass(frozen=True, eq=False)
class InnerEdges:
    """Edges with two faces: ends ``a`` -> ``b`` as the first face runs, the opposite corners and the faces, (k,) each.

    The first face is (a, b, c), the second (b, a, d).
    """

    a: IntArray
    b: IntArray
    c: IntArray
    d: IntArray
    first: IntArray
    second: IntArray


def slenderness(corners_mm: Array) -> Array:
    """Height over longest side (...,) of triangles (..., 3, 3): 0.87 at best, 0 for a sliver."""
    sides = corners_mm - np.roll(corners_mm, 1, axis=-2)
    area = np.linalg.norm(np.cross(sides[..., 1, :], sides[..., 2, :]), axis=-1)
    return np.asarray(area / np.maximum((sides**2).sum(axis=-1).max(axis=-1), 1e-300))


def without_slivers(root: Root) -> Root:
    """Root whose edges have been turned where a face beside them was thinner than need be; points stay."""
    faces = root.faces
    for _ in range(_ROUNDS):
        inner = inner_edges(faces, len(root.points_mm))
        gain = _gain(root.points_mm, inner)
        chosen = _apart(inner, gain, len(root.points_mm))
        if not len(chosen):
            break
        faces = faces.copy()
        a, b, c, d = (getattr(inner, name)[chosen] for name in "abcd")
        faces[inner.first[chosen]] = np.stack([c, d, b], axis=1)
        faces[inner.second[chosen]] = np.stack([d, c, a], axis=1)
    return Root(root.points_mm, faces, root.thickness_mm)


def inner_edges(faces: IntArray, count: int) -> InnerEdges:
    """Edges between two faces that run against each other, in order of their points."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    key, back = start * count + end, end * count + start
    order = np.argsort(key)
    at = np.minimum(np.searchsorted(key[order], back), len(key) - 1)
    one = np.flatnonzero((key[order][at] == back) & (start < end))
    two = order[at[one]]
    apex = np.roll(faces, -2, axis=1).ravel()
    return InnerEdges(start[one], end[one], apex[one], apex[two], one // 3, two // 3)


def _gain(points: Array, inner: InnerEdges) -> Array:
    """Ratio of the thinner face after to the one before for each edge that may be turned, else 0."""
    a, b, c, d = (points[getattr(inner, name)] for name in "abcd")
    old = np.stack([np.stack([a, b, c], axis=1), np.stack([b, a, d], axis=1)], axis=1)
    new = np.stack([np.stack([c, d, b], axis=1), np.stack([d, c, a], axis=1)], axis=1)
    before, after = slenderness(old).min(axis=1), slenderness(new).min(axis=1)
    allowed = (before < _GOOD_ENOUGH) & (after > _LEAST_GAIN * before) & _lies_flat(old, new)
    allowed &= ~_joined(inner, len(points))
    return np.where(allowed, after / np.maximum(before, 1e-300), 0.0)


def _lies_flat(old: Array, new: Array) -> BoolArray:
    """Mask (k,) of pairs (k, 2, 3, 3) whose new faces both look the way the old two do together."""
    normal = np.cross(old[:, :, 1] - old[:, :, 0], old[:, :, 2] - old[:, :, 0]).sum(axis=1)
    turned = np.cross(new[:, :, 1] - new[:, :, 0], new[:, :, 2] - new[:, :, 0])
    size = np.linalg.norm(normal, axis=1)[:, None] * np.linalg.norm(turned, axis=2)
    cosine = np.einsum("kx,kfx->kf", normal, turned) > _LEAST_COSINE * size
    return np.asarray(cosine.all(axis=1))


def _joined(inner: InnerEdges, count: int) -> BoolArray:
    """Mask (k,) of edges whose opposite corners are an edge already (of two faces or more)."""
    known = np.minimum(inner.a, inner.b) * count + np.maximum(inner.a, inner.b)
    wanted = np.minimum(inner.c, inner.d) * count + np.maximum(inner.c, inner.d)
    return np.isin(wanted, known)


def _apart(inner: InnerEdges, gain: Array, count: int) -> IntArray:
    """Edges of highest gain among all that share a point with them."""
    rank = np.empty(len(gain))
    rank[np.argsort(-gain, kind="stable")] = np.arange(len(gain))
    rank[gain <= 0.0] = np.inf
    points = np.stack([inner.a, inner.b, inner.c, inner.d], axis=1)
    least = np.full(count, np.inf)
    np.minimum.at(least, points, rank[:, None])
    return np.flatnonzero(np.isfinite(rank) & (rank <= least[points].min(axis=1)))
