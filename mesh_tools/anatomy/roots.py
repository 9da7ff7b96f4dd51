"""Separate roots: how far the surface's peaks towards the apical end stand up on their own.

Every point climbs to a peak of height; two peaks part at the highest pass between them. A peak that stands
more than ``SEPARATE_MM`` above its pass to a higher peak is a separate root (persistence of superlevel sets,
Edelsbrunner H, Harer J 2010 Computational Topology, chapter VII; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from mesh_tools.arrays import Array, IntArray, frozen, frozen_ints

SEPARATE_MM = 1.5
_TIP_MM = 0.05


@dataclass(frozen=True, eq=False)
class RootPeak:
    """One separate root: its apex (3,) and where it begins (height), in the tooth's frame, mm."""

    apex: Array
    begins_mm: float
    begins_at: Array
    points: IntArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "apex", frozen(self.apex, (3,), name="apex"))
        object.__setattr__(self, "begins_at", frozen(self.begins_at, (3,), name="begins_at"))
        object.__setattr__(self, "points", frozen_ints(self.points, (None,), name="points"))

    @property
    def separate_mm(self) -> float:
        """Height of the root's free part."""
        return float(self.apex[2] - self.begins_mm)


def root_peaks(points_tooth: Array, faces: IntArray, *, above_mm: float) -> tuple[RootPeak, ...]:
    """Separate roots among the points higher than ``above_mm``, longest free part first.

    The highest peak always counts; of a pair the lower one is a root when it is free for ``SEPARATE_MM``, and
    its free part begins at the pass to the higher one. A lone root begins at ``above_mm``.
    """
    edges = _edges_above(points_tooth, faces, above_mm)
    height = points_tooth[:, 2]
    peak_of = _peaks(height, edges)
    peaks, merged_into, pass_at = _merge_tree(height, edges, peak_of)
    floor = {p: float(height[pass_at[p]]) if p in pass_at else above_mm for p in peaks}
    highest = max(peaks, key=lambda p: float(height[p]))
    free = {p for p in peaks if p == highest or height[p] - floor[p] > SEPARATE_MM}
    free -= _strangers({p for p in free if p not in pass_at}, highest, faces, count=len(height))
    merged_into |= {p: highest for p in peaks if p not in merged_into and p != highest}
    owner = {p: _owner(p, free, merged_into) for p in peaks}
    table = np.arange(len(height))
    table[list(owner)] = list(owner.values())
    used = np.flatnonzero(np.bincount(edges[:, 0], minlength=len(height)))
    owned = table[peak_of[used]]
    parts = _parting_points(free, merged_into, pass_at, height)
    roots = [_peak(points_tooth, used[owned == p], at=parts.get(p), floor_mm=above_mm) for p in sorted(free)]
    return tuple(sorted(roots, key=lambda root: (-root.separate_mm, -root.apex[2])))


def _strangers(lone: set[int], highest: int, faces: IntArray, *, count: int) -> set[int]:
    """Those of the ``lone`` peaks that no chain of facets joins to the highest: voids and strays are no roots."""
    if lone <= {highest}:
        return set()
    pairs = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]]])
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    label = connected_components(graph, directed=False)[1]
    return {p for p in lone if label[p] != label[highest]}


def _edges_above(points: Array, faces: IntArray, above_mm: float) -> IntArray:
    above = points[:, 2] > above_mm
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    edges = edges[above[edges[:, 0]] & above[edges[:, 1]]]
    return np.asarray(np.concatenate([edges, edges[:, ::-1]]))


def _peaks(height: Array, edges: IntArray) -> IntArray:
    """Peak (n,) that every point reaches by steepest steps along edges."""
    rank = np.empty(len(height), dtype=np.int64)
    order = np.argsort(height, kind="stable")
    rank[order] = np.arange(len(height))
    best = rank.copy()
    np.maximum.at(best, edges[:, 0], rank[edges[:, 1]])
    up = order[best]
    while True:
        further = up[up]
        if np.array_equal(further, up):
            return up
        up = further


def _merge_tree(
    height: Array, edges: IntArray, peak_of: IntArray
) -> tuple[list[int], dict[int, int], dict[int, int]]:
    """Peaks, the peak each merges into, and the point of the pass where it does."""
    a, b = peak_of[edges[:, 0]], peak_of[edges[:, 1]]
    peaks = [int(p) for p in np.flatnonzero(np.bincount(a))]
    across = a < b
    a, b, lower = a[across], b[across], edges[across]
    lower_point = np.where(height[lower[:, 0]] < height[lower[:, 1]], lower[:, 0], lower[:, 1])
    merged: dict[int, int] = {}
    pass_at: dict[int, int] = {}
    for k in np.argsort(-height[lower_point], kind="stable"):
        p, q = _top(int(a[k]), merged), _top(int(b[k]), merged)
        if p == q:
            continue
        small, large = (p, q) if height[p] < height[q] else (q, p)
        merged[small], pass_at[small] = large, int(lower_point[k])
        if len(merged) == len(peaks) - 1:
            break
    return peaks, merged, pass_at


def _top(peak: int, merged: dict[int, int]) -> int:
    while peak in merged:
        peak = merged[peak]
    return peak


def _owner(peak: int, free: set[int], merged: dict[int, int]) -> int:
    while peak not in free:
        peak = merged[peak]
    return peak


def _parting_points(
    free: set[int], merged: dict[int, int], pass_at: dict[int, int], height: Array
) -> dict[int, int]:
    """Point where each free root parts from its nearest fellow: its own pass, or for the one that takes the
    other in, the highest pass into it."""
    parts: dict[int, int] = {}
    for p in sorted(free, key=lambda q: height[q]):
        own = [pass_at[p]] if p in pass_at else []
        into = [pass_at[q] for q in free if q in pass_at and _owner(merged[q], free, merged) == p]
        if own or into:
            parts[p] = max(own + into, key=lambda v: float(height[v]))
    return parts


def _peak(points: Array, owned: IntArray, *, at: int | None, floor_mm: float) -> RootPeak:
    mine = points[owned]
    top = float(mine[:, 2].max())
    weight = np.exp((mine[:, 2] - top) / _TIP_MM)
    apex = np.append(weight @ mine[:, :2] / weight.sum(), top)
    if at is None:
        lone = np.append(mine[:, :2].mean(axis=0), floor_mm)
        return RootPeak(apex, floor_mm, lone, owned)
    begins = float(points[at, 2])
    return RootPeak(apex, begins, points[at], owned[mine[:, 2] > begins])
