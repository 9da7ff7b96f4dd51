"""Shapes for drawing: tubes around polylines and small glyphs, as points (n, 3) and faces (m, 3)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array, IntArray, unit
from viewer.palette import Glyph

_AROUND = 12


def tube_shape(points_mm: Array, *, radius_mm: ArrayLike, around: int = _AROUND) -> tuple[Array, IntArray]:
    """A closed tube of ``radius_mm`` (one, or one a station) around the polyline ``points_mm`` (n, 3)."""
    points = np.asarray(points_mm, dtype=np.float64)
    radius = np.broadcast_to(np.asarray(radius_mm, dtype=np.float64), (len(points),))
    one, other = _frames(points)
    turn = np.linspace(0.0, 2.0 * np.pi, around, endpoint=False)
    ring = np.cos(turn)[None, :, None] * one[:, None] + np.sin(turn)[None, :, None] * other[:, None]
    wall = points[:, None] + radius[:, None, None] * ring
    everything = np.concatenate([wall.reshape(-1, 3), points[[0, -1]]])
    return everything, np.concatenate([_wall_faces(len(points), around), _cap_faces(len(points), around)])


def dashes(points: Array, *, dash_mm: float) -> list[Array]:
    """Pieces (k, 3) of a polyline (n, 3): dashes of ``dash_mm`` with gaps of 0.7 of that."""
    s = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    starts = np.arange(0.0, s[-1], 1.7 * dash_mm)
    pieces = []
    for start in starts:
        end = min(start + dash_mm, s[-1])
        at = np.concatenate([[start], s[(s > start) & (s < end)], [end]])
        if end - start > 1e-6:
            pieces.append(np.stack([np.interp(at, s, points[:, k]) for k in range(3)], axis=-1))
    return pieces


def dashed_tube(points_mm: Array, *, radius_mm: float, dash_mm: float) -> tuple[Array, IntArray]:
    """Tubes around the dashes of the polyline ``points_mm`` (n, 3), as one surface."""
    parts = [tube_shape(piece, radius_mm=radius_mm) for piece in dashes(points_mm, dash_mm=dash_mm)]
    starts = np.cumsum([0, *(len(points) for points, _ in parts[:-1])])
    faces = [faces + start for (_, faces), start in zip(parts, starts, strict=True)]
    return np.concatenate([points for points, _ in parts]), np.concatenate(faces)


def _frames(points: Array) -> tuple[Array, Array]:
    """Two unit normals (n, 3) at each station that turn as little as possible along the polyline."""
    tangents = np.gradient(points, axis=0)
    tangents /= np.maximum(np.linalg.norm(tangents, axis=1, keepdims=True), 1e-12)
    one = np.empty_like(points)
    seed = np.eye(3)[int(np.argmin(np.abs(tangents[0])))]
    for k, t in enumerate(tangents):
        seed = unit(seed - (seed @ t) * t, name="tube frame")
        one[k] = seed
    return one, np.cross(tangents, one)


def _wall_faces(n: int, around: int) -> IntArray:
    k = np.arange(n - 1)[:, None] * around
    j = np.arange(around)[None, :]
    a, b = k + j, k + (j + 1) % around
    quads = np.stack([a, b, b + around, a + around], axis=-1).reshape(-1, 4)
    return np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])


def _cap_faces(n: int, around: int) -> IntArray:
    j = np.arange(around)
    after = (j + 1) % around
    first, last = n * around, n * around + 1
    near = np.stack([np.full(around, first), after, j], axis=-1)
    far = np.stack([np.full(around, last), j + (n - 1) * around, after + (n - 1) * around], axis=-1)
    return np.concatenate([near, far])


def glyph_shape(glyph: Glyph, *, size_mm: float, facing: Array) -> tuple[Array, IntArray]:
    """The glyph about the origin, ``size_mm`` across; rings face along ``facing`` (3,)."""
    if glyph == "ring":
        return ring_shape(0.5 * size_mm, wire_mm=0.13 * size_mm, normal=facing)
    points, faces = _solid(glyph)
    return points * (0.5 * size_mm), faces


def ring_shape(radius_mm: float, *, wire_mm: float, normal: Array) -> tuple[Array, IntArray]:
    """A torus about the origin square to ``normal`` (3,)."""
    n = unit(normal, name="ring normal")
    one = unit(np.cross(n, np.eye(3)[int(np.argmin(np.abs(n)))]), name="ring axis")
    turn = np.linspace(0.0, 2.0 * np.pi, 49)
    circle = np.cos(turn)[:, None] * one + np.sin(turn)[:, None] * np.cross(n, one)
    return tube_shape(radius_mm * circle, radius_mm=0.5 * wire_mm, around=10)


def _sphere() -> tuple[Array, IntArray]:
    height = np.linspace(-1.0, 1.0, 13)
    spine = np.stack([0.0 * height, 0.0 * height, np.sin(0.5 * np.pi * height)], axis=-1)
    return tube_shape(spine, radius_mm=np.cos(0.5 * np.pi * height), around=18)


def _cube() -> tuple[Array, IntArray]:
    return _box(np.array([0.8, 0.8, 0.8]))


def _box(half: Array) -> tuple[Array, IntArray]:
    corners = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], dtype=np.float64)
    quads = np.array([[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]])
    return corners * half, np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])


def _cross() -> tuple[Array, IntArray]:
    arms = [_box(np.roll([1.3, 0.3, 0.3], k)) for k in range(3)]
    faces = np.concatenate([faces + 8 * k for k, (_, faces) in enumerate(arms)])
    return np.concatenate([points for points, _ in arms]), faces


def _diamond() -> tuple[Array, IntArray]:
    points = 1.25 * np.concatenate([np.eye(3), -np.eye(3)])
    faces = np.array([[0, 1, 2], [1, 3, 2], [3, 4, 2], [4, 0, 2], [1, 0, 5], [3, 1, 5], [4, 3, 5], [0, 4, 5]])
    return points, faces


def _cone(tip: float) -> tuple[Array, IntArray]:
    return tube_shape(
        np.array([[0.0, 0.0, -tip], [0.0, 0.0, tip]]), radius_mm=np.array([1.1, 0.01]), around=20
    )


def _solid(glyph: Glyph) -> tuple[Array, IntArray]:
    match glyph:
        case "cube":
            return _cube()
        case "diamond":
            return _diamond()
        case "cross":
            return _cross()
        case "up" | "down":
            return _cone(1.0 if glyph == "up" else -1.0)
        case _:
            return _sphere()
