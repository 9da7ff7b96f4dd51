"""How far a wire lies from the skin, and whether a point lies inside the face."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from mechanics.bow.nearest_face import Nearest, NearestFaces
from mechanics.bow.wire import JointRegion, WirePart
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array, BoolArray
from mesh_tools.surface import Surface

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

PAST_LIPS_MM = 30.0  # about where the outer wire has passed the corner of the mouth


class Skin:
    """Signed distance to a face surface, positive outside; the search tree is built once, on first use."""

    def __init__(self, face: Surface) -> None:
        self.face = face

    @cached_property
    def _tree(self) -> cKDTree:
        from scipy.spatial import cKDTree  # slow to import

        return cKDTree(self.face.face_centres_mm)

    @cached_property
    def _faces(self) -> NearestFaces:
        return NearestFaces(self.face)

    def nearest(self, points_mm: ArrayLike) -> Nearest:
        """The exact nearest point of the skin to each of ``points_mm`` (n, 3), with its signed distance."""
        return self._faces.of(np.atleast_2d(np.asarray(points_mm, dtype=np.float64)))

    def distance_mm(self, points_mm: ArrayLike) -> Array:
        """Exact signed distances (n,) of ``points_mm`` (n, 3).

        The sign is that of the nearest face's normal, the face seen most squarely when several are equally
        near.
        """
        return self.nearest(points_mm).distance_mm

    def rough_distance_mm(self, points_mm: ArrayLike) -> Array:
        """Signed distances (n,) from the planes of the four nearest faces, the nearer the heavier: quick
        and nearly smooth, for searches; too small where the skin bulges between faces, by their
        sagitta."""
        p = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
        away, near = self._tree.query(p, k=min(4, len(self.face.faces)))
        away, near = away.reshape(len(p), -1), near.reshape(len(p), -1)
        over = np.einsum("nki,nki->nk", p[:, None, :] - self.face.face_centres_mm[near], self._normals[near])
        weight = 1.0 / (away**2 + 0.01)
        return np.asarray((over * weight).sum(axis=1) / weight.sum(axis=1))

    @cached_property
    def _normals(self) -> Array:
        vectors = self.face.area_vectors_mm2
        return np.asarray(vectors / np.maximum(np.linalg.norm(vectors, axis=1, keepdims=True), 1e-300))


def arms_from_skin_mm(
    outer: WirePart, joint: JointRegion, skin: Skin, *, from_mm: Mapping[Side, float] | None = None
) -> dict[Side, float]:
    """Least distance (mm) from each arm's surface to the skin, negative inside it, worn or not.

    Wire nearer than ``from_mm`` to the joint's middle (None: ``PAST_LIPS_MM``) lies between the lips and does not
    count.
    """
    gaps: dict[Side, float] = {}
    for side in SIDES:
        arm = joint.outer_middle_mm if side == "right" else outer.length_mm - joint.outer_middle_mm
        begin = PAST_LIPS_MM if from_mm is None else from_mm[side]
        s = np.linspace(min(begin, arm), arm, max(2, int(arm)))
        at = joint.outer_middle_mm + (s if side == "left" else -s)
        gaps[side] = float((skin.distance_mm(outer.at(at)) - 0.5 * outer.diameter_at(at)).min())
    return gaps


def is_inside(face: Surface, points_mm: ArrayLike) -> BoolArray:
    """Whether each point (n, 3) lies inside ``face``, open or closed, by the winding number (solid angle
    over 4 pi).

    Solid angle of a triangle: Van Oosterom A, Strackee J 1983 IEEE Trans Biomed Eng 30:125-126 (from
    memory).
    """
    p = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
    return np.array([_winding(face.corners_mm - one) > 0.5 for one in p], dtype=np.bool_)


def _winding(corners: Array) -> float:
    a, b, c = np.moveaxis(corners, 1, 0)
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    volume = np.sum(a * np.cross(b, c), axis=1)
    below = (
        la * lb * lc + np.sum(a * b, axis=1) * lc + np.sum(b * c, axis=1) * la + np.sum(c * a, axis=1) * lb
    )
    return float(np.arctan2(volume, below).sum() / (2.0 * np.pi))
