"""Fewer, more even faces on a root surface: short edges are merged, many at a time, near the original surface.

Where a merged point goes: the quadric error of M. Garland and P. S. Heckbert, SIGGRAPH 1997, 209, held near the edge's
middle. Points of the crest rim only move along it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse as sparse

from mechanics.ligament_fe.flips import slenderness, without_slivers
from mechanics.ligament_fe.nodes import surface_nodes
from mechanics.ligament_fe.offset import face_vectors
from mechanics.ligament_fe.root import Root
from mesh_tools.arrays import Array, BoolArray, IntArray

_ROUNDS = 400
_EVENNESS = 0.02
_HOLD = 1e-3
_LEAST_COSINE = 0.5
_LEAST_SLENDERNESS = 0.1


@dataclass(frozen=True, eq=False)
class Merge:
    """Edges (k, 2) to merge into their first point, moved to ``place_mm`` (k, 3)."""

    edges: IntArray
    place_mm: Array


def coarsened(root: Root, *, target_faces: int) -> Root:
    """Root with about ``target_faces`` faces, or as few as its shape and rim allow; thickness follows the points."""
    if len(root.faces) <= target_faces:
        return root
    quadric = _quadrics(root)
    for slenderness_kept in (_LEAST_SLENDERNESS, 0.0):
        root, quadric = _rounds(root, quadric, target_faces, slenderness_kept)
    root = without_slivers(root)
    used, renumbered = np.unique(root.faces, return_inverse=True)
    return Root(root.points_mm[used], renumbered.reshape(-1, 3), root.thickness_mm[used])


def _rounds(root: Root, quadric: Array, target_faces: int, slenderness_kept: float) -> tuple[Root, Array]:
    """Root and quadrics after merging until the target, or until no merge is left that keeps the shape."""
    refused = np.empty(0, dtype=np.int64)
    count = len(root.points_mm)
    for _ in range(_ROUNDS):
        if len(root.faces) <= target_faces:
            break
        merge = _candidates(root, quadric, refused, most=(len(root.faces) - target_faces + 1) // 2)
        if not len(merge.edges):
            break
        good = _keeps_shape(root, merge, slenderness_kept)
        refused = np.concatenate([refused, merge.edges[~good, 0] * count + merge.edges[~good, 1]])
        root, quadric = _merged(root, quadric, Merge(merge.edges[good], merge.place_mm[good]))
    return root, quadric


def _quadrics(root: Root) -> Array:
    """Sum over each point's faces of area times the squared distance to their planes, (n, 4, 4)."""
    vectors = face_vectors(root.points_mm, root.faces)
    area = np.linalg.norm(vectors, axis=1)
    normal = vectors / np.maximum(area, 1e-300)[:, None]
    plane = np.concatenate(
        [normal, -np.einsum("mx,mx->m", normal, root.points_mm[root.faces[:, 0]])[:, None]], axis=1
    )
    each = area[:, None, None] * plane[:, :, None] * plane[:, None, :]
    total = np.zeros((len(root.points_mm), 4, 4))
    for corner in root.faces.T:
        np.add.at(total, corner, each)
    return total


def _candidates(root: Root, quadric: Array, refused: IntArray, *, most: int) -> Merge:
    """Cheapest edges, no two of them near each other."""
    nodes = surface_nodes(root.faces, len(root.points_mm))
    rim = nodes.rim[: nodes.corner_count]
    edges = nodes.edges
    a, b = edges.T
    allowed = ~(rim[a] & rim[b]) | nodes.rim[nodes.corner_count :]
    allowed &= ~np.isin(a * len(root.points_mm) + b, refused)
    place = _places(root, quadric, edges, rim)
    cost = _ranked(np.where(allowed, _cost(root, quadric, edges, place), np.inf))
    least = np.full(len(root.points_mm), np.inf)
    np.minimum.at(least, edges, cost[:, None])
    around = least.copy()
    np.minimum.at(around, a, least[b])
    np.minimum.at(around, b, least[a])
    chosen = np.flatnonzero(np.isfinite(cost) & (cost <= np.minimum(around[a], around[b])))
    chosen = chosen[np.argsort(cost[chosen], kind="stable")][:most]
    return Merge(edges[chosen], place[chosen])


def _ranked(cost: Array) -> Array:
    """Rank of each finite cost, so that no two are equal; infinite ones stay."""
    rank = np.empty(len(cost))
    rank[np.argsort(cost, kind="stable")] = np.arange(len(cost))
    return np.where(np.isfinite(cost), rank, np.inf)


