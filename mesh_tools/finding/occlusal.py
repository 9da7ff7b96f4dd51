"""The occlusal plane of an arch scan whose axes are unknown: the plane the teeth stand on.

A cast set on a table rests on a facet of its convex hull. That facet on the tooth side starts the search; a plane
fitted to the tips near it, trimmed, ends it. The tooth side of an open scan is where its border is not; that of a
closed cast is the one without a trimmed, flat base.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter
from scipy.spatial import ConvexHull

from mesh_tools.arrays import Array, frozen, unit
from mesh_tools.finding.record import NotFoundError
from mesh_tools.registration.samples import Samples, sampled
from mesh_tools.surface import Surface
from mesh_tools.topology import is_closed

SAMPLES = 120_000
_CELL_MM, _TIP_WINDOW_MM = 0.6, 4.2
_TIP_REACH_MM = (6.0, 4.0, 3.0, 2.5, 2.5, 2.5)  # below the plane of the step before
_OPEN_SHARE = 0.08  # net area vector over area: less than this and the scan counts as closed
_FLAT_MM, _FLAT_COS = 1.5, 0.985
_MANY_TIPS, _FEW_TIPS = 20, 5


@dataclass(frozen=True, eq=False)
class OcclusalPlane:
    """``normal`` (3,) points away from the teeth, to the opposing jaw; ``normal @ p = offset_mm`` on the plane.

    ``tips_mm`` (n, 3): the tips that carry it, their rms distance ``rms_mm``; ``margin``: how clearly the tooth side
    was told, 0 to 1.
    """

    normal: Array
    offset_mm: float
    tips_mm: Array
    rms_mm: float
    margin: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "normal", frozen(self.normal, (3,), name="normal"))
        object.__setattr__(self, "tips_mm", frozen(self.tips_mm, (None, 3), name="tips_mm"))

    def depth_mm(self, points: Array) -> Array:
        """Distance (n,) of points behind the plane, towards the gums."""
        return np.asarray(self.offset_mm - points @ self.normal)


def occlusal_plane(surface: Surface, samples: Samples | None = None) -> OcclusalPlane:
    """The occlusal plane of the arch ``surface`` (mm, any axes, normals outward). Raises NotFoundError."""
    spread = sampled(surface, SAMPLES) if samples is None else samples
    axis = _thin_axis(spread.points_mm)
    sign, margin = _tooth_side(surface, spread, axis)
    normal = _table_normal(spread.points_mm, sign * axis)
    return _settled(spread.points_mm, normal, margin)


def _thin_axis(points: Array) -> Array:
    """Unit normal (3,) of the flattest direction: least spread of the points."""
    return np.asarray(np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2][2])


def _tooth_side(surface: Surface, spread: Samples, axis: Array) -> tuple[float, float]:
    """Sign of the tooth side along ``axis``, and how clearly it is told (0 to 1)."""
    net = float(surface.area_vectors_mm2.sum(axis=0) @ axis) / float(surface.areas_mm2.sum())
    if not is_closed(surface) and abs(net) > _OPEN_SHARE:
        return float(np.sign(net)), float(np.clip(abs(net) / 0.25, 0.0, 1.0))
    flat = [_flat_share(spread, side * axis) for side in (1.0, -1.0)]
    apart = abs(flat[0] - flat[1]) / max(*flat, 1e-9)
    if max(flat) < 0.03:
        raise NotFoundError(
            "arch: the scan is closed and shows no flat base, so its tooth side cannot be told; give the occlusal "
            "plane as a landmark (occlusal_plane_mm)."
        )
    return (1.0 if flat[0] < flat[1] else -1.0), float(np.clip(apart, 0.0, 1.0))


def _flat_share(spread: Samples, way: Array) -> float:
    """Share of the area that lies in the hull's facet met along ``way``."""
    normal = _table_normal(spread.points_mm, way)
    height = spread.points_mm @ normal
    near = (height > height.max() - _FLAT_MM) & (spread.normals @ normal > _FLAT_COS)
    return float(near.mean())


def _table_normal(points: Array, way: Array) -> Array:
    """Outward normal (3,) of the hull's facet that the ray from the points' middle along ``way`` leaves through."""
    hull = ConvexHull(points[:20_000])
    normals, offsets = hull.equations[:, :3], hull.equations[:, 3]
    along = normals @ way
    reach = np.where(
        along > 1e-9, -(normals @ points.mean(axis=0) + offsets) / np.maximum(along, 1e-9), np.inf
    )
    return np.asarray(normals[int(reach.argmin())])


def _settled(points: Array, normal: Array, margin: float) -> OcclusalPlane:
    """The plane through the tips, from the table's plane on; raises NotFoundError when too few tips carry it."""
    offset = float((points @ normal).max())
    tips = np.zeros((0, 3))
    for reach in _TIP_REACH_MM:
        tips = _tips(points, normal, offset, reach)
        if len(tips) < _FEW_TIPS:
            break
        normal, offset, tips = _fitted(tips, normal)
    if len(tips) < _FEW_TIPS:
        raise NotFoundError(
            f"arch: only {len(tips)} tips of teeth lie in one plane, {_FEW_TIPS} are needed; is this an arch scan? "
            "Give the occlusal plane as a landmark (occlusal_plane_mm)."
        )
    rms = float(np.sqrt(np.mean((tips @ normal - offset) ** 2)))
    return OcclusalPlane(normal, offset, tips, rms, margin)


def _tips(points: Array, normal: Array, offset: float, reach: float) -> Array:
    """Points (k, 3) that stand highest around them and lie no more than ``reach`` behind the plane."""
    across = _across(normal)
    flat = points @ across.T
    height = points @ normal - offset
    cell = np.floor((flat - flat.min(axis=0)) / _CELL_MM).astype(np.int64)
    shape = tuple(cell.max(axis=0) + 1)
    order = np.argsort(height, kind="stable")
    top = np.full(shape, -1, dtype=np.int64)
    top[tuple(cell[order].T)] = order  # the last, highest, wins
    level = np.where(top >= 0, height[top], -np.inf)
    size = round(_TIP_WINDOW_MM / _CELL_MM) | 1
    peak = (level == maximum_filter(level, size=size, mode="constant", cval=-np.inf)) & (level > -reach)
    return np.asarray(points[top[peak]])


def _fitted(tips: Array, before: Array) -> tuple[Array, float, Array]:
    """Least-squares plane through ``tips``, those far behind it left out; its normal on the side of ``before``."""
    for _ in range(3):
        middle = tips.mean(axis=0)
        normal = np.linalg.svd(tips - middle, full_matrices=False)[2][2]
        normal = normal * np.sign(normal @ before)
        behind = (middle - tips) @ normal
        keep = np.abs(behind) <= max(2.0 * float(np.sqrt(np.mean(behind**2))), 0.5)
        if keep.all() or keep.sum() < _FEW_TIPS:
            break
        tips = tips[keep]
    return normal, float(normal @ middle), tips


def _across(normal: Array) -> Array:
    """Two unit rows (2, 3) square to ``normal``."""
    helper = np.eye(3)[int(np.abs(normal).argmin())]
    first = unit(np.cross(normal, helper))
    return np.stack([first, np.cross(normal, first)])
