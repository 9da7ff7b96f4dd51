"""The own frame of an upper arch: x to the patient's left, y back, z up, from its shape alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from mesh_tools.arrays import Array, frozen, unit
from mesh_tools.finding.mirror_plane import MirrorPlane, best_plane, best_starts
from mesh_tools.finding.occlusal import SAMPLES, OcclusalPlane, occlusal_plane
from mesh_tools.finding.record import NotFoundError
from mesh_tools.registration.samples import Samples, sampled
from mesh_tools.surface import Surface

_TOOTH_DEPTH_MM = 7.0  # below the occlusal plane: crowns, little gum
_COARSE, _FINE = 350, 3000
_FRONT_HALF_MM = 6.0


@dataclass(frozen=True, eq=False)
class ArchFrame:
    """``axes`` (3, 3): rows left, back, up in the scan's frame; ``origin_mm`` (3,): where the midline of the front
    teeth meets the occlusal plane. ``front_margin``: how clearly front was told from back, 0 to 1."""

    axes: Array
    origin_mm: Array
    plane: OcclusalPlane
    mirror: MirrorPlane
    front_margin: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "axes", frozen(self.axes, (3, 3), name="axes"))
        object.__setattr__(self, "origin_mm", frozen(self.origin_mm, (3,), name="origin_mm"))

    def to_arch(self, points: Array) -> Array:
        """Points (n, 3) of the scan's frame in the arch's: left, back, up."""
        return np.asarray((points - self.origin_mm) @ self.axes.T)

    def to_scan(self, points: Array) -> Array:
        """Points (n, 3) of the arch's frame in the scan's."""
        return np.asarray(points @ self.axes + self.origin_mm)


def arch_frame(surface: Surface) -> ArchFrame:
    """The frame of the upper arch ``surface`` (mm, any axes, normals outward). Raises NotFoundError.

    A lower arch has the same shape: it would be read as an upper one. Its right and left then are exchanged.
    """
    spread = sampled(surface, SAMPLES)
    plane = occlusal_plane(surface, spread)
    teeth = spread.points_mm[plane.depth_mm(spread.points_mm) < _TOOTH_DEPTH_MM]
    mirror = _midline(spread, plane)
    up = -plane.normal
    across = unit(mirror.normal - (mirror.normal @ up) * up)
    back, margin = _backward(teeth, mirror, np.cross(up, across))
    left = np.cross(back, up)
    axes = np.stack([left, back, up])
    return ArchFrame(axes, _origin(teeth, plane, mirror, axes), plane, mirror, margin)


def _midline(spread: Samples, plane: OcclusalPlane) -> MirrorPlane:
    """The mirror plane of the teeth, square to the occlusal plane at first."""
    near = plane.depth_mm(spread.points_mm) < _TOOTH_DEPTH_MM
    points, normals = spread.points_mm[near], spread.normals[near]
    few = points[:: max(len(points) // _COARSE, 1)]
    tree = cKDTree(points[:: max(len(points) // (4 * _COARSE), 1)])
    s = unit(np.cross(plane.normal, np.eye(3)[int(np.abs(plane.normal).argmin())]))
    t = np.cross(plane.normal, s)
    turn = np.radians(np.arange(0.0, 180.0, 6.0))
    planes = np.outer(np.cos(turn), s) + np.outer(np.sin(turn), t)
    starts = best_starts(few, tree, planes, reach_mm=9.0, step_mm=3.0)
    step = max(len(points) // _FINE, 1)
    spacing = spread.spacing_mm * float(np.sqrt(len(spread.points_mm) / len(points) * step))
    return best_plane(points[::step], normals[::step], starts, spacing_mm=max(spacing, 0.5))


def _backward(teeth: Array, mirror: MirrorPlane, way: Array) -> tuple[Array, float]:
    """Unit vector (3,) along ``way`` or against it, to the open end of the arch; and how clearly, 0 to 1."""
    aside = np.abs(teeth @ mirror.normal - mirror.offset_mm)
    along = teeth @ way
    middle = 0.5 * (along.min() + along.max())
    front = aside < _FRONT_HALF_MM
    if front.sum() < 20:
        raise NotFoundError(
            "arch: no front teeth lie on the plane of symmetry; is the arch whole? Give the landmarks by hand."
        )
    lean = float((along[front] - middle).mean()) / max(float(np.ptp(along)), 1e-9)
    return -np.sign(lean) * way, float(np.clip(abs(lean) / 0.35, 0.0, 1.0))


def _origin(teeth: Array, plane: OcclusalPlane, mirror: MirrorPlane, axes: Array) -> Array:
    """Where the midline meets the occlusal plane at the tips of the front teeth."""
    aside = np.abs(teeth @ mirror.normal - mirror.offset_mm)
    front = teeth[(aside < _FRONT_HALF_MM) & (plane.depth_mm(teeth) < 2.5)]
    if len(front) < 10:
        front = teeth[aside < _FRONT_HALF_MM]
    forward = front @ axes[1]
    base = front[forward <= np.quantile(forward, 0.5)].mean(axis=0)
    normals = np.stack([mirror.normal, axes[1], plane.normal])
    return np.asarray(np.linalg.solve(normals, [mirror.offset_mm, float(axes[1] @ base), plane.offset_mm]))
