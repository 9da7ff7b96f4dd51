"""How far a wire lies from the skin, and whether a point lies inside the face."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from mechanics.bow.wire import JointRegion, WirePart
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array, BoolArray
from mesh_tools.surface import Surface

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

NEIGHBOURS = 8
PAST_LIPS_MM = 30.0  # about where the outer wire has passed the corner of the mouth


class Skin:
    """Signed distance to a face surface, positive outside; the search tree is built once, on first use."""

    def __init__(self, face: Surface) -> None:
        self.face = face

    @cached_property
    def _tree(self) -> cKDTree:
        from scipy.spatial import cKDTree  # slow to import

        return cKDTree(self.face.face_centres_mm)

    def distance_mm(self, points_mm: ArrayLike) -> Array:
        """Signed distances (n,) of ``points_mm`` (n, 3), exact among the faces whose centres lie nearest.

        The sign is that of the nearest face's normal, the face seen most squarely when several are equally
        near.
        """
        p = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
        near = self._tree.query(p, k=min(NEIGHBOURS, len(self.face.faces)))[1].reshape(len(p), -1)
        corners = self.face.corners_mm[near]
        away = p[:, None, :] - _nearest_on_triangles(p[:, None, :], corners)
        size = np.linalg.norm(away, axis=-1)
        normal = self.face.area_vectors_mm2[near]
        normal = normal / np.maximum(np.linalg.norm(normal, axis=-1, keepdims=True), 1e-300)
        facing = np.sum(away * normal, axis=-1)
        tied = size <= size.min(axis=1, keepdims=True) + 1e-9
        pick = np.argmax(np.where(tied, np.abs(facing), -1.0), axis=1)
        rows = np.arange(len(p))
        return np.asarray(np.where(facing[rows, pick] < 0.0, -1.0, 1.0) * size[rows, pick])

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
    outer: WirePart, joint: JointRegion, skin: Skin, *, from_middle_mm: float = PAST_LIPS_MM
) -> dict[Side, float]:
    """Least distance (mm) from each arm's surface to the skin, negative inside it, worn or not.

    Wire nearer than ``from_middle_mm`` to the joint's middle lies between the lips and does not count.
    """
    gaps: dict[Side, float] = {}
    for side in SIDES:
        arm = joint.outer_middle_mm if side == "right" else outer.length_mm - joint.outer_middle_mm
        s = np.linspace(min(from_middle_mm, arm), arm, max(2, int(arm)))
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


def _nearest_on_triangles(p: Array, corners: Array) -> Array:
    """Nearest points (..., 3) on triangles (..., 3, 3): the foot on the plane if inside, else the best
    edge point."""
    a, b, c = corners[..., 0, :], corners[..., 1, :], corners[..., 2, :]
    normal = np.cross(b - a, c - a)
    square = np.maximum(np.sum(normal**2, axis=-1, keepdims=True), 1e-300)
    foot = p - normal * (np.sum((p - a) * normal, axis=-1, keepdims=True) / square)
    inside = np.ones(foot.shape[:-1], dtype=np.bool_)
    edge_points, edge_gaps = [], []
    for start, end in ((a, b), (b, c), (c, a)):
        along = end - start
        inside &= np.sum(np.cross(along, foot - start) * normal, axis=-1) >= 0.0
        t = np.sum((p - start) * along, axis=-1) / np.maximum(np.sum(along**2, axis=-1), 1e-300)
        q = start + np.clip(t, 0.0, 1.0)[..., None] * along
        edge_points.append(q)
        edge_gaps.append(np.linalg.norm(p - q, axis=-1))
    best = np.argmin(edge_gaps, axis=0)[..., None]
    edge = np.select([best == 0, best == 1, best == 2], edge_points)
    return np.asarray(np.where(inside[..., None], foot, edge))
