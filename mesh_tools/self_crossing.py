"""Where a surface passes through itself: edges that pierce faces which they share no point with.

Two faces that cross do so along a segment at each end of which an edge of one pierces the other (or, for faces that
share one point, at the far end), so edges against faces find every crossing. Sides are told by signed volumes
(J. O'Rourke 1998, Computational Geometry in C, section 7.3); values within round-off count as touching, which is no
crossing. Candidates come from grids of growing cells, so that big faces do not spoil small ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from itertools import pairwise

import numpy as np

from mesh_tools.arrays import Array, BoolArray, IntArray
from mesh_tools.errors import BowtrueError
from mesh_tools.surface import Surface
from mesh_tools.topology import Edges, edges

_GROWTH = 4.0  # ratio of the cell sizes of two neighbouring grids
_CLASSES = 12
_USUAL = 0.97  # share of the faces that fit a cell of the finest grid
_BLOCK = 100_000  # candidate pairs held at once: what stays near the processor
_ROUND_OFF = 1e-12


@dataclass(frozen=True, eq=False)
class Crossings:
    """Edges (k, 2) of point indices, the face (k,) that each pierces, and where (k, 3), mm."""

    edge_points: IntArray
    faces: IntArray
    points_mm: Array

    @property
    def count(self) -> int:
        """Number of edges through faces."""
        return len(self.faces)


@dataclass(frozen=True, eq=False)
class _Boxes:
    """Boxes (n, 3) low and high, with the class (n,) of their size."""

    low: Array
    high: Array
    size_class: IntArray


class SelfCrossingError(BowtrueError, ValueError):
    """A surface that must bound a body passes through itself."""


def refuse_self_crossing(surface: Surface, *, name: str, least_share: float = 0.0) -> int:
    """Number of places where ``surface`` crosses itself, when the pierced faces are at most ``least_share`` of it.

    Raises SelfCrossingError, with the number of places and the first of them, when they are more.
    """
    found = self_crossings(surface)
    if (
        found.count
        and surface.areas_mm2[np.unique(found.faces)].sum() > least_share * surface.areas_mm2.sum()
    ):
        x, y, z = found.points_mm[0]
        places = "place" if found.count == 1 else "places"
        raise SelfCrossingError(
            f"{name} must not pass through itself; it does at {found.count} {places}, the first near "
            f"({x:.2f}, {y:.2f}, {z:.2f}) mm LPS; smooth the scan there or segment the tooth again."
        )
    return found.count


def self_crossings(surface: Surface) -> Crossings:
    """Every place where an edge of ``surface`` pierces one of its faces.

    Faces that share an edge, lie in one plane or merely touch do not count. An edge that meets another edge exactly
    counts when it passes from one side of that edge's two faces to the other.
    """
    known = edges(surface)
    edge, face = _candidates(surface, known)
    hit = _pierced(surface, known, edge, face)
    pairs = known.points[edge[hit]]
    at = _meeting(surface, pairs, face[hit])
    return Crossings(pairs, face[hit], at)


def _candidates(surface: Surface, known: Edges) -> tuple[IntArray, IntArray]:
    """Edges and faces (k,) each without a common point and with overlapping boxes."""
    sizes = _sizes(surface.corners_mm)
    unit = float(np.quantile(sizes, _USUAL)) if len(sizes) else 0.0
    unit = unit if unit > 0.0 else 1.0
    lines = _boxes(surface.points_mm[known.points], unit)
    plates = _boxes(surface.corners_mm, unit)
    found = [
        pair
        for a in np.unique(lines.size_class)
        for b in np.unique(plates.size_class)
        for pair in _near(surface, known, lines, plates, classes=(int(a), int(b)), unit_mm=unit)
    ]
    if not found:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    return np.concatenate([f[0] for f in found]), np.concatenate([f[1] for f in found])


def _sizes(corners: Array) -> Array:
    """Longest side (n,) of the box around the points (n, 3, 3) of each item."""
    a, b, c = np.moveaxis(corners, 1, 0)
    across = np.maximum(np.maximum(a, b), c) - np.minimum(np.minimum(a, b), c)
    return np.asarray(np.maximum(np.maximum(across[:, 0], across[:, 1]), across[:, 2]))


def _boxes(corners: Array, unit_mm: float) -> _Boxes:
    """Boxes around the points (n, k, 3) of each item."""
    ends = [corners[:, k] for k in range(corners.shape[1])]  # far quicker than a reduction over a short axis
    low, high = reduce(np.minimum, ends), reduce(np.maximum, ends)
    reach = np.maximum((high - low).max(axis=1), 1e-300) / unit_mm
    size_class = np.ceil(np.log(reach) / np.log(_GROWTH) - 1e-9).astype(np.int64)
    return _Boxes(np.asfortranarray(low), np.asfortranarray(high), np.clip(size_class, 0, _CLASSES))


def _near(
    surface: Surface, known: Edges, lines: _Boxes, plates: _Boxes, *, classes: tuple[int, int], unit_mm: float
) -> list[tuple[IntArray, IntArray]]:
    """Candidate pairs of edges of one size class with faces of another, on the grid of the larger class."""
    cell = unit_mm * _GROWTH ** max(classes)
    origin = plates.low.min(axis=0)
    line_of, line_key = _cells(lines, lines.size_class == classes[0], origin, cell)
    plate_of, plate_key = _cells(plates, plates.size_class == classes[1], origin, cell)
    order = np.argsort(plate_key, kind="stable")
    plate_of, plate_key = plate_of[order], plate_key[order]
    first = np.searchsorted(plate_key, line_key)
    count = np.searchsorted(plate_key, line_key, side="right") - first
    found = []
    for part in _blocks(count):
        n = count[part]
        within = np.arange(int(n.sum())) - np.repeat(np.cumsum(n) - n, n)
        face = plate_of[np.repeat(first[part], n) + within]
        edge, key = np.repeat(line_of[part], n), np.repeat(line_key[part], n)
        edge, face, key = _overlapping(lines, plates, edge, face, key)
        keep = _strangers(surface, known, edge, face)
        edge, face, key = edge[keep], face[keep], key[keep]
        keep = _key_of(np.maximum(lines.low[edge], plates.low[face]), origin, cell) == key  # once each
        edge, face = edge[keep], face[keep]
        found.append((edge, face))
    return found


def _blocks(count: IntArray) -> list[slice]:
    """Runs of the items that hold about ``_BLOCK`` pairs each."""
    total = np.cumsum(count)
    marks = np.arange(_BLOCK, int(total[-1]) if len(total) else 0, _BLOCK)
    bounds = np.unique(np.concatenate([[0], np.searchsorted(total, marks), [len(count)]]))
    return [slice(int(a), int(b)) for a, b in pairwise(bounds)]


def _cells(boxes: _Boxes, mask: BoolArray, origin: Array, cell: float) -> tuple[IntArray, IntArray]:
    """Items of the mask and the key of each cell that their boxes reach."""
    item = np.flatnonzero(mask)
    low = np.floor((boxes.low[item] - origin) / cell).astype(np.int64)
    span = np.floor((boxes.high[item] - origin) / cell).astype(np.int64) - low + 1
    count = span.prod(axis=1)
    which = np.repeat(np.arange(len(item)), count)
    within = np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count)
    sx, sy = span[which, 0], span[which, 1]
    step = np.stack([within % sx, within // sx % sy, within // (sx * sy)], axis=1)
    return item[which], _key(low[which] + step)


def _key_of(points: Array, origin: Array, cell: float) -> IntArray:
    """Key (k,) of the cell that holds each point (k, 3)."""
    return _key(np.floor((points - origin) / cell).astype(np.int64))


def _key(cell: IntArray) -> IntArray:
    """One number for each cell (k, 3); 21 bits a coordinate."""
    x, y, z = (cell.T + (1 << 20)) & ((1 << 21) - 1)
    return np.asarray((x << 42) | (y << 21) | z)


def _overlapping(
    lines: _Boxes, plates: _Boxes, edge: IntArray, face: IntArray, key: IntArray
) -> tuple[IntArray, IntArray, IntArray]:
    """The pairs, with their keys, whose boxes overlap; axis by axis, so that each has fewer to look at."""
    for k in range(3):
        keep = np.flatnonzero(
            (lines.low[:, k][edge] <= plates.high[:, k][face])
            & (lines.high[:, k][edge] >= plates.low[:, k][face])
        )
        edge, face, key = edge[keep], face[keep], key[keep]
    return edge, face, key


def _strangers(surface: Surface, known: Edges, edge: IntArray, face: IntArray) -> BoolArray:
    """Mask of the pairs that share no point."""
    one, two = known.points[edge].T
    corners = surface.faces[face]
    keep = np.ones(len(edge), dtype=np.bool_)
    for k in range(3):
        keep &= (corners[:, k] != one) & (corners[:, k] != two)
    return keep


def _pierced(surface: Surface, known: Edges, edge: IntArray, face: IntArray) -> BoolArray:
    """Mask of the pairs whose edge passes through the face, or through one of its edges from side to side."""
    p, q = np.moveaxis(surface.points_mm[known.points[edge]], 1, 0)
    corners = surface.corners_mm[face]
    before, after = _side(corners, p), _side(corners, q)
    hit = before * after < 0
    some = np.flatnonzero(hit)
    turns = np.stack(
        [_side(np.stack([p[some], corners[some, k], corners[some, (k + 1) % 3]], axis=1), q[some])
         for k in range(3)], axis=1,
    )  # fmt: skip
    one_way = (turns >= 0).all(axis=1) | (turns <= 0).all(axis=1)
    zeros = (turns == 0).sum(axis=1)
    hit[some] = one_way & (zeros == 0)
    on_edge = some[one_way & (zeros == 1)]
    which = turns[one_way & (zeros == 1)] == 0
    hit[on_edge] = _through_edge(surface, known, edge[on_edge], face[on_edge], which.argmax(axis=1))
    return hit


def _side(corners: Array, points: Array) -> IntArray:
    """Side (k,) of the plane through ``corners`` (k, 3, 3) on which ``points`` (k, 3) lie: 1, -1, or 0 on it."""
    a, b, c = (corners[:, i] - points for i in range(3))
    volume = np.einsum("ij,ij->i", a, np.cross(b, c))
    size = np.sqrt(np.einsum("ij,ij->i", a, a) * np.einsum("ij,ij->i", b, b) * np.einsum("ij,ij->i", c, c))
    return np.where(np.abs(volume) <= _ROUND_OFF * size, 0, np.sign(volume)).astype(np.int64)


def _through_edge(
    surface: Surface, known: Edges, edge: IntArray, face: IntArray, corner: IntArray
) -> BoolArray:
    """Mask of the edges that pass between the inside and the outside of the two faces of another edge.

    ``corner`` (k,) says which edge of the face is met. Inside a fold that bulges is below both faces, inside a
    hollow one below either.
    """
    m = len(surface.faces)
    order = np.argsort(known.of_half_edge, kind="stable")
    start = np.searchsorted(known.of_half_edge[order], np.arange(len(known.use)))
    met = known.of_half_edge[3 * face + corner]
    paired = known.use[met] == 2
    halves = order[np.minimum(start[met][:, None] + np.arange(2), 3 * m - 1)] // 3
    one, two = surface.corners_mm[halves[:, 0]], surface.corners_mm[halves[:, 1]]
    shared = known.points[met]
    apex = surface.faces[halves[:, 1]]
    apex = apex[np.arange(len(apex)), ((apex != shared[:, :1]) & (apex != shared[:, 1:])).argmax(axis=1)]
    bulges = _side(one, surface.points_mm[apex]) >= 0
    p, q = np.moveaxis(surface.points_mm[known.points[edge]], 1, 0)
    sides = [np.stack([_side(one, end), _side(two, end)], axis=1) for end in (p, q)]
    below = [np.where(bulges, (s > 0).all(axis=1), (s > 0).any(axis=1)) for s in sides]
    touching = (sides[0] == 0).any(axis=1) | (sides[1] == 0).any(axis=1)
    return np.asarray(paired & ~touching & (below[0] != below[1]))


def _meeting(surface: Surface, pairs: IntArray, face: IntArray) -> Array:
    """Points (k, 3) where edges meet the planes of faces."""
    p, q = np.moveaxis(surface.points_mm[pairs], 1, 0)
    normal, on = surface.area_vectors_mm2[face], surface.corners_mm[face, 0]
    rise, fall = np.einsum("ij,ij->i", p - on, normal), np.einsum("ij,ij->i", q - on, normal)
    share = rise / np.where(rise == fall, 1.0, rise - fall)
    return np.asarray(p + share[:, None] * (q - p))
