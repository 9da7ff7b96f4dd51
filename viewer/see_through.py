"""Pieces of a picture: meshes with a colour for each face, joined into one, and sorted where one sees through them.

Drawn from the farthest face to the nearest with plain blending, each face comes over what lies behind it, in one
pass: depth peeling gives the same picture for several times the work when a processor does the drawing (painter's
algorithm: Newell, Newell and Sancha 1972). Faces that pass through each other are blended as their middles lie, which
a fine mesh hides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array, IntArray
from viewer.view import View


@dataclass(frozen=True, eq=False)
class Piece:
    """Points (n, 3), faces (m, 3), the points' normals (n, 3), red, green, blue and opacity (m, 4) of each face."""

    points_mm: Array
    faces: IntArray
    normals: Array
    colours: Array

    @property
    def opaque(self) -> bool:
        """True when nothing is seen through it."""
        return bool((self.colours[:, 3] >= 1.0).all())


def flat_piece(points: Array, faces: IntArray, colours: Array) -> Piece:
    """A piece whose every face is lit as a plane: each has corners of its own."""
    across: Array = np.repeat(_across(points, faces), 3, axis=0)
    own = np.arange(3 * len(faces)).reshape(-1, 3)
    return Piece(points[faces].reshape(-1, 3), own, _unit(across), colours)


def smooth_piece(points: Array, faces: IntArray, colours: Array) -> Piece:
    """A piece lit as a smooth surface: the normals of the faces around each point, weighed by area."""
    across: Array = np.repeat(_across(points, faces), 3, axis=0)
    at = faces.ravel()
    sums = [np.bincount(at, weights=across[:, k], minlength=len(points)) for k in range(3)]
    normals: Array = np.stack(sums, axis=1).astype(np.float64)
    return Piece(points, faces, _unit(normals), colours)


def joined(pieces: Sequence[Piece]) -> Piece:
    """All ``pieces`` as one."""
    starts = np.cumsum([0, *(len(p.points_mm) for p in pieces[:-1])])
    return Piece(
        np.concatenate([p.points_mm for p in pieces]),
        np.concatenate([p.faces + start for p, start in zip(pieces, starts, strict=True)]),
        np.concatenate([p.normals for p in pieces]),
        np.concatenate([p.colours for p in pieces]),
    )


def sorted_by_depth(piece: Piece, view: View) -> Piece:
    """``piece`` with its faces in the order of the depth of their middles, the farthest first."""
    order = np.argsort(-view.depth(piece.points_mm)[piece.faces].sum(axis=1), kind="stable")
    return Piece(piece.points_mm, piece.faces[order], piece.normals, piece.colours[order])


def _across(points: Array, faces: IntArray) -> Array:
    """Twice the area times the normal of each face (m, 3)."""
    a, b, c = np.moveaxis(points[faces], 1, 0)
    return np.asarray(np.cross(b - a, c - a))


def _unit(vectors: Array) -> Array:
    return np.asarray(vectors / np.maximum(np.linalg.norm(vectors, axis=1, keepdims=True), 1e-300))
