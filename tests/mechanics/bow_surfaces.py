"""Surfaces of a bow as a scanner would see them."""

from __future__ import annotations

import numpy as np

from mechanics.bow.wire import BowWire, WirePart
from mesh_tools.arrays import Array, IntArray
from mesh_tools.surface import Surface

AROUND = 14


def swept(part: WirePart) -> tuple[Array, IntArray]:
    """Closed tube around a wire: rings of 14 points on its surface, capped."""
    p, n, k = part.points_mm, len(part.points_mm), AROUND
    t = np.gradient(p, axis=0)
    u = np.cross(t, [0.0, 0.0, 1.0])
    u /= np.linalg.norm(u, axis=1)[:, None]
    v = np.cross(u, t / np.linalg.norm(t, axis=1)[:, None])
    a = np.arange(k)[None, :, None] * 2.0 * np.pi / k
    ring = p[:, None] + 0.5 * part.diameter_mm[:, None, None] * (
        np.cos(a) * u[:, None] + np.sin(a) * v[:, None]
    )
    i = np.arange(n * k).reshape(n, k)
    j = np.roll(i, -1, axis=1)
    walls = [np.stack(q, -1).reshape(-1, 3) for q in ((i[:-1], j[:-1], i[1:]), (j[:-1], j[1:], i[1:]))]
    caps = [
        np.stack([j[0], i[0], np.full(k, n * k)], -1),
        np.stack([i[-1], j[-1], np.full(k, n * k + 1)], -1),
    ]
    return np.vstack([ring.reshape(-1, 3), p[[0, -1]]]), np.concatenate(walls + caps)


def two_shells(bow: BowWire) -> Surface:
    """Both wires, each closed for itself."""
    (a, f), (b, g) = swept(bow.inner), swept(bow.outer)
    return Surface(np.vstack([a, b]), np.vstack([f, g + len(a)]))
