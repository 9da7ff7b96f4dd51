"""Simple open surfaces for the ligament's finite elements, wound outward."""

from __future__ import annotations

import numpy as np

from mesh_tools.arrays import Array, IntArray


def tube_faces(around: int, rings: int) -> IntArray:
    """Faces of a tube of rings of ``around`` points each, outward for rings that rise counter-clockwise."""
    k, j = np.meshgrid(np.arange(rings - 1), np.arange(around), indexing="ij")
    a, b = k * around + j, k * around + (j + 1) % around
    c, d = a + around, b + around
    return np.stack([np.stack([a, b, d], -1), np.stack([a, d, c], -1)], axis=2).reshape(-1, 3)


def cylinder(*, radius: float, height: float, around: int, along: int) -> tuple[Array, IntArray]:
    """Open cylinder about z from z = 0."""
    angle = 2.0 * np.pi * np.arange(around) / around
    ring = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
    height_of = np.repeat(np.linspace(0.0, height, along + 1), around)
    return np.column_stack([np.tile(ring, (along + 1, 1)), height_of]), tube_faces(around, along + 1)


def paraboloid(*, radius: float, height: float, around: int, along: int) -> tuple[Array, IntArray]:
    """r = R sqrt(1 - z/h): crest at z = 0, apex at z = h; rings evenly spaced along the meridian."""
    share = np.linspace(0.0, 1.0, 4001)
    meridian = np.column_stack([radius * share, height * (1.0 - share**2)])
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(meridian, axis=0), axis=1))])
    s = np.interp(np.linspace(length[-1], 0.0, along + 1)[:-1], length, share)
    angle = 2.0 * np.pi * np.arange(around) / around
    r, z = radius * s[:, None], height * (1.0 - s[:, None] ** 2)
    rings = np.stack([r * np.cos(angle), r * np.sin(angle), np.broadcast_to(z, (along, around))], axis=-1)
    j = np.arange(around)
    last = (along - 1) * around
    cap = np.stack([last + j, last + (j + 1) % around, np.full(around, along * around)], axis=1)
    points = np.concatenate([rings.reshape(-1, 3), [[0.0, 0.0, height]]])
    return points, np.concatenate([tube_faces(around, along), cap])


def disc(*, radius: float, rings: int) -> tuple[Array, IntArray]:
    """Flat disc, normal +z; ring k has 6 k points."""
    points, faces = [[0.0, 0.0, 0.0]], []
    start = [0]
    for k in range(1, rings + 1):
        start.append(len(points))
        angle = 2.0 * np.pi * np.arange(6 * k) / (6 * k)
        points += [[radius * k / rings * np.cos(a), radius * k / rings * np.sin(a), 0.0] for a in angle]
        for side in range(6):
            for i in range(k):
                out, after = start[k] + side * k + i, start[k] + (side * k + i + 1) % (6 * k)
                into = start[k - 1] + (side * (k - 1) + i) % max(6 * (k - 1), 1)
                faces.append([into, out, after])
                if i < k - 1:
                    faces.append([into, after, start[k - 1] + (side * (k - 1) + i + 1) % (6 * (k - 1))])
    return np.array(points), np.array(faces)


def refined(points: Array, faces: IntArray) -> tuple[Array, IntArray]:
    """Every face cut in four."""
    from mechanics.ligament_fe.nodes import surface_nodes

    nodes = surface_nodes(faces, len(points))
    a, b, c, ab, bc, ca = nodes.triangles.T
    fine = [np.stack(t, axis=1) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))]
    return nodes.with_middles(points), np.concatenate(fine)
