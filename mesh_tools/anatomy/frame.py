"""The tooth's own frame: buccal, mesial and apical axes taken from its shape, named by its number.

Everything that is searched on a grid is searched in this frame, so that moving, turning or mirroring a tooth
moves the answer with it: a right tooth has the same coordinates here as the left tooth that mirrors it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.anatomy.errors import ToothOnItsSideError
from mesh_tools.arrays import Array, BoolArray, frozen, unit
from mesh_tools.fdi import ToothNumber
from mesh_tools.surface import Surface

# Angle in degrees from straight ahead to the facial direction, by place in the quadrant: an average arch
# (from memory); it only chooses which way an axis of the shape is called, so 30 degrees off does no harm.
_FACIAL_DEG = {1: 5.0, 2: 20.0, 3: 45.0, 4: 75.0, 5: 80.0, 6: 85.0, 7: 90.0, 8: 90.0}
_SIDEWAYS_COSINE = 0.5
_AXIS_ROUNDS, _AXIS_BLUR_MM = 4, 0.5
_INCISAL_SHARE, _INCISAL_BLUR = 0.2, 0.04  # of the tooth's length


@dataclass(frozen=True, eq=False)
class ToothFrame:
    """Origin (3,) mm and unit axes (3, 3), rows buccal, mesial, apical, orthogonal but of either hand.

    The origin lies on the long axis at the level of the most occlusal point of the tooth.
    """

    origin_mm: Array
    axes: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "origin_mm", frozen(self.origin_mm, (3,), name="origin_mm"))
        object.__setattr__(self, "axes", frozen(self.axes, (3, 3), name="axes"))

    def to_tooth(self, points_mm: ArrayLike) -> Array:
        """Buccal, mesial, apical coordinates (..., 3) mm of LPS points (..., 3)."""
        return np.asarray((np.asarray(points_mm, dtype=np.float64) - self.origin_mm) @ self.axes.T)

    def to_lps(self, points_tooth: ArrayLike) -> Array:
        """LPS points (..., 3) mm of tooth coordinates (..., 3)."""
        return np.asarray(np.asarray(points_tooth, dtype=np.float64) @ self.axes + self.origin_mm)


def facial_direction(tooth: ToothNumber) -> Array:
    """Unit vector (3,), LPS, from the tongue's side to the lip's or cheek's, of an average arch."""
    angle = np.radians(_FACIAL_DEG[tooth.fdi % 10])
    return np.array([tooth.buccal_sign * np.sin(angle), -np.cos(angle), 0.0])


def mesial_direction(tooth: ToothNumber) -> Array:
    """Unit vector (3,), LPS, along the arch towards the midline, of an average arch."""
    angle = np.radians(_FACIAL_DEG[tooth.fdi % 10])
    return np.array([-tooth.buccal_sign * np.cos(angle), -np.sin(angle), 0.0])


def area_moments(surface: Surface) -> tuple[Array, Array]:
    """Centroid (3,) mm and second moments (3, 3) mm2 of the surface's area, exact for flat facets."""
    areas = surface.areas_mm2
    centroid = np.asarray(areas @ surface.face_centres_mm / areas.sum())
    corners, centres = surface.corners_mm - centroid, surface.face_centres_mm - centroid
    weighted = corners * areas[:, None, None]
    by_corner = weighted.reshape(-1, 3).T @ corners.reshape(-1, 3)
    by_centre = (centres * areas[:, None]).T @ centres
    return centroid, np.asarray((by_corner + 9.0 * by_centre) / (12.0 * areas.sum()))


def used_points(surface: Surface) -> BoolArray:
    """Mask (n,) of the points that faces use."""
    used = np.zeros(len(surface.points_mm), dtype=np.bool_)
    used[surface.faces.ravel()] = True
    return used


