"""Six-node triangles on a triangle surface: numbering of corners and edge middles, and the rim."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array, BoolArray, IntArray
from mesh_tools.errors import BadValueError


@dataclass(frozen=True, eq=False)
class SurfaceNodes:
    """``triangles`` (m, 6): corners, then middles of sides 01, 12, 20; ``edges`` (k, 2) of corner indices.

    Node ``corner_count + e`` is the middle of edge ``e``; ``rim`` (nodes,) marks the nodes of open edges.
    """

    triangles: IntArray
    edges: IntArray
    corner_count: int
    rim: BoolArray

    @property
    def count(self) -> int:
        """Number of nodes."""
        return self.corner_count + len(self.edges)

    def with_middles(self, corners: Array) -> Array:
        """Corner values (n, ...) followed by their means on every edge."""
        return np.concatenate([corners, 0.5 * (corners[self.edges[:, 0]] + corners[self.edges[:, 1]])])


def surface_nodes(faces: IntArray, corner_count: int) -> SurfaceNodes:
    """Nodes of the faces (m, 3) over ``corner_count`` points; raises BadValueError where three faces share an edge."""
    sides = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]], axis=2).reshape(-1, 2)
    key, inverse, uses = np.unique(
        sides[:, 0] * corner_count + sides[:, 1], return_inverse=True, return_counts=True
    )
    if (uses > 2).any():
        raise BadValueError(
            f"the root surface must have one or two faces on every edge; {int((uses > 2).sum())} edges have more; "
            "repair the surface first."
        )
    edges = np.stack([key // corner_count, key % corner_count], axis=1)
    rim = np.zeros(corner_count + len(edges), dtype=bool)
    rim[corner_count:] = uses == 1
    rim[edges[uses == 1].ravel()] = True
    middles = corner_count + inverse.reshape(-1, 3)
    return SurfaceNodes(np.concatenate([faces, middles], axis=1), edges, corner_count, rim)
