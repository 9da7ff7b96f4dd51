"""Small holes closed by the flattest fan of existing points, so that no point is added and mirrors agree.

Triangles of least total area over the loop by dynamic programming (G. Barequet, M. Sharir 1995, Comput Aided Geom Des
12:207-229).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from mesh_tools.arrays import Array, IntArray
from mesh_tools.repair_record import Finding, Step, plural
from mesh_tools.surface import Surface
from mesh_tools.topology import boundary_loops, edges, loop_length

SMALL = 0.25  # a hole is small when its loop is below this share of the box's diagonal ...
EDGES = 60  # ... and has at most this many edges


def holes_closed(step: Step) -> Step:
    """Close loops that are small; larger borders stay open and are noted."""
    surface = step.surface
    loops = boundary_loops(surface)
    if not loops:
        return step
    limit = SMALL * _span(surface)
    small = [p for p in loops if 3 <= len(p) <= EDGES and loop_length(surface.points_mm, p) < limit]
    known = edges(surface)
    taken = {(int(a), int(b)) for a, b in known.points}
    patches = [patch for loop in small if len(patch := least_area_patch(surface.points_mm, loop, taken))]
    left = len(loops) - len(patches)
    if left:
        longest = max(loop_length(surface.points_mm, p) for p in loops)
        text = f"{plural(left, 'open border')} left (longest loop {longest:.1f} mm)"
        step = replace(step, notes=(*step.notes, Finding("open borders", left, text)))
    if not patches:
        return step
    count, faces = len(patches), sum(map(len, patches))
    text = f"{plural(count, 'small hole')} closed ({plural(faces, 'new face')})"
    return step.with_faces(np.concatenate([surface.faces, *patches]), Finding("holes", count, text))


def least_area_patch(points: Array, loop: IntArray, taken: set[tuple[int, int]]) -> IntArray:
    """Triangles (k - 2, 3) over the ``loop`` of border half-edges, of least area, wound to agree with the border.

    Edges in ``taken`` are not used inside the patch. Empty when no patch avoids them.
    """
    ring = loop[::-1]  # faces of the patch run each border edge the other way
    n = len(ring)
    corner = points[ring]
    cost = np.full((n, n), np.inf)
    split = np.zeros((n, n), dtype=np.int64)
    cost[np.arange(n - 1), np.arange(1, n)] = 0.0
    for width in range(2, n):
        for i in range(n - width):
            k = i + width
            if width < n - 1 and _pair(ring[i], ring[k]) in taken:
                continue
            middle = np.arange(i + 1, k)
            cross = np.cross(corner[middle] - corner[i], corner[k] - corner[i])
            total = cost[i, middle] + cost[middle, k] + 0.5 * np.linalg.norm(cross, axis=1)
            best = int(total.argmin())
            cost[i, k], split[i, k] = total[best], middle[best]
    if not np.isfinite(cost[0, n - 1]):
        return np.zeros((0, 3), dtype=np.int64)
    return _triangles(ring, split)


def _triangles(ring: IntArray, split: IntArray) -> IntArray:
    """Triangles of the best splits, walked from the whole loop down."""
    faces: list[tuple[int, int, int]] = []
    spans = [(0, len(ring) - 1)]
    while spans:
        i, k = spans.pop()
        if k - i < 2:
            continue
        j = int(split[i, k])
        faces.append((int(ring[i]), int(ring[j]), int(ring[k])))
        spans += [(i, j), (j, k)]
    return np.array(faces, dtype=np.int64)


def _pair(a: int, b: int) -> tuple[int, int]:
    """An edge with its lower point first."""
    return (int(a), int(b)) if a < b else (int(b), int(a))


def _span(surface: Surface) -> float:
    """Twice the longest reach from the mean of the points in use: independent of the axes."""
    used = surface.points_mm[np.unique(surface.faces)]
    return 2.0 * float(np.linalg.norm(used - used.mean(axis=0), axis=1).max())
