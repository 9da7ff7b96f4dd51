"""A surface as points with normals, evenly spread over its area, and a tree to find the nearest."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from mesh_tools.arrays import Array, BoolArray, IntArray
from mesh_tools.surface import Surface
from mesh_tools.topology import edges

if TYPE_CHECKING:
    from scipy.spatial import cKDTree


@dataclass(frozen=True, eq=False)
class Samples:
    """Points (n, 3) mm with outward normals (n, 3), the face each lies on, and whether that face touches a border.

    ``spacing_mm``: the mean distance of neighbours, sqrt(area / n).
    """

    points_mm: Array
    normals: Array
    face: IntArray
    at_border: BoolArray
    spacing_mm: float

    @cached_property
    def tree(self) -> cKDTree:
        """Tree over the points."""
        from scipy.spatial import cKDTree  # slow to import

        return cKDTree(self.points_mm)

    @cached_property
    def radius_mm(self) -> float:
        """Radius of gyration about the samples' middle."""
        arm = self.points_mm - self.points_mm.mean(axis=0)
        return float(np.sqrt(np.mean(np.sum(arm**2, axis=1))))

    def first(self, count: int) -> Samples:
        """The first ``count``: as evenly spread as the whole, since the order is shuffled."""
        n = min(count, len(self.points_mm))
        wider = self.spacing_mm * float(np.sqrt(len(self.points_mm) / max(n, 1)))
        return Samples(self.points_mm[:n], self.normals[:n], self.face[:n], self.at_border[:n], wider)


def sampled(surface: Surface, count: int) -> Samples:
    """``count`` samples by area, stratified along the faces' order and then shuffled; the same for a moved surface."""
    rng = np.random.default_rng(0)
    areas = surface.areas_mm2
    total = np.cumsum(areas)
    at = (np.arange(count) + rng.random(count)) * (total[-1] / count)
    face = np.minimum(np.searchsorted(total, at), len(areas) - 1)[rng.permutation(count)]
    a, b = rng.random((2, count))
    a, b = np.where(a + b > 1.0, 1.0 - a, a), np.where(a + b > 1.0, 1.0 - b, b)
    first, second, third = np.moveaxis(surface.corners_mm[face], 1, 0)
    points = first + a[:, None] * (second - first) + b[:, None] * (third - first)
    normals = surface.area_vectors_mm2[face] / np.maximum(areas[face], 1e-300)[:, None]
    return Samples(
        points, normals, face, _border_faces(surface)[face], float(np.sqrt(total[-1] / max(count, 1)))
    )


def _border_faces(surface: Surface) -> BoolArray:
    """Faces (m,) of which a corner lies on a border."""
    known = edges(surface)
    on_border = np.zeros(len(surface.points_mm), dtype=bool)
    on_border[known.points[known.use == 1].ravel()] = True
    return np.asarray(on_border[surface.faces].any(axis=1))
