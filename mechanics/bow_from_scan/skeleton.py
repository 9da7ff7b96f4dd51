"""The skeleton of a scanned bow: rings of surface at equal distance along the wire, each shrunk to its
middle.

Distance is the shortest way over the surface from one wire's end (Dijkstra). Surface cut into bands of that
distance falls into rings, one for each wire that passes; their centroids are the centreline and their
contacts the branching (level sets of a geodesic distance, the idea of Reeb graphs; textbook method).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.csgraph import breadth_first_order, connected_components, dijkstra
from scipy.spatial import cKDTree

from mesh_tools.arrays import Array, IntArray
from mesh_tools.errors import BadValueError, NoAnswerError
from mesh_tools.surface import Surface

BAND_MM = 1.0
TOUCH_MM = 0.4  # wires whose surfaces come this near are joined there
STUB_MM = 6.0
LONGEST_MM = (60.0, 300.0)  # largest extent of a face-bow


@dataclass(frozen=True, eq=False)
class Skeleton:
    """Nodes (n, 3) with their links (m, 2), which form a tree; ``ring`` gives the node of each surface
    point."""

    nodes_mm: Array
    links: IntArray
    ring: IntArray
    points_mm: Array

    def neighbours(self) -> list[list[int]]:
        """Nodes linked with each node."""
        near: list[list[int]] = [[] for _ in self.nodes_mm]
        for a, b in self.links.tolist():
            near[a].append(b)
            near[b].append(a)
        return near

    def ends(self) -> list[int]:
        """Nodes with one link."""
        return [k for k, near in enumerate(self.neighbours()) if len(near) == 1]

    def way(self, start: int, end: int) -> list[int]:
        """Nodes from ``start`` to ``end``."""
        n = len(self.nodes_mm)
        graph = csr_matrix((np.ones(len(self.links)), (self.links[:, 0], self.links[:, 1])), shape=(n, n))
        before = breadth_first_order(graph, end, directed=False, return_predecessors=True)[1]
        way = [start]
        while way[-1] != end:
            if before[way[-1]] < 0:
                raise NoAnswerError("two wire ends of the scan are not joined; scan the bow in one piece.")
            way.append(int(before[way[-1]]))
        return way


def skeleton(scan: Surface) -> Skeleton:
    """Skeleton of the largest piece of ``scan``, in mm.

    Raises BadValueError when the scan's size is not that of a face-bow, NoAnswerError when it has no tree
    of wires.
    """
    extent = float(scan.extent_mm.max()) if len(scan.faces) else 0.0
    if not LONGEST_MM[0] <= extent <= LONGEST_MM[1]:
        raise BadValueError(
            f"scan is {extent:.1f} mm long; a face-bow measures {LONGEST_MM[0]:.0f} to {LONGEST_MM[1]:.0f} mm: check "
            "the unit."
        )
    points, faces = _welded(scan)
    edges = np.unique(
        np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1), axis=0
    )
    edges = np.concatenate([edges, _contacts(points, faces)])
    graph = _graph(points, edges)
    weight = _point_areas(points, faces)
    start = _far_end(graph)
    distance = dijkstra(graph, directed=False, indices=start)
    lengths = np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1)
    band = max(BAND_MM, 1.2 * float(np.percentile(lengths, 95)))
    return _pruned(_rings(points, edges, weight, distance, band))


def _welded(scan: Surface) -> tuple[Array, IntArray]:
    """Points that coincide to a micrometre made one."""
    key = np.round(scan.points_mm / 1e-3).astype(np.int64)
    _, first, number = np.unique(key, axis=0, return_index=True, return_inverse=True)
    faces = number.reshape(-1)[scan.faces]
    used, faces = np.unique(faces, return_inverse=True)
    return scan.points_mm[first][used], faces.reshape(-1, 3)


def _contacts(points: Array, faces: IntArray) -> IntArray:
    """Links (k, 2) between points of two wires that touch, whose surfaces face each other: scans of
    soldered wires may close each wire's surface for itself. Opposite walls of one wire are never so
    near."""
    a, b, c = np.moveaxis(points[faces], 1, 0)
    across = np.repeat(np.cross(b - a, c - a), 3, axis=0)
    normal = np.stack([np.bincount(faces.ravel(), across[:, k], len(points)) for k in range(3)], axis=1)
    normal = normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
    pairs = cKDTree(points).query_pairs(TOUCH_MM, output_type="ndarray")
    facing = np.sum(normal[pairs[:, 0]] * normal[pairs[:, 1]], axis=1) < -0.5
    return np.asarray(pairs[facing], dtype=np.int64).reshape(-1, 2)


def _graph(points: Array, edges: IntArray) -> csr_matrix:
    n = len(points)
    length = np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1) + 1e-9
    return coo_matrix((length, (edges[:, 0], edges[:, 1])), shape=(n, n)).tocsr()


def _point_areas(points: Array, faces: IntArray) -> Array:
    a, b, c = np.moveaxis(points[faces], 1, 0)
    area = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1) / 3.0
    return np.asarray(
        np.bincount(faces.ravel(), weights=np.repeat(area, 3), minlength=len(points)), dtype=np.float64
    )


def _far_end(graph: csr_matrix) -> int:
    """A point at the end of the longest way within the largest piece."""
    piece = connected_components(graph, directed=False)[1]
    start = int(np.flatnonzero(piece == np.bincount(piece).argmax())[0])
    for _ in range(2):
        distance = dijkstra(graph, directed=False, indices=start)
        start = int(np.argmax(np.where(np.isfinite(distance), distance, -1.0)))
    return start


def _rings(points: Array, edges: IntArray, weight: Array, distance: Array, band: float) -> Skeleton:
    reached = np.isfinite(distance)
    level = np.where(reached, np.floor(np.where(reached, distance, 0.0) / band), -1).astype(np.int64)
    same = (level[edges[:, 0]] == level[edges[:, 1]]) & reached[edges[:, 0]]
    ring = connected_components(_graph(points, edges[same]), directed=False)[1].astype(np.int64)
    ring[~reached] = -1
    names, ring_of = np.unique(ring, return_inverse=True)
    ring = ring_of.reshape(-1).astype(np.int64) - int(names[0] == -1)
    kept = ring >= 0
    total = np.maximum(np.bincount(ring[kept], weights=weight[kept]), 1e-12)
    middle = [np.bincount(ring[kept], weights=(weight * points[:, k])[kept]) / total for k in range(3)]
    across = np.sort(ring[edges[~same & reached[edges[:, 0]]]], axis=1)
    return Skeleton(np.stack(middle, axis=1), _spanning(np.unique(across, axis=0), len(total)), ring, points)


def _spanning(links: IntArray, n: int) -> IntArray:
    """The links of a breadth-first tree: where two wires touch twice, the second contact is left out."""
    graph = csr_matrix((np.ones(len(links)), (links[:, 0], links[:, 1])), shape=(n, n))
    order, before = breadth_first_order(graph, int(links[0, 0]), directed=False, return_predecessors=True)
    child = order[before[order] >= 0]
    return np.stack([before[child], child], axis=1).astype(np.int64)


def _pruned(tree: Skeleton) -> Skeleton:
    """The tree without side branches shorter than ``STUB_MM``: burrs and tilted rings at the wires' ends."""
    links = tree.links
    while True:
        now = Skeleton(tree.nodes_mm, links, tree.ring, tree.points_mm)
        near = now.neighbours()
        drop: set[int] = set()
        for end in now.ends():
            branch = _branch(near, end)
            length = float(np.linalg.norm(np.diff(tree.nodes_mm[branch], axis=0), axis=1).sum())
            if length < STUB_MM and len(near[branch[-1]]) > 2:
                drop = set(branch[:-1])
                break
        if not drop:
            return now
        links = links[[a not in drop and b not in drop for a, b in links.tolist()]]


def _branch(near: list[list[int]], end: int) -> list[int]:
    """Nodes from a free end up to and including the next branching or end."""
    way, before = [end], -1
    while len(near[way[-1]]) <= 2:
        on = [k for k in near[way[-1]] if k != before]
        if not on:
            break
        before = way[-1]
        way.append(on[0])
    return way
