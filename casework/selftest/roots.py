"""Roots of revolution for the self-test: crest at z = 0, apex at z = h, wound outward."""

from __future__ import annotations

import numpy as np

from mesh_tools.arrays import Array, IntArray


def power_root(
    *, radius_mm: float, height_mm: float, power: float, rings: int = 120, around: int = 120
) -> tuple[Array, IntArray]:
    """Points (n, 3) and faces (m, 3) of r = R (1 - z/h)^power, rings closer together towards the apex.

    The last ring stops a hair below the apex, so that every face has an area; a cylinder (power 0) stays open there.
    """
    even = np.linspace(0.0, 1.0, rings + 1)
    heights = height_mm * (even if power == 0.0 else 1.0 - np.linspace(1.0, 1e-3, rings + 1) ** 2)
    r = radius_mm * np.maximum(1.0 - heights / height_mm, 0.0) ** power
    turn = np.linspace(0.0, 2.0 * np.pi, around, endpoint=False)
    grid = np.stack(
        [r[:, None] * np.cos(turn), r[:, None] * np.sin(turn), heights[:, None] + 0.0 * turn], axis=-1
    )
    corner = np.arange(len(heights) * around).reshape(-1, around)
    a, d = corner[:-1], corner[1:]
    b, c = np.roll(a, -1, axis=1), np.roll(d, -1, axis=1)
    faces = np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])
    return grid.reshape(-1, 3), faces
