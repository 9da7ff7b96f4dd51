"""The nearest point of a triangle surface, exact whatever the faces' sizes and shapes.

Faces are sorted by size into octaves, each with a search tree of its face centres. No face of an octave can hold the
nearest point unless its centre lies within the best distance known so far plus the octave's largest reach from centre
to corner, so every face that could is looked at, and few others are.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from mesh_tools.arrays import Array, IntArray
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

_TIED_MM = 1e-9
_AT_ONCE = 400_000
_NO_AREA = 1e-16  # squared twice the area, mm4, below which a face is no more than its edges


@dataclass(frozen=True, eq=False)
class Nearest:
    """Nearest points (n, 3) of a surface, their faces (n,), and how far away (n,), negative behind the face.

    Where several faces are equally near, the face is the one seen most squarely.
    """

    points_mm: Array
    face: IntArray
    distance_mm: Array


@dataclass(frozen=True, eq=False)
class _Octave:
    faces: IntArray
    tree: cKDTree
    reach_mm: float


class NearestFaces:
    """Exact nearest points on ``surface``; the search trees are built once, on first use."""

    def __init__(self, surface: Surface) -> None:
        if not len(surface.faces):
            raise BadValueError("the surface has no faces, so nothing is near to it; check the scan.")
        self.surface = surface

    @cached_property
    def _octaves(self) -> tuple[_Octave, ...]:
        from scipy.spatial import cKDTree  # slow to import

        centres = self.surface.face_centres_mm
        reach = np.linalg.norm(self.surface.corners_mm - centres[:, None], axis=2).max(axis=1)
        octave = np.floor(np.log2(np.maximum(reach, 1e-6))).astype(np.int64)
        found = []
        for k in np.unique(octave):
            faces = np.flatnonzero(octave == k)
            found.append(_Octave(faces, cKDTree(centres[faces]), float(reach[faces].max())))
        return tuple(found)

    def of(self, points_mm: Array) -> Nearest:
        """The nearest point to each of ``points_mm`` (n, 3)."""
        parts = [self._of(points_mm[k : k + 4096]) for k in range(0, len(points_mm), 4096)]
        return Nearest(
            np.concatenate([p.points_mm for p in parts]),
            np.concatenate([p.face for p in parts]),
            np.concatenate([p.distance_mm for p in parts]),
        )

    def _of(self, p: Array) -> Nearest:
        point, face = self._candidates(p)
        cuts = range(0, len(point), _AT_ONCE)
        spots = np.concatenate(
            [self._spots(p, point[k : k + _AT_ONCE], face[k : k + _AT_ONCE]) for k in cuts]
        )
        away = p[point] - spots
        size = np.linalg.norm(away, axis=1)
        normals = self.surface.area_vectors_mm2[face]
        over = np.sum(away * normals, axis=1)
        squarely = np.abs(over) / np.maximum(np.linalg.norm(normals, axis=1), 1e-300)
        starts = np.searchsorted(point, np.arange(len(p)))
        least = np.minimum.reduceat(size, starts)
        squarely[size > least[point] + _TIED_MM] = -1.0
        best = _first_largest(squarely, point, starts)
        return Nearest(spots[best], face[best], np.where(over[best] < 0.0, -1.0, 1.0) * size[best])

    def _candidates(self, p: Array) -> tuple[IntArray, IntArray]:
        """Rows of ``p`` and faces that may hold the nearest point, sorted by row."""
        row = np.arange(len(p))
        bound = np.full(len(p), np.inf)
        for octave in self._octaves:
            spots = self._spots(p, row, octave.faces[octave.tree.query(p)[1]])
            bound = np.minimum(bound, np.linalg.norm(p - spots, axis=1))
        pairs = np.concatenate([_within(octave, p, bound) for octave in self._octaves], axis=1)
        order = np.argsort(pairs[0], kind="stable")
        return pairs[0][order], pairs[1][order]

    def _spots(self, p: Array, row: IntArray, face: IntArray) -> Array:
        return nearest_on_triangles(p[row], self.surface.corners_mm[face])


def _within(octave: _Octave, p: Array, bound: Array) -> IntArray:
    """Rows and faces (2, k): every face of the octave that may come nearer than ``bound`` (n,)."""
    lists = octave.tree.query_ball_point(p, bound + octave.reach_mm + _TIED_MM, return_sorted=False)
    lengths = np.fromiter(map(len, lists), dtype=np.int64, count=len(p))
    flat = np.fromiter((i for one in lists for i in one), dtype=np.int64, count=int(lengths.sum()))
    return np.stack([np.repeat(np.arange(len(p)), lengths), octave.faces[flat]])


def _first_largest(values: Array, group: IntArray, starts: IntArray) -> IntArray:
    """Index (n,) of the first largest of ``values`` within each sorted ``group``."""
    largest = np.maximum.reduceat(values, starts)
    hits = np.flatnonzero(values >= largest[group])
    return hits[np.searchsorted(group[hits], np.arange(len(starts)))]


def nearest_on_triangles(p: Array, corners: Array) -> Array:
    """Nearest points (..., 3) on triangles (..., 3, 3): the foot on the plane if inside, else the best
    edge point (Ericson C 2005 Real-Time Collision Detection, section 5.1.5)."""
    a, b, c = corners[..., 0, :], corners[..., 1, :], corners[..., 2, :]
    normal = np.cross(b - a, c - a)
    square = np.sum(normal**2, axis=-1, keepdims=True)
    foot = p - normal * (np.sum((p - a) * normal, axis=-1, keepdims=True) / np.maximum(square, _NO_AREA))
    inside = np.broadcast_to(square[..., 0] > _NO_AREA, foot.shape[:-1])
    best, gap = foot, np.full(foot.shape[:-1], np.inf)
    for start, end in ((a, b), (b, c), (c, a)):
        along = end - start
        inside = inside & (np.sum(np.cross(along, foot - start) * normal, axis=-1) >= 0.0)
        t = np.sum((p - start) * along, axis=-1) / np.maximum(np.sum(along**2, axis=-1), 1e-300)
        spot = start + np.clip(t, 0.0, 1.0)[..., None] * along
        away = np.linalg.norm(p - spot, axis=-1)
        closer = away < gap
        best, gap = np.where(closer[..., None], spot, best), np.where(closer, away, gap)
    return np.asarray(np.where(inside[..., None], foot, best))