def tooth_frame(surface: Surface, tooth: ToothNumber, *, long_axis: ArrayLike | None = None) -> ToothFrame:
    """Frame of a tooth: the long axis is the axis of least second moment of its surface, pointing apically.

    ``long_axis`` (3,), when given, replaces the one found. The two cross axes are the principal axes of the
    shape (of a front tooth: of its crown) across the long axis, called buccal and mesial by the tooth's
    number. Raises ToothOnItsSideError
    when the tooth lies across the patient's vertical.
    """
    centroid, moments = area_moments(surface)
    apical = _long_axis(moments, tooth) if long_axis is None else unit(long_axis, name="long_axis")
    if tooth.kind in ("incisor", "canine"):
        moments = _crown_moments(surface, apical)
    buccal, mesial = _cross_axes(moments, apical, tooth)
    axes = np.stack([buccal, mesial, apical])
    lowest = float(((surface.points_mm[used_points(surface)] - centroid) @ apical).min())
    return ToothFrame(origin_mm=centroid + lowest * apical, axes=axes)


def straightened(surface: Surface, frame: ToothFrame, tooth: ToothNumber, *, split_mm: float) -> ToothFrame:
    """Frame whose long axis runs from the centroid of the crown's surface to that of the root's.

    The two part at ``split_mm`` from the occlusal end, blurred and found again as the axis settles. Unlike
    the
    axis of least second moment it does not lean towards one splayed root, nor give way when roots are short.
    """
    centres, areas, axis = surface.face_centres_mm, surface.areas_mm2, frame.axes[2]
    points = surface.points_mm[used_points(surface)]
    for _ in range(_AXIS_ROUNDS):
        beyond = centres @ axis - float((points @ axis).min()) - split_mm
        rootward = areas / (1.0 + np.exp(np.clip(-beyond / _AXIS_BLUR_MM, -30.0, 30.0)))
        crownward = areas - rootward
        axis = unit(rootward @ centres / rootward.sum() - crownward @ centres / crownward.sum(), name="axis")
    return tooth_frame(surface, tooth, long_axis=axis)


def _long_axis(moments: Array, tooth: ToothNumber) -> Array:
    values, vectors = np.linalg.eigh(moments)
    upright = np.sqrt(np.maximum(values, 0.0)) * np.abs(vectors[2])
    axis = vectors[:, int(upright.argmax())]
    longest = vectors[:, 2]
    stretched = values[2] > 1.5**2 * values[1]
    if abs(axis[2]) < _SIDEWAYS_COSINE or (stretched and abs(longest[2]) < _SIDEWAYS_COSINE):
        lean = float(np.degrees(np.arccos(min(1.0, abs(longest[2])))))
        raise ToothOnItsSideError(
            f"tooth {tooth.fdi}'s long axis leans {lean:.0f} degrees from the vertical, more than 60: check "
            "the axes code (the letters name where +x, +y and +z point)."
        )
    return np.asarray(axis * np.sign(axis[2]) * tooth.apical_sign)


def _crown_moments(surface: Surface, apical: Array) -> Array:
    """Second moments (3, 3) mm2 of the crown's incisal part: a front tooth's root is too round to show its
    face."""
    height = surface.face_centres_mm @ apical
    low, length = height.min(), np.ptp(height)
    share = np.clip((height - low) / length, 0.0, 1.0)
    weight = surface.areas_mm2 / (1.0 + np.exp((share - _INCISAL_SHARE) / _INCISAL_BLUR))
    offset = surface.face_centres_mm - weight @ surface.face_centres_mm / weight.sum()
    return np.asarray((offset * weight[:, None]).T @ offset / weight.sum())


def _cross_axes(moments: Array, apical: Array, tooth: ToothNumber) -> tuple[Array, Array]:
    """Buccal and mesial unit axes (3,) each: principal axes of ``moments`` across ``apical``.

    A front tooth's incisal edge is longest mesiodistally and a premolar is widest buccolingually, so the
    shape
    says which is which; of a molar the arch does. The number says which way they point.
    """
    flat = np.eye(3) - np.outer(apical, apical)
    _, vectors = np.linalg.eigh(flat @ moments @ flat)
    across = np.sort(np.argsort(np.abs(vectors.T @ apical))[:2])  # by growing moment
    minor, major = vectors[:, across].T
    facial, towards_midline = facial_direction(tooth), mesial_direction(tooth)
    if tooth.kind == "premolar" or (tooth.kind == "molar" and abs(major @ facial) > abs(minor @ facial)):
        buccal, mesial = major, minor
    else:
        buccal, mesial = minor, major
    return buccal * np.sign(buccal @ facial), mesial * np.sign(mesial @ towards_midline)
