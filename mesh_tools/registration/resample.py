"""How sure a fit is: the fit repeated on resampled patches of the surface.

Neighbouring points err together, so whole patches are drawn with replacement (block bootstrap: Kuensch HR 1989 Ann
Stat 17:1217-1241, from memory) and the linearised fit is solved anew for each draw, all at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array, IntArray
from mesh_tools.errors import BadValueError
from mesh_tools.registration.motion import RigidMotion
from mesh_tools.registration.samples import Samples
from mesh_tools.registration.trimmed import Poses, paired

LEAST_PATCHES = 12


@dataclass(frozen=True, eq=False)
class FitDraws:
    """Small motions by which the fit errs: turns (d, 3) rad and shifts (d, 3) mm of the point ``about_mm`` (3,).

    ``rms_mm`` of the pairs kept and their number of ``patches``.
    """

    turns: Array
    shifts_mm: Array
    about_mm: Array
    rms_mm: float
    patches: int

    def at(self, point_mm: Array) -> Array:
        """Shifts (d, 3) of another point."""
        return np.asarray(self.shifts_mm + np.cross(self.turns, np.asarray(point_mm) - self.about_mm))


def fit_draws(
    motion: RigidMotion,
    moving: Samples,
    fixed: Samples,
    *,
    gate_mm: float,
    patch_mm: float = 2.5,
    draws: int = 500,
    seed: int = 0,
) -> FitDraws:
    """Draws of the fit's error at ``motion``, which lays ``moving`` on ``fixed``; about the middle of the pairs kept.

    Raises BadValueError when the pairs kept make fewer than a dozen patches.
    """
    pairs = paired(Poses(motion.rotation[None], motion.shift_mm[None]), moving, fixed, gate_mm=gate_mm)
    kept = pairs.kept[0]
    points, normals, gap = pairs.moved_mm[0][kept], pairs.normals[0][kept], pairs.gap_mm[0][kept]
    patch, count = _patches(points, patch_mm)
    if count < LEAST_PATCHES:
        raise BadValueError(
            f"only {count} patches of {patch_mm:g} mm agree, fewer than {LEAST_PATCHES}: too little surface to tell "
            "how sure the fit is; choose a larger region."
        )
    about = points.mean(axis=0)
    rows = np.concatenate([np.cross(points - about, normals), normals], axis=1)
    squares, rights = np.zeros((count, 6, 6)), np.zeros((count, 6))
    np.add.at(squares, patch, rows[:, :, None] * rows[:, None, :])
    np.add.at(rights, patch, -rows * gap[:, None])
    times = np.random.default_rng(seed).multinomial(count, np.full(count, 1.0 / count), size=draws)
    total = np.einsum("dk,kij->dij", times, squares) + 1e-9 * np.eye(6)
    found = np.linalg.solve(total, (times @ rights)[..., None])[..., 0]
    return FitDraws(found[:, :3], found[:, 3:], about, float(np.sqrt(np.mean(gap**2))), count)


def _patches(points: Array, size_mm: float) -> tuple[IntArray, int]:
    """Which cell of a grid each of ``points`` (n, 3) lies in, numbered from 0, and how many there are."""
    cells = np.floor(points / size_mm).astype(np.int64)
    _, index = np.unique(cells, axis=0, return_inverse=True)
    flat = np.asarray(index).reshape(-1)
    return flat.astype(np.int64), int(flat.max(initial=-1)) + 1
