"""Many starts when nobody says how two scans lie: turns spread over all turns, places spread over the larger scan.

All starts go through the trimmed iteration at once on few samples, and after every round the worse part is dropped
(successive halving). Turns: the principal axes' four, and the super-Fibonacci spiral, Alexa M 2022 CVPR 8291-8300.
"""

from __future__ import annotations

import numpy as np

from mesh_tools.arrays import Array, IntArray
from mesh_tools.registration.motion import turned
from mesh_tools.registration.samples import Samples
from mesh_tools.registration.trimmed import Poses, paired, stepped

TURNS, PART_PLACES = 96, 160
NEAR_STARTS, NEAR_DEG, NEAR_SHARE = 96, 20.0, 0.5
_PART = 1.6
_COARSE = 2000
# Of each round: steps, samples, and the share of starts that go on.
_WHOLE_ROUNDS = ((6, 120, 0.35), (8, 120, 0.2), (12, 300, 1.0))
_NEAR_ROUNDS = ((8, 200, 0.5), (12, 400, 1.0))
_PART_ROUNDS = ((3, 60, 0.08), (6, 120, 0.15), (8, 300, 0.2), (12, 300, 1.0))
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
    rounds = _PART_ROUNDS if is_part(moving, fixed) else _WHOLE_ROUNDS
    return _halved(poses, moving, fixed, gate_mm=gate, rounds=rounds, keep=keep)


def starts_near(start: Poses, moving: Samples, fixed: Samples, *, keep: int = _FEWEST_LEFT) -> Poses:
    """The most promising poses (up to ``keep``) about the first of ``start``: turned and shifted a little from it."""
    rng = np.random.default_rng(0)
    turns, shifts = (_in_ball(rng, NEAR_STARTS) for _ in range(2))
    rotations = turned(np.radians(NEAR_DEG) * turns)
    middle = start.applied(moving.points_mm)[0].mean(axis=0)
    about = np.einsum("sij,j->si", rotations, start.shifts_mm[0] - middle) + middle
    poses = Poses(rotations @ start.rotations[0], about + NEAR_SHARE * moving.radius_mm * shifts)
    gate = 0.5 * moving.radius_mm
    return _halved(poses, moving, fixed, gate_mm=gate, rounds=_NEAR_ROUNDS, keep=keep)


def _in_ball(rng: np.random.Generator, count: int) -> Array:
    """Vectors (count, 3) spread over the unit ball; the first is 0."""
    ways = rng.normal(size=(count, 3))
    ways *= (rng.random(count) ** (1.0 / 3.0) / np.linalg.norm(ways, axis=1))[:, None]
    ways[0] = 0.0
    return ways


def _halved(
    poses: Poses,
    moving: Samples,
    fixed: Samples,
    *,
    gate_mm: float,
    rounds: tuple[tuple[int, int, float], ...],
    keep: int,
) -> Poses:
    """The best of ``poses`` after ``rounds`` of (steps, samples, share that goes on), none near another."""
    gate = gate_mm
    for k, (steps, count, share) in enumerate(rounds):
        part, whole = moving.first(count), fixed.first(_COARSE) if k == 0 else fixed
        for _ in range(steps):
            poses = stepped(poses, paired(poses, part, whole, gate_mm=gate))
        order = np.argsort(paired(poses, part, whole, gate_mm=gate).score, kind="stable")
        poses = poses.chosen(order[: max(keep, int(share * len(order)))])
        gate *= 0.6
    return poses.chosen(_apart(poses, moving, keep))


def is_part(moving: Samples, fixed: Samples) -> bool:
    """Whether ``moving`` is so much smaller that it could lie in many places of ``fixed``."""
    return fixed.radius_mm > _PART * moving.radius_mm


def _all_starts(moving: Samples, fixed: Samples) -> tuple[Poses, float]:
    """Every turn about the moving scan's middle at every place, and the first gate, mm."""
    middle = moving.points_mm.mean(axis=0)
    turns = np.concatenate([axis_turns(moving, fixed), spread_turns(TURNS)])
    places = (_places_in if is_part(moving, fixed) else _places_about)(fixed, moving.radius_mm)
    rotations = np.repeat(turns, len(places), axis=0)
    shifts = np.tile(places, (len(turns), 1)) - rotations @ middle
    return Poses(rotations, shifts), 0.8 * moving.radius_mm


def _places_about(fixed: Samples, size: float) -> Array:
    """The fixed scan's middle and places (4, 3) a quarter of the way to its far ends."""
    middle = fixed.points_mm.mean(axis=0)
    return np.asarray(middle + 0.25 * (_spread_points(fixed, 4)[0] - middle))


def _places_in(fixed: Samples, size: float) -> Array:
    """Places for the middle of a part, under points spread over the fixed scan."""
    points, normals = _spread_points(fixed, PART_PLACES)
    return points - 0.5 * size * normals


def _spread_points(samples: Samples, count: int) -> tuple[Array, Array]:
    """Farthest points (count, 3), begun at the middle, and their normals; the first is the middle itself."""
    points, normals = samples.points_mm[:_COARSE], samples.normals[:_COARSE]
    middle = points.mean(axis=0)
    far = np.linalg.norm(points - middle, axis=1)
    chosen, ways = [middle], [np.zeros(3)]
    for _ in range(count - 1):
        k = int(np.argmax(far))
        chosen.append(points[k])
        ways.append(normals[k])
        far = np.minimum(far, np.linalg.norm(points - points[k], axis=1))
    return np.array(chosen), np.array(ways)


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
