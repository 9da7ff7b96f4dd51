"""Many starts when nobody says how two scans lie: turns spread over all turns, places spread over the larger scan.

All starts go through the trimmed iteration at once on few samples, and after every round the worse part is dropped
(successive halving). Turns: the principal axes' four, and the super-Fibonacci spiral, Alexa M 2022 CVPR 8291-8300.
"""

from __future__ import annotations

import numpy as np

from mesh_tools.arrays import Array, IntArray
from mesh_tools.registration.samples import Samples
from mesh_tools.registration.trimmed import Poses, paired, stepped

TURNS, MOST_PLACES = 96, 24
_BATCH_SAMPLES, _SHARPER_SAMPLES = 120, 300
_ROUNDS = ((6, 0.35), (8, 0.2), (12, 0.2))
_FEWEST_LEFT = 6
_PHI, _PSI = 1.4142135623730951, 1.533751168755204288118041


def spread_turns(count: int) -> Array:
    """Rotations (count, 3, 3) spread evenly over all turns."""
    s = np.arange(count) + 0.5
    t = s / count
    d = 2.0 * np.pi * s
    r, rr = np.sqrt(t), np.sqrt(1.0 - t)
    alpha, beta = d / _PHI, d / _PSI
    x, y, z, w = r * np.sin(alpha), r * np.cos(alpha), rr * np.sin(beta), rr * np.cos(beta)
    rows = [
        1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w),
        2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w),
        2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y),
    ]  # fmt: skip
    return np.stack(rows, axis=1).reshape(-1, 3, 3)


def axis_turns(moving: Samples, fixed: Samples) -> Array:
    """The four turns (4, 3, 3) that lay principal axes on principal axes."""
    frames = []
    for samples in (moving, fixed):
        axes = np.linalg.svd(samples.points_mm - samples.points_mm.mean(axis=0), full_matrices=False)[2]
        axes[2] *= np.sign(np.linalg.det(axes))
        frames.append(axes)
    flips = np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]], dtype=np.float64)
    return np.asarray((frames[1].T * flips[:, None, :]) @ frames[0])


def best_starts(moving: Samples, fixed: Samples, *, keep: int = _FEWEST_LEFT) -> Poses:
    """The most promising poses (up to ``keep``) of ``moving`` on ``fixed``, best first, none near another.

    ``moving`` is the smaller scan; the larger it is beside ``fixed``, the fewer places it could lie.
    """
    poses, gate = _all_starts(moving, fixed)
    for steps, share in _ROUNDS:
        part = moving.first(_BATCH_SAMPLES if len(poses.rotations) > 200 else _SHARPER_SAMPLES)
        for _ in range(steps):
            poses = stepped(poses, paired(poses, part, fixed, gate_mm=gate))
        order = np.argsort(paired(poses, part, fixed, gate_mm=gate).score, kind="stable")
        poses = poses.chosen(order[: max(keep, int(share * len(order)))])
        gate *= 0.6
    return poses.chosen(_apart(poses, moving, keep))


def _all_starts(moving: Samples, fixed: Samples) -> tuple[Poses, float]:
    """Every turn about the moving scan's middle at every place, and the first gate, mm."""
    middle = moving.points_mm.mean(axis=0)
    turns = np.concatenate([axis_turns(moving, fixed), spread_turns(TURNS)])
    size, whole = moving.radius_mm, fixed.radius_mm
    places = _places(fixed, size, whole)
    rotations = np.repeat(turns, len(places), axis=0)
    shifts = np.tile(places, (len(turns), 1)) - rotations @ middle
    return Poses(rotations, shifts), 0.8 * size


def _places(fixed: Samples, size: float, whole: float) -> Array:
    """Places (k, 3) for the moving scan's middle: the fixed scan's own, and points spread over it, farthest first."""
    points = fixed.points_mm[:2000]
    middle = points.mean(axis=0)
    count = int(np.clip(3.0 * (whole / size) ** 2, 4, MOST_PLACES))
    chosen = [middle]
    far = np.linalg.norm(points - middle, axis=1)
    for _ in range(count - 1):
        chosen.append(points[int(np.argmax(far))])
        far = np.minimum(far, np.linalg.norm(points - chosen[-1], axis=1))
    inward = 0.25 if whole < 1.6 * size else 1.0
    return np.asarray(middle + inward * (np.array(chosen) - middle))


def _apart(poses: Poses, moving: Samples, keep: int) -> IntArray:
    """Indices of poses that differ by more than a few percent of the scan's size, best first."""
    placed = poses.applied(moving.points_mm[:60])
    limit, chosen = 0.1 * moving.radius_mm, [0]
    for k in range(1, len(placed)):
        gaps = np.linalg.norm(placed[chosen] - placed[k], axis=2).mean(axis=1)
        if gaps.min() > limit:
            chosen.append(k)
        if len(chosen) == keep:
            break
    return np.array(chosen)
