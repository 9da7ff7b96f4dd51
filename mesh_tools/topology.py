"""How the faces of a surface hang together: edges, borders, pieces, closure, genus, volume."""

from __future__ import annotations

from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components

from mesh_tools.arrays import Array, IntArray
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface


@dataclass(frozen=True, eq=False)
class Edges:
    """Undirected edges (e, 2) with the lower point first, how many faces use each, and each half-edge's edge.

    Half-edge 3 f + k runs from corner k to corner k + 1 of face f; ``forward`` tells whether it runs low to high.
    """

    points: IntArray
    use: IntArray
    of_half_edge: IntArray
    forward: IntArray


_KNOWN: WeakKeyDictionary[Surface, Edges] = WeakKeyDictionary()


class OpenSurfaceError(BadValueError):
    """A number that only a closed surface has was asked of an open one."""


def half_edges(faces: IntArray) -> IntArray:
    """Directed edges (3 m, 2): row 3 f + k runs from corner k to corner k + 1 of face f."""
    return np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2)


def edges(surface: Surface) -> Edges:
    """The edges of ``surface``, worked out once for each (surfaces are frozen)."""
    known = _KNOWN.get(surface)
    if known is None:
        known = _KNOWN[surface] = edges_of(surface.faces, len(surface.points_mm))
    return known


