"""Rigid fit of landmark pairs, with the checks that tell slips of the hand from a good set.

Least squares by the singular value decomposition: Arun KS, Huang TS, Blostein SD 1987 IEEE Trans Pattern Anal Mach
Intell 9:698-700; the determinant's sign and the scale: Umeyama S 1991 ibid. 13:376-380.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array, frozen
from mesh_tools.registration.errors import LandmarkPairError, MirroredDataError
from mesh_tools.registration.motion import RigidMotion
from mesh_tools.registration.size import check_scale

FEWEST_PAIRS = 3
LANDMARK_LIMIT_MM = 3.0
"""Largest residual of one landmark: picking on a screen scatters by about 0.5-1.5 mm (common practice, no source)."""
_LINE_SHARE = 0.05
_MIRROR_GAIN, _MIRROR_DEPTH_SHARE = 3.0, 0.10


@dataclass(frozen=True, eq=False)
class LandmarkFit:
    """The motion that carries moving landmarks onto fixed ones, and what it leaves (n,) of each pair, mm."""

    motion: RigidMotion
    residuals_mm: Array
    scale: float
    """Size of the fixed set over the moving one; 1 when both are in one unit."""

    @property
    def rms_mm(self) -> float:
        """Root mean square residual."""
        return float(np.sqrt(np.mean(self.residuals_mm**2)))


def rigid_fit(moving_mm: ArrayLike, fixed_mm: ArrayLike) -> RigidMotion:
    """Least-squares motion carrying ``moving_mm`` (n, 3) onto ``fixed_mm`` (n, 3); no check of the points."""
    return _fit(np.asarray(moving_mm, dtype=np.float64), np.asarray(fixed_mm, dtype=np.float64))


def landmark_fit(
    moving_mm: ArrayLike, fixed_mm: ArrayLike, *, limit_mm: float = LANDMARK_LIMIT_MM
) -> LandmarkFit:
    """Fit of three or more landmark pairs (n, 3), mm, checked.

    Raises LandmarkPairError for fewer than three pairs, pairs on one line, or a pair that contradicts the others by
    more than ``limit_mm`` (the text names it, or the two that look exchanged); UnitMismatchError when the sets
    differ in size by a ratio of units; MirroredDataError when they fit clearly better as mirror images.
    """
    moving, fixed = _checked(moving_mm, fixed_mm)
    scale = float(_spread(fixed) / _spread(moving))
    motion = _fit(moving, fixed)
    found = LandmarkFit(motion, _residuals(motion.rotation, moving, fixed), scale)
    if found.residuals_mm.max() <= limit_mm:
        return found
    check_scale(scale, what="the landmarks")
    _check_mirrored(moving, fixed, found, limit_mm)
    raise LandmarkPairError(_contradiction(moving, fixed, found, limit_mm))


def _fit(moving: Array, fixed: Array) -> RigidMotion:
    rotation = _rotation(moving, fixed, sign=1.0)
    return RigidMotion(rotation, fixed.mean(axis=0) - rotation @ moving.mean(axis=0))


def _rotation(moving: Array, fixed: Array, *, sign: float) -> Array:
    """Orthogonal matrix of determinant ``sign`` that best turns the centred moving set onto the fixed one."""
    u, _, vt = np.linalg.svd((fixed - fixed.mean(axis=0)).T @ (moving - moving.mean(axis=0)))
    u[:, 2] *= sign * np.sign(np.linalg.det(u) * np.linalg.det(vt))
    return np.asarray(u @ vt)


def _residuals(turn: Array, moving: Array, fixed: Array) -> Array:
    gap = (moving - moving.mean(axis=0)) @ turn.T - (fixed - fixed.mean(axis=0))
    return np.asarray(np.linalg.norm(gap, axis=1))


def _spread(points: Array) -> float:
    return float(np.sqrt(np.mean(np.sum((points - points.mean(axis=0)) ** 2, axis=1))))


def _checked(moving_mm: ArrayLike, fixed_mm: ArrayLike) -> tuple[Array, Array]:
    moving = frozen(moving_mm, (None, 3), name="moving landmarks")
    fixed = frozen(fixed_mm, (None, 3), name="fixed landmarks")
    if len(moving) != len(fixed) or len(moving) < FEWEST_PAIRS:
        raise LandmarkPairError(
            f"landmark pairs must be three or more, one moving to one fixed point; got {len(moving)} moving and "
            f"{len(fixed)} fixed."
        )
    for points, name in ((moving, "moving"), (fixed, "fixed")):
        wide = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
        if wide[1] <= _LINE_SHARE * wide[0] or wide[0] == 0.0:
            raise LandmarkPairError(
                f"the {name} landmarks lie on one line (within {wide[1]:.2g} mm of it), so the turn about that line is "
                "free; add a landmark well off the line."
            )
    return moving, fixed


def _check_mirrored(moving: Array, fixed: Array, found: LandmarkFit, limit_mm: float) -> None:
    """Refuse sets that a reflection fits clearly better; flat sets fit either way and tell nothing."""
    wide = np.linalg.svd(moving - moving.mean(axis=0), compute_uv=False)
    if len(moving) <= FEWEST_PAIRS or wide[2] < _MIRROR_DEPTH_SHARE * wide[0]:
        return
    mirrored = _residuals(_rotation(moving, fixed, sign=-1.0), moving, fixed)
    if mirrored.max() <= limit_mm and _MIRROR_GAIN * np.sqrt(np.mean(mirrored**2)) < found.rms_mm:
        raise MirroredDataError(
            f"the landmarks fit as mirror images (rms {np.sqrt(np.mean(mirrored**2)):.2f} mm) but not as they are "
            f"({found.rms_mm:.2f} mm): one scan is mirrored, or right and left were exchanged; check the axes codes."
        )


def _contradiction(moving: Array, fixed: Array, found: LandmarkFit, limit_mm: float) -> str:
    """Names the pair, or the two exchanged pairs, whose removal or exchange makes the rest agree."""
    rule = f"residuals may be at most {limit_mm:g} mm; got {found.residuals_mm.max():.1f} mm"
    for i, j in combinations(range(len(moving)), 2):
        order = np.arange(len(moving))
        order[[i, j]] = j, i
        if _residuals(_fit(moving, fixed[order]).rotation, moving, fixed[order]).max() <= limit_mm:
            return f"landmark pairs {i + 1} and {j + 1} look exchanged: {rule}."
    if len(moving) > FEWEST_PAIRS:
        rests = [_without(moving, fixed, k) for k in range(len(moving))]
        worst = int(np.argmin(rests))
        if rests[worst] <= limit_mm:
            return (
                f"landmark pair {worst + 1} contradicts the others, which agree to {rests[worst]:.1f} mm without it: "
                f"{rule}; pick it again."
            )
    worst = int(np.argmax(found.residuals_mm))
    return f"the landmark pairs contradict each other: {rule} at pair {worst + 1}; pick them again."


def _without(moving: Array, fixed: Array, k: int) -> float:
    rest_moving, rest_fixed = np.delete(moving, k, axis=0), np.delete(fixed, k, axis=0)
    return float(_residuals(_fit(rest_moving, rest_fixed).rotation, rest_moving, rest_fixed).max())
