"""One crown, or one tooth, cut out of a jaw's surface along the valleys around it.

The cut is the cheapest closed line on the surface between faces that surely belong to the tooth and faces that surely
do not: an edge costs its length, and the less the more concave the surface is across it (minima rule). It is found
exactly, as a minimum cut (Y. Boykov, V. Kolmogorov 2003, ICCV: minimal surfaces by graph cuts).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import breadth_first_order, connected_components, maximum_flow

from mesh_tools.arrays import Array, BoolArray, IntArray
from mesh_tools.finding.concavity import FacePairs, face_pairs
from mesh_tools.finding.record import NotFoundError
from mesh_tools.surface import Surface

_HALF_CURVATURE = 0.25  # 1/mm: across this concave an edge costs half its length
_FLOOR = 0.02
_UNITS = 10_000.0  # of capacity to the mm
_BOUND = 2**30


@dataclass(frozen=True, eq=False)
class Patch:
    """``faces`` (k,): indices of the jaw's faces. ``border_mm``: length of the cut; ``in_valley``: share of it that
    runs where the surface is concave."""

    faces: IntArray
    border_mm: float
    in_valley: float


def patch_between(surface: Surface, inside: BoolArray, outside: BoolArray) -> Patch:
    """The patch around the faces ``inside`` (m,) that the cheapest line parts from the faces ``outside`` (m,).

    Raises NotFoundError when either is empty.
    """
    if not inside.any():
        raise NotFoundError(
            "no face of the scan lies at the seed; put the seed on the chewing surface of the tooth."
        )
    if not (outside & ~inside).any():
        raise NotFoundError("nothing but the tooth lies around the seed, so there is nothing to cut it from.")
    pairs = face_pairs(surface)
    cost = pairs.length_mm * _price(pairs.concave)
    mine = _minimum_cut(pairs.faces, cost, inside, outside & ~inside)
    mine = _one_piece(pairs.faces, mine, inside)
    return _patch(pairs, mine)


def _price(concave: Array) -> Array:
    """Cost of an edge for each mm of its length, 1 where the surface is flat or convex."""
    return np.asarray(_FLOOR + (1.0 - _FLOOR) / (1.0 + (np.maximum(concave, 0.0) / _HALF_CURVATURE) ** 2))


def _minimum_cut(pairs: IntArray, cost: Array, inside: BoolArray, outside: BoolArray) -> BoolArray:
    """Mask (m,) of the faces on the inner side of the minimum cut. All sure faces are merged into two nodes."""
    node = np.cumsum(~(inside | outside)) + 1
    node = np.where(inside, 0, np.where(outside, 1, node))
    count = int(node.max()) + 1
    a, b = node[pairs].T
    apart = a != b
    capacity = np.minimum(np.round(cost[apart] * _UNITS), _BOUND).astype(np.int64) + 1
    graph = coo_array(
        (np.tile(capacity, 2), (np.r_[a[apart], b[apart]], np.r_[b[apart], a[apart]])), shape=(count, count)
    ).tocsr()
    graph.data = np.minimum(graph.data, _BOUND)
    whole = csr_array((graph.data.astype(np.int32), graph.indices.astype(np.int32), graph.indptr.astype(np.int32)),
                      shape=graph.shape)  # fmt: skip
    left = whole - maximum_flow(whole, 0, 1).flow
    left.data = np.maximum(left.data, 0)
    left.eliminate_zeros()
    reached = breadth_first_order(left, 0, directed=True, return_predecessors=False)
    side = np.zeros(count, dtype=bool)
    side[reached] = True
    return np.asarray(side[node])


def _one_piece(pairs: IntArray, mine: BoolArray, inside: BoolArray) -> BoolArray:
    """``mine`` without faces not joined to the sure ones, and with what it encloses."""
    kept = _joined_to(pairs, mine, int(np.flatnonzero(inside)[0]), largest=False)
    rest = ~kept
    big = _joined_to(pairs, rest, -1, largest=True)
    return np.asarray(kept | (rest & ~big & _touches_only(pairs, rest & ~big, kept)))


def _joined_to(pairs: IntArray, mask: BoolArray, seed: int, *, largest: bool) -> BoolArray:
    both = mask[pairs].all(axis=1)
    m = len(mask)
    graph = coo_array((np.ones(int(both.sum())), tuple(pairs[both].T)), shape=(m, m)).tocsr()
    labels = connected_components(graph, directed=False)[1]
    biggest = int(np.bincount(labels[mask]).argmax()) if mask.any() else -1
    wanted = biggest if largest else int(labels[seed])
    return np.asarray(mask & (labels == wanted))


def _touches_only(pairs: IntArray, island: BoolArray, kept: BoolArray) -> BoolArray:
    """Mask of island faces in pieces that border ``kept``."""
    m = len(island)
    both = island[pairs].all(axis=1)
    graph = coo_array((np.ones(int(both.sum())), tuple(pairs[both].T)), shape=(m, m)).tocsr()
    labels = connected_components(graph, directed=False)[1]
    meets = np.zeros(labels.max() + 1, dtype=bool)
    for one, other in (pairs.T, pairs.T[::-1]):
        meets[labels[one[island[one] & kept[other]]]] = True
    return np.asarray(island & meets[labels])


def _patch(pairs: FacePairs, mine: BoolArray) -> Patch:
    cut = mine[pairs.faces[:, 0]] != mine[pairs.faces[:, 1]]
    length = pairs.length_mm[cut]
    valley = float(length[pairs.concave[cut] > 0.5 * _HALF_CURVATURE].sum() / max(length.sum(), 1e-9))
    return Patch(np.flatnonzero(mine), float(length.sum()), valley)