def _places(root: Root, quadric: Array, edges: IntArray, rim: BoolArray) -> Array:
    """Where each merged point would lie, (k, 3): on the rim for a rim edge, at the rim point for a mixed one."""
    a, b = edges.T
    points = root.points_mm
    middle = 0.5 * (points[a] + points[b])
    total = quadric[a] + quadric[b]
    matrix, offset = total[:, :3, :3], total[:, :3, 3]
    hold = _HOLD * np.trace(matrix, axis1=1, axis2=2) + 1e-30
    matrix = matrix + hold[:, None, None] * np.eye(3)
    place = np.linalg.solve(matrix, (hold[:, None] * middle - offset)[..., None])[..., 0]
    length = np.linalg.norm(points[a] - points[b], axis=1)
    far = np.linalg.norm(place - middle, axis=1) > length
    place[far] = middle[far]
    place[rim[a] & rim[b]] = middle[rim[a] & rim[b]]
    place[rim[a] & ~rim[b]] = points[a[rim[a] & ~rim[b]]]
    place[rim[b] & ~rim[a]] = points[b[rim[b] & ~rim[a]]]
    return np.asarray(place)


def _cost(root: Root, quadric: Array, edges: IntArray, place: Array) -> Array:
    """Squared distance from the original planes plus a share of the squared length, so that faces come out even."""
    a, b = edges.T
    full = np.concatenate([place, np.ones((len(place), 1))], axis=1)
    total = quadric[a] + quadric[b]
    error = np.maximum(np.einsum("ki,kij,kj->k", full, total, full, optimize=True), 0.0)
    area = np.trace(total[:, :3, :3], axis1=1, axis2=2)
    square = ((root.points_mm[a] - root.points_mm[b]) ** 2).sum(axis=1)
    return np.asarray(error / np.maximum(area, 1e-30) + _EVENNESS * square)


def _keeps_shape(root: Root, merge: Merge, slenderness_kept: float) -> BoolArray:
    """Mask (k,) of merges that pinch nothing off, turn no face by more than 60 degrees and make no sliver.

    A sliver is a face thinner than ``slenderness_kept`` and than any face that the merge changes.
    """
    n, m = len(root.points_mm), len(root.faces)
    corner = root.faces
    ones = np.ones(3 * m, dtype=np.int32)
    pairs = np.concatenate([corner[:, [0, 1]], corner[:, [1, 2]], corner[:, [2, 0]]])
    joined = sparse.coo_matrix((ones, (pairs[:, 0], pairs[:, 1])), shape=(n, n)).tocsr()
    joined = ((joined + joined.T) > 0).astype(np.int32)
    a, b = merge.edges.T
    common = np.asarray(joined[a].multiply(joined[b]).sum(axis=1)).ravel()
    which = np.full(n, -1, dtype=np.int64)
    which[a] = which[b] = np.arange(len(a))
    at = which[corner]
    owner = at.max(axis=1)
    touching = owner >= 0
    both = (at >= 0).sum(axis=1) == 2
    shared = np.bincount(owner[touching & both], minlength=len(a))
    kept = touching & ~both
    before = face_vectors(root.points_mm, corner[kept])
    moved = root.points_mm.copy()
    moved[a] = moved[b] = merge.place_mm
    after = face_vectors(moved, corner[kept])
    size = np.linalg.norm(before, axis=1) * np.linalg.norm(after, axis=1)
    turned = np.einsum("mx,mx->m", before, after) <= _LEAST_COSINE * size
    thinnest = np.full(len(a), slenderness_kept)
    np.minimum.at(thinnest, owner[touching], slenderness(root.points_mm[corner[touching]]))
    turned |= slenderness(moved[corner[kept]]) < thinnest[owner[kept]]
    spoiled = np.bincount(owner[kept][turned], minlength=len(a)) > 0
    return np.asarray((common == shared) & ~spoiled)


def _merged(root: Root, quadric: Array, merge: Merge) -> tuple[Root, Array]:
    """Root and quadrics after the merges; points keep their numbers, faces that lost their area are gone."""
    a, b = merge.edges.T
    points, thickness, total = root.points_mm.copy(), root.thickness_mm.copy(), quadric.copy()
    points[a] = merge.place_mm
    thickness[a] = 0.5 * (thickness[a] + thickness[b])
    total[a] += quadric[b]
    renamed = np.arange(len(points))
    renamed[b] = a
    faces = renamed[root.faces]
    distinct = (faces != np.roll(faces, 1, axis=1)).all(axis=1)
    return replace(root, points_mm=points, faces=faces[distinct], thickness_mm=thickness), total