def edges_of(faces: IntArray, count: int) -> Edges:
    """The edges of ``faces`` over ``count`` points."""
    half = half_edges(np.asarray(faces))
    low, high = np.minimum(half[:, 0], half[:, 1]), np.maximum(half[:, 0], half[:, 1])
    keys, back, use = np.unique(low * max(count, 1) + high, return_inverse=True, return_counts=True)
    points = np.stack([keys // max(count, 1), keys % max(count, 1)], axis=1)
    return Edges(points, use, back.ravel(), (half[:, 0] < half[:, 1]).astype(np.int64))


def vertex_adjacency(surface: Surface) -> csr_array:
    """Symmetric 0/1 matrix (n, n) of points joined by an edge."""
    a, b = edges(surface).points.T
    n = len(surface.points_mm)
    rows, cols = np.concatenate([a, b]), np.concatenate([b, a])
    return coo_array((np.ones(len(rows)), (rows, cols)), shape=(n, n)).tocsr()


def face_pieces(surface: Surface) -> tuple[int, IntArray]:
    """Number of pieces joined by edges, and each face's piece (m,), numbered as they first appear."""
    return pieces_over(surface.faces, edges(surface))


def pieces_over(faces: IntArray, known: Edges, *, cross: IntArray | None = None) -> tuple[int, IntArray]:
    """Pieces of ``faces`` joined through shared edges; ``cross`` (e,) nonzero limits which edges join."""
    m = len(faces)
    if m == 0:
        return 0, np.zeros(0, dtype=np.int64)
    owner = np.repeat(np.arange(m), 3)
    allowed = np.ones(len(known.use), dtype=bool) if cross is None else np.asarray(cross, dtype=bool)
    keep = allowed[known.of_half_edge]
    graph = coo_array(
        (np.ones(int(keep.sum())), (owner[keep], m + known.of_half_edge[keep])),
        shape=(m + len(known.use), m + len(known.use)),
    )
    labels = connected_components(graph.tocsr(), directed=False)[1][:m]
    _, first, back = np.unique(labels, return_index=True, return_inverse=True)
    rank = np.empty(len(first), dtype=np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    return len(first), rank[back.ravel()]


def is_closed(surface: Surface) -> bool:
    """Whether every edge is used twice, once each way."""
    known = edges(surface)
    runs = np.bincount(known.of_half_edge, weights=known.forward, minlength=len(known.use))
    return bool(len(surface.faces)) and bool((known.use == 2).all()) and bool((runs == 1).all())


def boundary_loops(surface: Surface) -> list[IntArray]:
    """Border loops as ordered point indices, each once, running as the border faces do; longest first.

    Where a border touches itself at a point it is split there into simple loops.
    """
    known = edges(surface)
    free = half_edges(surface.faces)[known.use[known.of_half_edge] == 1]
    loops = _simple_loops(free)
    lengths = [loop_length(surface.points_mm, loop) for loop in loops]
    return [loops[i] for i in np.argsort(-np.array(lengths), kind="stable")]


def loop_length(points: Array, loop: IntArray) -> float:
    """Length of a closed loop of point indices."""
    ring = points[loop]
    return float(np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1).sum())


def euler_number(surface: Surface) -> int:
    """Points in use less edges plus faces."""
    return len(np.unique(surface.faces)) - len(edges(surface).points) + len(surface.faces)


def genus(surface: Surface) -> int:
    """Number of tunnels of a surface: (2 pieces - borders - Euler number) / 2, borders counted as if capped.

    Raises BadValueError where an edge has more than two faces.
    """
    if (edges(surface).use > 2).any():
        raise BadValueError("genus needs edges of at most two faces; repair the surface first.")
    pieces = face_pieces(surface)[0]
    return (2 * pieces - len(boundary_loops(surface)) - euler_number(surface)) // 2


def signed_volume(surface: Surface) -> float:
    """Volume, positive when normals point outward; raises OpenSurfaceError unless the surface is closed."""
    _need_closed(surface, "volume")
    return volume_of_faces(surface)


def centroid(surface: Surface) -> Array:
    """Centroid (3,) of the enclosed volume; raises OpenSurfaceError unless the surface is closed.

    The sum of signed tetrahedra about the centre of the box, so that the answer moves with the surface.
    """
    _need_closed(surface, "centroid of the volume")
    about = _middle(surface)
    corners = surface.corners_mm - about
    parts = _triple_products(corners) / 6.0
    total = float(parts.sum())
    if total == 0.0:
        raise BadValueError("the surface encloses no volume, so it has no centroid.")
    return np.asarray(about + (parts[:, None] * corners.sum(axis=1) / 4.0).sum(axis=0) / total)


def volume_of_faces(surface: Surface) -> float:
    """Sum of signed tetrahedra from the middle of the box to every face, whether or not the surface is closed."""
    if not len(surface.faces):
        return 0.0
    return float(_triple_products(surface.corners_mm - _middle(surface)).sum() / 6.0)


def _triple_products(corners: Array) -> Array:
    """a . (b x c) of every face (m,): the determinant without the pivots that denormal numbers make it divide by."""
    a, b, c = np.moveaxis(corners, 1, 0)
    return np.asarray(np.einsum("ij,ij->i", a, np.cross(b, c)))


def _middle(surface: Surface) -> Array:
    """Middle (3,) of the box around the points in use."""
    used = surface.points_mm[np.unique(surface.faces)]
    return np.asarray(0.5 * (used.min(axis=0) + used.max(axis=0)))


def _need_closed(surface: Surface, what: str) -> None:
    """Refuse an open surface."""
    if not is_closed(surface):
        raise OpenSurfaceError(f"{what} needs a closed surface; this one is open; close its holes first.")


def _simple_loops(free: IntArray) -> list[IntArray]:
    """Simple loops of directed edges (k, 2), walked once; a walk that meets itself gives off a loop there."""
    leaving: dict[int, list[int]] = {}
    for a, b in free.tolist():
        leaving.setdefault(a, []).append(b)
    loops: list[IntArray] = []
    for start in list(leaving):
        while leaving.get(start):
            _walk(start, leaving, loops)
    return loops


def _walk(start: int, leaving: dict[int, list[int]], loops: list[IntArray]) -> None:
    """Walk from ``start`` while there is a way, giving off each loop closed on the way."""
    path, place = [start], {start: 0}
    while leaving.get(path[-1]):
        step = leaving[path[-1]].pop()
        if step not in place:
            place[step] = len(path)
            path.append(step)
            continue
        at = place[step]
        loops.append(np.array(path[at:], dtype=np.int64))
        for gone in path[at + 1 :]:
            del place[gone]
        del path[at + 1 :]
