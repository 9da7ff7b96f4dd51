"""Winding: neighbours made to agree, then each closed shell turned outward."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from mesh_tools.arrays import Array, BoolArray, IntArray
from mesh_tools.repair_record import Finding, Step, plural
from mesh_tools.surface import Surface
from mesh_tools.topology import Edges, edges, pieces_over


def wound_alike(step: Step) -> Step:
    """Faces turned so that neighbours over two-face edges run the shared edge opposite ways; the fewer are turned."""
    surface = step.surface
    pairs, alike = _neighbours(edges(surface))
    if not alike.any():
        return step
    sheet = _sheets(pairs, alike, len(surface.faces))
    if sheet is None:
        finding = Finding("one-sided surface", 1, "the surface is one-sided; its winding is left as it is")
        return Step(step.surface, step.changes, (*step.notes, finding), step.point_map, step.face_map)
    turn = _minority(sheet, surface.areas_mm2)
    count = int(turn.sum())
    return step.with_faces(
        _turned(surface.faces, turn), Finding("winding", count, f"{plural(count, 'face')} turned to agree")
    )


def outward(step: Step) -> Step:
    """Turn the whole surface when it encloses a negative volume, or as an open scan shows its back outward."""
    surface = step.surface
    known = edges(surface)
    count, piece = pieces_over(surface.faces, known)
    volumes = np.bincount(piece, weights=cone_volumes(surface, piece, count), minlength=count)
    free = np.bincount(piece, weights=(known.use[known.of_half_edge] == 1).reshape(-1, 3).sum(axis=1))
    size = np.bincount(piece, weights=surface.areas_mm2, minlength=count) ** 1.5
    inside_out = (volumes < 0.0) & ((free == 0) | (volumes < -1e-3 * size))
    turn = inside_out[piece]
    if not turn.any():
        return step
    faces = int(turn.sum())
    text = f"{plural(faces, 'face')} turned so that normals point outward"
    return step.with_faces(_turned(surface.faces, turn), Finding("inside out", faces, text))


def cone_volumes(surface: Surface, piece: IntArray, count: int) -> Array:
    """Signed volume (m,) of the cone from each piece's area centre to each face."""
    areas = surface.areas_mm2
    total = np.maximum(np.bincount(piece, weights=areas, minlength=count), np.finfo(float).tiny)
    centres = np.stack(
        [np.bincount(piece, weights=areas * c, minlength=count) / total for c in surface.face_centres_mm.T],
        axis=1,
    )
    reach = surface.face_centres_mm - centres[piece]
    return np.asarray(np.einsum("ij,ij->i", reach, surface.area_vectors_mm2) / 3.0)


def _neighbours(known: Edges) -> tuple[IntArray, BoolArray]:
    """Pairs of faces (k, 2) over edges of two faces, and whether both run the edge the same way."""
    order = np.argsort(known.of_half_edge, kind="stable")
    start = np.concatenate([[0], np.cumsum(known.use)[:-1]]).astype(np.int64)[known.use == 2]
    one, two = order[start], order[start + 1]
    return np.stack([one // 3, two // 3], axis=1), known.forward[one] == known.forward[two]


def _sheets(pairs: IntArray, alike: BoolArray, m: int) -> tuple[IntArray, IntArray] | None:
    """Piece (m,) and side (m,) of each face, by the double cover; None for a one-sided surface."""
    a, b = pairs.T
    cross = alike.astype(np.int64)
    rows = np.concatenate([a, a + m])
    cols = np.concatenate([b + m * cross, b + m * (1 - cross)])
    graph = coo_array((np.ones(len(rows)), (rows, cols)), shape=(2 * m, 2 * m)).tocsr()
    label = connected_components(graph, directed=False)[1]
    low, high = label[:m], label[m:]
    if (low == high).any():
        return None
    piece = np.minimum(low, high).astype(np.int64)
    return piece, (low > high).astype(np.int64)


def _minority(sheet: tuple[IntArray, IntArray], areas: Array) -> BoolArray:
    """Mask of the faces on the side with less area of their piece."""
    piece, side = sheet
    size = int(piece.max()) + 1
    signed = np.bincount(piece, weights=np.where(side == 0, areas, -areas), minlength=size)
    return np.asarray(np.where(signed[piece] >= 0.0, side == 1, side == 0))


def _turned(faces: IntArray, turn: BoolArray) -> IntArray:
    """Faces with those of the mask ``turn`` wound the other way."""
    return np.where(turn[:, None], faces[:, ::-1], faces)
