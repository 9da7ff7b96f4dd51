"""Trimmed point-to-plane iteration, for one start or for many at once.

Point to plane: Chen Y, Medioni G 1992 Image Vis Comput 10:145-155. The share that is kept is chosen anew in every
step, as in the trimmed iterative closest point algorithm: Chetverikov D et al. 2002 ICPR 3:545-548, which minimises
mean square / share^(1 + 2). Partners on a border are dropped: Turk G, Levoy M 1994 SIGGRAPH 311-318. (From memory.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array, BoolArray, IntArray
from mesh_tools.registration.motion import orthonormal, turned
from mesh_tools.registration.samples import Samples

SHARE_POWER = 1.5
"""Root of Chetverikov's exponent 3: score = rms / share^1.5."""
NOISE_FLOOR_MM = 0.02
"""Below this a smaller residual is no better fit: the chord error of a fine mesh."""
LEAST_SHARE = 0.08
_COSINE = 0.5


@dataclass(frozen=True, eq=False)
class Poses:
    """Rotations (s, 3, 3) and shifts (s, 3) mm of several starts."""

    rotations: Array
    shifts_mm: Array

    def chosen(self, index: IntArray) -> Poses:
        """Those of ``index``."""
        return Poses(self.rotations[index], self.shifts_mm[index])

    def applied(self, points: Array) -> Array:
        """Points (s, n, 3)."""
        return np.asarray(points @ np.swapaxes(self.rotations, 1, 2) + self.shifts_mm[:, None])


@dataclass(frozen=True, eq=False)
class Pairing:
    """Nearest partners of the moved samples: targets and normals (s, n, 3), errors and weights (s, n), scores (s,)."""

    moved_mm: Array
    gap_mm: Array
    normals: Array
    kept: BoolArray
    share: Array
    rms_mm: Array

    @property
    def score(self) -> Array:
        """Score (s,), mm; the smaller the better."""
        return np.asarray(np.hypot(self.rms_mm, NOISE_FLOOR_MM) / np.maximum(self.share, 1e-9) ** SHARE_POWER)


def paired(poses: Poses, moving: Samples, fixed: Samples, *, gate_mm: float) -> Pairing:
    """Partners of every start's samples, none farther than ``gate_mm``, trimmed to the best share."""
    moved = poses.applied(moving.points_mm)
    count, n = moved.shape[:2]
    distance, index = fixed.tree.query(moved.reshape(-1, 3), distance_upper_bound=gate_mm)
    found = index < len(fixed.points_mm)
    index = np.where(found, index, 0)
    normals = fixed.normals[index].reshape(count, n, 3)
    gap = np.einsum("snk,snk->sn", moved - fixed.points_mm[index].reshape(count, n, 3), normals)
    own = moving.normals @ np.swapaxes(poses.rotations, 1, 2)
    agree = np.einsum("snk,snk->sn", own, normals) > _COSINE
    usable = (found & ~fixed.at_border[index]).reshape(count, n) & agree
    error = np.where(usable, np.maximum(np.abs(gap), distance.reshape(count, n) - fixed.spacing_mm), np.inf)
    kept, share, rms = _trimmed(error)
    return Pairing(moved, gap, normals, kept, share, rms)


def _trimmed(error: Array) -> tuple[BoolArray, Array, Array]:
    """The share of smallest errors (s, n) that minimises the score: which, how large, its rms."""
    n = error.shape[1]
    order = np.sort(error, axis=1)
    finite = np.isfinite(order)
    mean = np.cumsum(np.where(finite, order, 0.0) ** 2, axis=1) / np.arange(1, n + 1)
    share = np.arange(1, n + 1) / n
    score = np.where(finite, (mean + NOISE_FLOOR_MM**2) / share ** (2.0 * SHARE_POWER), np.inf)
    score[:, : max(6, int(LEAST_SHARE * n)) - 1] = np.inf
    best = np.argmin(score, axis=1)
    rows = np.arange(len(error))
    none = ~np.isfinite(score[rows, best])
    limit = np.where(none, -1.0, order[rows, best])
    kept = error <= limit[:, None]
    return (
        kept,
        np.where(none, 0.0, share[best]),
        np.where(none, np.inf, np.sqrt(mean[rows, best])),
    )


def stepped(poses: Poses, pairing: Pairing) -> Poses:
    """One Gauss-Newton step of every start; a start with no pairs stays."""
    normal, middle, radius = normal_matrix(pairing)
    rows, weight = _rows(pairing, middle, radius)
    right = -np.einsum("sni,sn->si", rows, weight * pairing.gap_mm) / _total(weight)[:, None]
    change = np.linalg.solve(normal + 1e-9 * np.eye(6), right[..., None])[..., 0]
    turn = turned(change[:, :3] / radius[:, None])
    shifts = np.einsum("sij,sj->si", turn, poses.shifts_mm - middle) + middle + change[:, 3:]
    return Poses(orthonormal(turn @ poses.rotations), shifts)


def normal_matrix(pairing: Pairing) -> tuple[Array, Array, Array]:
    """Mean normal matrices (s, 6, 6) about the kept samples' middles (s, 3), and their radii of gyration (s,).

    Unknowns: small turn times the radius, then shift, both mm.
    """
    weight = pairing.kept.astype(np.float64)
    total = _total(weight)
    middle = np.einsum("sn,snk->sk", weight, pairing.moved_mm) / total[:, None]
    arm = pairing.moved_mm - middle[:, None]
    radius = np.sqrt(np.maximum(np.einsum("sn,snk,snk->s", weight, arm, arm) / total, 1e-12))
    rows, _ = _rows(pairing, middle, radius)
    normal = np.asarray(np.swapaxes(rows * weight[..., None], 1, 2) @ rows / total[:, None, None])
    return normal, middle, radius


def _rows(pairing: Pairing, middle: Array, radius: Array) -> tuple[Array, Array]:
    arm = (pairing.moved_mm - middle[:, None]) / radius[:, None, None]
    rows = np.concatenate([np.cross(arm, pairing.normals), pairing.normals], axis=2)
    return rows, pairing.kept.astype(np.float64)


def _total(weight: Array) -> Array:
    return np.asarray(np.maximum(weight.sum(axis=1), 1.0))
