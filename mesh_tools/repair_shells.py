"""Shells: flakes and inner voids removed, several full-size shells refused."""

from __future__ import annotations

import numpy as np

from mesh_tools.arrays import Array, BoolArray, IntArray
from mesh_tools.errors import BadValueError
from mesh_tools.inside import inside
from mesh_tools.repair_record import Finding, Step, plural
from mesh_tools.surface import Surface
from mesh_tools.topology import edges, face_pieces

FLAKE = 0.05  # a stray piece is a flake below this share of the largest piece's area
SHELL = 0.3  # and a full-size shell above this share of its box's diagonal and area


class SeveralTeethError(BadValueError):
    """A file holds several full-size shells, so which one is meant cannot be known."""


def shells_chosen(step: Step) -> Step:
    """The largest shell alone: inner voids and flakes go; raises SeveralTeethError for other large shells."""
    surface = step.surface
    count, piece = face_pieces(surface)
    if count == 1:
        return step
    areas: Array = np.bincount(piece, weights=surface.areas_mm2, minlength=count).astype(np.float64)
    main = int(areas.argmax())
    void = _voids(surface, piece, count, main)
    others = ~void
    others[main] = False
    _refuse_several(surface, piece, areas, others, main)
    step = _dropped(step, piece, void, "inner voids", "inner void shell")
    if not others.any():
        return step
    kept = piece[~void[piece]]
    return _dropped(step, kept, others, "flakes", "stray flake")


def _voids(surface: Surface, piece: IntArray, count: int, main: int) -> BoolArray:
    """Mask of the closed pieces inside the main shell, judged at up to 24 points of each, all of which must be."""
    hull = Surface(surface.points_mm, surface.faces[piece == main])
    low, high = _box(hull)
    known = edges(surface)
    odd = (known.use[known.of_half_edge] != 2).reshape(-1, 3).any(axis=1)
    open_piece = np.bincount(piece, weights=odd, minlength=count) > 0
    void = np.zeros(count, dtype=bool)
    for k in range(count):
        points = surface.points_mm[np.unique(surface.faces[piece == k])]
        if k == main or open_piece[k] or (points < low).any() or (points > high).any():
            continue
        shown = points[np.linspace(0, len(points) - 1, min(len(points), 24)).astype(int)]
        void[k] = bool(inside(hull, shown).all())
    return void


def _refuse_several(surface: Surface, piece: IntArray, areas: Array, others: BoolArray, main: int) -> None:
    """Refuse pieces that are neither small in area nor in reach."""
    span = np.array([_diagonal(surface, piece == k) if others[k] else 0.0 for k in range(len(areas))])
    whole = _diagonal(surface, piece == main)
    big = others & (areas > SHELL * areas[main]) & (span > SHELL * whole)
    doubtful = others & ~big & (areas > FLAKE * areas[main])
    if big.any():
        raise SeveralTeethError(
            f"several teeth in one file: {int(big.sum()) + 1} full-size shells; export each tooth to its own file."
        )
    if doubtful.any():
        share = float(areas[doubtful].max() / areas[main])
        raise SeveralTeethError(
            f"a second piece of {share:.0%} of the largest one's area is neither a flake nor inside it; "
            "remove or join it in the scan."
        )


def _dropped(step: Step, piece: IntArray, gone: BoolArray, kind: str, noun: str) -> Step:
    """Step without the pieces of the mask ``gone``."""
    if not gone.any():
        return step
    count, faces = int(gone.sum()), int(gone[piece].sum())
    text = f"{plural(count, noun)} removed ({plural(faces, 'face')})"
    return step.only(~gone[piece], Finding(kind, count, text))


def _box(surface: Surface) -> tuple[Array, Array]:
    """Low and high corner of the box around the points in use."""
    used = surface.points_mm[np.unique(surface.faces)]
    return used.min(axis=0), used.max(axis=0)


def _diagonal(surface: Surface, mask: BoolArray) -> float:
    """Longest reach of the masked faces from their mean point, doubled: independent of the axes."""
    points = surface.points_mm[np.unique(surface.faces[mask])]
    return 2.0 * float(np.linalg.norm(points - points.mean(axis=0), axis=1).max())
