"""Roots of revolution and an irregular root, wound outward, crest at z = 0 and apex towards +z."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from mesh_tools.arrays import Array, IntArray

Root = tuple[Array, IntArray]


def of_revolution(
    radius_at: Callable[[Array], Array], heights: Array, *, around: int, closed: bool = True
) -> Root:
    """Rings of radius ``radius_at`` (z) at the ``heights``; ``closed`` makes the last one a single apex."""
    angle = 2.0 * np.pi * np.arange(around) / around
    rings = heights[:-1] if closed else heights
    r = radius_at(rings)[:, None]
    points = np.stack(
        [r * np.cos(angle), r * np.sin(angle), np.broadcast_to(rings[:, None], (len(rings), around))], axis=-1
    ).reshape(-1, 3)
    k, j = np.meshgrid(np.arange(len(rings) - 1), np.arange(around), indexing="ij")
    a, b = k * around + j, k * around + (j + 1) % around
    faces = np.stack(
        [np.stack([a, b, b + around], -1), np.stack([a, b + around, a + around], -1)], axis=2
    ).reshape(-1, 3)
    if not closed:
        return points, faces
    last, j = (len(rings) - 1) * around, np.arange(around)
    cap = np.stack([last + j, last + (j + 1) % around, np.full(around, len(points))], axis=1)
    return np.concatenate([points, [[0.0, 0.0, heights[-1]]]]), np.concatenate([faces, cap])


def cylinder(*, radius: float = 3.0, height: float = 12.0, around: int = 96, along: int = 48) -> Root:
    """Side of a cylinder."""
    heights = np.linspace(0.0, height, along + 1)
    return of_revolution(lambda z: np.full_like(z, radius), heights, around=around, closed=False)


def cone(*, radius: float = 3.0, height: float = 13.0, around: int = 96, along: int = 48) -> Root:
    """Side of a cone, apex up."""
    return of_revolution(
        lambda z: radius * (1.0 - z / height), np.linspace(0.0, height, along + 1), around=around
    )


def paraboloid(*, radius: float = 4.0, height: float = 13.0, around: int = 48, along: int = 32) -> Root:
    """r = R sqrt(1 - z/h), rings evenly spaced in radius towards the apex."""
    heights = height * (1.0 - np.linspace(1.0, 0.0, along + 1) ** 2)
    return of_revolution(
        lambda z: radius * np.sqrt(np.maximum(1.0 - z / height, 0.0)), heights, around=around
    )


def irregular(seed: int = 0, *, around: int = 24, along: int = 14) -> Root:
    """A bent, flattened, twisted paraboloid without any symmetry."""
    points, faces = paraboloid(around=around, along=along)
    rng = np.random.default_rng(seed)
    x, y, z = points.T
    a = rng.uniform(-0.3, 0.3, 6)
    moved = np.stack(
        [
            x * (1.3 + a[0]) + 0.03 * a[1] * z**2 + a[2] * y,
            y * (0.9 + a[3]) + 0.04 * a[4] * z**2 + 0.5,
            z + 0.3 * a[5] * x + 0.1 * y,
        ],
        axis=1,
    )
    return moved, faces


def spring_bed(seed: int = 0) -> Array:
    """Foundation stiffness (6, 6) of an irregular root, k_n/k_t = 3.5."""
    from mechanics.ligament.foundation import foundation_stiffness

    return foundation_stiffness(*irregular(seed), k_normal=3.5, k_shear=1.0)
