"""Implicit surfaces: fields that are negative inside, how to blend them, and how to turn one into triangles."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from mesh_tools.arrays import Array, IntArray

Field = Callable[[Array], Array]
"""Points (n, 3) in mm to values (n,): negative inside, about the distance in mm near the surface."""


def smooth_min(a: Array, b: Array, *, blend_mm: float) -> Array:
    """Union of two fields with a fillet of about ``blend_mm``: a quadratic blend, equal to ``min`` off the seam."""
    h = np.maximum(blend_mm - np.abs(a - b), 0.0) / blend_mm
    return np.minimum(a, b) - 0.25 * blend_mm * h * h


def smooth_max(a: Array, b: Array, *, blend_mm: float) -> Array:
    """Intersection of two fields with a rounded edge of about ``blend_mm``."""
    return -smooth_min(-a, -b, blend_mm=blend_mm)


def ramp(x: Array, start: float, stop: float) -> Array:
    """Smooth step of ``x`` from 0 at ``start`` to 1 at ``stop`` (either order)."""
    t = np.clip((x - start) / (stop - start), 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def bump(x: Array, y: Array, *, at: tuple[float, float], size: tuple[float, float]) -> Array:
    """Gaussian hill of height 1 at ``at`` with standard deviations ``size``."""
    return np.asarray(np.exp(-0.5 * (((x - at[0]) / size[0]) ** 2 + ((y - at[1]) / size[1]) ** 2)))


def ellipsoid(p: Array, *, centre: tuple[float, float, float], half: tuple[float, float, float]) -> Array:
    """Field (n,) of an axis-parallel ellipsoid, close to the distance near its surface."""
    q = (p - np.array(centre)) / np.array(half)
    k0 = np.linalg.norm(q, axis=1)
    k1 = np.linalg.norm(q / np.array(half), axis=1)
    return np.asarray(k0 * (k0 - 1.0) / np.maximum(k1, 1e-9))


def capsule(p: Array, a: Array, b: Array, *, radius: float) -> Array:
    """Distance (n,) of points to the rod of ``radius`` with round ends from ``a`` to ``b``."""
    d = b - a
    t = np.clip((p - a) @ d / (d @ d), 0.0, 1.0)
    return np.asarray(np.linalg.norm(p - a - t[:, None] * d, axis=1) - radius)


def meshed(
    field: Field, *, low: tuple[float, float, float], high: tuple[float, float, float], step_mm: float,
    rounds: int = 6,
) -> tuple[Array, IntArray]:  # fmt: skip
    """Points (n, 3) and outward faces (m, 3) of the field's zero surface within the box, on a grid of ``step_mm``.

    Marching cubes (Lewiner et al. 2003, J Graph Tools 8:1), then ``rounds`` of tangential relaxation and
    projection back onto the field, so that the triangles are even and the points lie on the surface.
    """
    from skimage.measure import marching_cubes

    axes = [np.arange(a, b + step_mm, step_mm) for a, b in zip(low, high, strict=True)]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    values = field(grid.reshape(-1, 3)).reshape(grid.shape[:3])
    raw = marching_cubes(values, 0.0, spacing=(step_mm,) * 3, gradient_direction="ascent")  # type: ignore[no-untyped-call]
    points, faces = raw[0], raw[1]
    points, faces = _outward(points.astype(np.float64) + np.array(low), faces.astype(np.int64))
    return relaxed(field, points, faces, rounds=rounds, step_mm=step_mm), faces


def relaxed(field: Field, points: Array, faces: IntArray, *, rounds: int, step_mm: float) -> Array:
    """Points moved to the mean of their neighbours and back to the surface, ``rounds`` times; a border stays."""
    from scipy.sparse import coo_matrix, diags

    edges = np.vstack([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    n = len(points)
    adjacency = coo_matrix((np.ones(len(edges)), (edges[:, 0], edges[:, 1])), shape=(n, n)).tocsr()
    border = np.unique(np.vstack((adjacency - adjacency.T).nonzero())[0])
    adjacency = adjacency + adjacency.T
    mean = diags(1.0 / np.maximum(np.asarray(adjacency.sum(axis=1)).ravel(), 1.0)) @ adjacency
    for _ in range(rounds):
        moved = 0.4 * points + 0.6 * (mean @ points)
        moved[border] = points[border]
        points = projected(field, moved, limit_mm=0.5 * step_mm)
    return points


def projected(field: Field, points: Array, *, limit_mm: float, steps: int = 3) -> Array:
    """Points after ``steps`` Newton steps along the field's gradient, each no longer than ``limit_mm``."""
    for _ in range(steps):
        value, slope = field(points), gradient(field, points)
        step = value[:, None] * slope / np.maximum((slope**2).sum(axis=1), 1e-4)[:, None]
        length = np.linalg.norm(step, axis=1, keepdims=True)
        points = points - step * np.minimum(1.0, limit_mm / np.maximum(length, 1e-12))
    return points


def gradient(field: Field, points: Array, *, h_mm: float = 1e-3) -> Array:
    """Central differences (n, 3) of the field."""
    shifts = h_mm * np.eye(3)
    return np.stack([(field(points + s) - field(points - s)) / (2 * h_mm) for s in shifts], axis=1)


def outermost(field: Field, origins: Array, directions: Array, *, reach_mm: float) -> Array:
    """Last points (n, 3) where rays leave the body: coarse steps inward from ``reach_mm``, then
    bisection; the origin itself where a ray meets nothing."""
    t = np.linspace(reach_mm, 0.0, 121)
    along = origins[:, None, :] + t[None, :, None] * directions[:, None, :]
    inside = field(along.reshape(-1, 3)).reshape(len(origins), -1) < 0
    first = np.where(inside.any(axis=1), np.argmax(inside, axis=1), len(t) - 1)
    inner, outer = t[first], t[np.maximum(first - 1, 0)]
    for _ in range(40):
        middle = 0.5 * (inner + outer)
        is_in = field(origins + middle[:, None] * directions) < 0
        inner, outer = np.where(is_in, middle, inner), np.where(is_in, outer, middle)
    return np.asarray(origins + inner[:, None] * directions)


def _outward(points: Array, faces: IntArray) -> tuple[Array, IntArray]:
    a, b, c = points[faces[:, 0]], points[faces[:, 1]], points[faces[:, 2]]
    if np.einsum("ij,ij->", a, np.cross(b, c)) < 0:
        faces = faces[:, ::-1]
    return points, np.ascontiguousarray(faces)
