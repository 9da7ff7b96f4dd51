"""How concave a surface is across each of its edges: where one part of a body meets another.

By the minima rule (D. D. Hoffman, W. A. Richards 1984, Cognition 18:65-96) a body is seen as parts that meet along
lines of greatest negative curvature: the gum's margin around a crown, the valley between two teeth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array, csr_array, diags_array

from mesh_tools.arrays import Array, IntArray
from mesh_tools.surface import Surface
from mesh_tools.topology import edges

_SCALE_MM = 0.6  # normals are averaged over about this far, so that noise makes no valley
_MOST_ROUNDS = 40


@dataclass(frozen=True, eq=False)
class FacePairs:
    """Neighbouring faces (e, 2), the length (e,) of the edge they share in mm, and the curvature (e,) across it in
    1/mm, positive where the surface is concave."""

    faces: IntArray
    length_mm: Array
    concave: Array


def face_pairs(surface: Surface, *, scale_mm: float = _SCALE_MM) -> FacePairs:
    """Every pair of faces that share an edge with no third face."""
    known = edges(surface)
    owner = np.repeat(np.arange(len(surface.faces)), 3)
    order = np.argsort(known.of_half_edge, kind="stable")
    starts = np.searchsorted(known.of_half_edge[order], np.flatnonzero(known.use == 2))
    pairs = np.stack([owner[order[starts]], owner[order[starts + 1]]], axis=1)
    ends = surface.points_mm[known.points[known.use == 2]]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    return FacePairs(pairs, length, _curvature(surface, pairs, scale_mm))


def _curvature(surface: Surface, pairs: IntArray, scale: float) -> Array:
    normals = smoothed_normals(surface, pairs, scale_mm=scale)
    apart = surface.face_centres_mm[pairs[:, 1]] - surface.face_centres_mm[pairs[:, 0]]
    turn = normals[pairs[:, 1]] - normals[pairs[:, 0]]
    return np.asarray(-(turn * apart).sum(axis=1) / np.maximum((apart**2).sum(axis=1), 1e-12))


def smoothed_normals(surface: Surface, pairs: IntArray, *, scale_mm: float) -> Array:
    """Unit normals (m, 3) of the faces averaged over about ``scale_mm``, by area."""
    spacing = float(np.sqrt(np.median(surface.areas_mm2)))
    rounds = int(np.clip(round((scale_mm / max(spacing, 1e-9)) ** 2), 1, _MOST_ROUNDS))
    mean = _averaging(pairs, surface.areas_mm2)
    normals = surface.area_vectors_mm2 / np.maximum(surface.areas_mm2, 1e-300)[:, None]
    for _ in range(rounds):
        normals = mean @ normals
        normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    return np.asarray(normals)


def _averaging(pairs: IntArray, areas: Array) -> csr_array:
    """Row-stochastic matrix (m, m): each face with its neighbours, weighed by area."""
    m = len(areas)
    a, b = pairs.T
    rows = np.concatenate([a, b, np.arange(m)])
    cols = np.concatenate([b, a, np.arange(m)])
    matrix = coo_array((np.maximum(areas, 1e-12)[cols], (rows, cols)), shape=(m, m)).tocsr()
    return csr_array(diags_array(1.0 / matrix.sum(axis=1)) @ matrix)
