"""The plane in which a surface is most nearly its own mirror image.

From a coarse search over planes, refined by trimmed point-to-plane iteration of the surface on its own reflection.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from mesh_tools.arrays import Array, frozen, unit

_KEPT = 0.8  # share of the best partners that is believed
_STEPS = 30
_STARTS = 8


@dataclass(frozen=True, eq=False)
class MirrorPlane:
    """Points with ``normal @ p = offset_mm``; ``residual_mm``: trimmed mean distance of the reflection from the tangent
    planes of the surface, ``share``: of the points whose reflection lies within twice the spacing of the samples."""

    normal: Array
    offset_mm: float
    residual_mm: float
    share: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "normal", frozen(self.normal, (3,), name="normal"))

    def reflected(self, points: Array) -> Array:
        """Points (n, 3) mirrored in the plane."""
        return reflected(points, self.normal, self.offset_mm)


def reflected(points: Array, normal: Array, offset: float) -> Array:
    """Points (n, 3) mirrored in the plane ``normal @ p = offset``; ``normal`` is a unit vector."""
    return np.asarray(points - 2.0 * np.outer(points @ normal - offset, normal))


def trimmed_distance(points: Array, tree: cKDTree, normal: Array, offset: float) -> float:
    """Mean distance of the nearest ``_KEPT`` share of mirrored ``points`` from the points of ``tree``."""
    far = np.sort(tree.query(reflected(points, normal, offset))[0])
    return float(far[: max(int(_KEPT * len(far)), 1)].mean())


def best_starts(
    points: Array, tree: cKDTree, normals: Array, *, reach_mm: float, step_mm: float, count: int = _STARTS
) -> list[tuple[Array, float]]:
    """The best ``count`` of planes with ``normals`` (k, 3) and offsets within ``reach_mm`` of the points' middle."""
    middle = points.mean(axis=0)
    offsets = np.arange(-reach_mm, reach_mm + 0.5 * step_mm, step_mm)
    tries = [(n, float(n @ middle) + o) for n in normals for o in offsets]
    scores = [trimmed_distance(points, tree, n, o) for n, o in tries]
    return [tries[i] for i in np.argsort(scores, kind="stable")[:count]]


def best_plane(
    points: Array, normals: Array, starts: list[tuple[Array, float]], *, spacing_mm: float
) -> MirrorPlane:
    """The refined plane, of all ``starts``, whose mirror image lies nearest: a start may slide into a false fit."""
    found = [refined_plane(points, normals, start, spacing_mm=spacing_mm) for start in starts]
    tree = cKDTree(points)
    return min(found, key=lambda plane: trimmed_distance(points, tree, plane.normal, plane.offset_mm))


def refined_plane(
    points: Array, normals: Array, start: tuple[Array, float], *, spacing_mm: float
) -> MirrorPlane:
    """``start`` refined on ``points`` (n, 3) with outward ``normals`` (n, 3)."""
    normal, offset = unit(start[0]), float(start[1])
    tree = cKDTree(points)
    for _ in range(_STEPS):
        normal, new = _stepped(points, normals, tree, normal, offset)
        settled = abs(new - offset) < 1e-4
        offset = new
        if settled:
            break
    image = reflected(points, normal, offset)
    far, at = tree.query(image)
    off = np.sort(np.abs(((image - points[at]) * normals[at]).sum(axis=1)))
    return MirrorPlane(
        normal, offset, float(off[: int(_KEPT * len(off))].mean()), float((far < 2.0 * spacing_mm).mean())
    )


def _stepped(points: Array, normals: Array, tree: cKDTree, n: Array, d: float) -> tuple[Array, float]:
    """One Gauss-Newton step on the distance of mirrored points from the tangent planes of their partners."""
    image = reflected(points, n, d)
    far, at = tree.query(image)
    turned = normals - 2.0 * np.outer(normals @ n, n)
    alike = (turned * normals[at]).sum(axis=1) > 0.5
    keep = alike & (far <= np.quantile(far[alike], _KEPT) if alike.any() else alike)
    p, q, m = points[keep], points[at[keep]], normals[at[keep]]
    s, t = _tangents(n)
    lever = p @ n - d
    columns = [-2.0 * ((m @ e) * lever + (m @ n) * (p @ e)) for e in (s, t)]
    matrix = np.stack([*columns, 2.0 * (m @ n)], axis=1)
    residual = ((image[keep] - q) * m).sum(axis=1)
    step = np.linalg.lstsq(matrix, -residual, rcond=None)[0]
    return unit(n + step[0] * s + step[1] * t), d + float(step[2])


def _tangents(n: Array) -> tuple[Array, Array]:
    helper = np.eye(3)[int(np.abs(n).argmin())]
    s = unit(np.cross(n, helper))
    return s, np.cross(n, s)
