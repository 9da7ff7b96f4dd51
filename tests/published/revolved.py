"""Roots of revolution for the published figures: crest at z = 0, apex at z = h, wound outward."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from mesh_tools.arrays import Array, IntArray


def revolved(
    radius_at: Callable[[Array], Array], heights: Array, *, around: int = 180
) -> tuple[Array, IntArray]:
    """Quadrilaterals between rings at the ``heights``, each split in two; those without area are left out."""
    turn = np.linspace(0.0, 2.0 * np.pi, around + 1)[:-1]
    r = np.asarray(radius_at(heights))[:, None]
    grid = np.stack([r * np.cos(turn), r * np.sin(turn), heights[:, None] + 0.0 * turn], axis=-1)
    corner = np.arange(grid.shape[0] * around).reshape(-1, around)
    a, d = corner[:-1], corner[1:]
    b, c = np.roll(a, -1, axis=1), np.roll(d, -1, axis=1)
    faces = np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])
    points = grid.reshape(-1, 3)
    p, q, s = (points[faces[:, i]] for i in range(3))
    return points, faces[np.linalg.norm(np.cross(q - p, s - p), axis=1) > 1e-12]


def power_root(*, radius: float, height: float, power: float, rings: int = 160) -> tuple[Array, IntArray]:
    """r = R (1 - z/h)^power, rings closer together towards the apex."""
    heights = height * (1.0 - np.linspace(1.0, 0.0, rings + 1) ** 2)
    return revolved(lambda z: radius * np.maximum(1.0 - z / height, 0.0) ** power, heights)
