"""Measures of a crown, for scans that end at the gingiva and for the sanity of whole teeth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.anatomy.cervical_line import crown_ratio
from mesh_tools.anatomy.frame import area_moments, facial_direction, mesial_direction, used_points
from mesh_tools.arrays import Array, frozen
from mesh_tools.errors import BadValueError
from mesh_tools.fdi import ToothNumber
from mesh_tools.surface import Surface

_WHOLE_TOOTH = 1.5  # a tooth shorter than this many usual crown heights has no root worth the name


@dataclass(frozen=True, eq=False)
class CrownMeasures:
    """Mesiodistal and buccolingual width and height in mm; centre of the crown's box and of its occlusal
    end, LPS."""

    mesiodistal_mm: float
    buccolingual_mm: float
    height_mm: float
    centre_mm: Array
    occlusal_centre_mm: Array
    buccal_centre_mm: Array

    def __post_init__(self) -> None:
        for name in ("centre_mm", "occlusal_centre_mm", "buccal_centre_mm"):
            object.__setattr__(self, name, frozen(getattr(self, name), (3,), name=name))


def crown_measures(surface: Surface, tooth: ToothNumber) -> CrownMeasures:
    """Measures of a crown-only ``surface`` (LPS, mm) along the patient's vertical and the arch at this tooth.

    The cross axes are the arch's average directions for this number turned to the crown's own principal axes
    across the vertical when those lie within 30 degrees. Raises BadValueError for a surface no crown can
    have.
    """
    points = surface.points_mm[used_points(surface)]
    axes = _crown_axes(surface, tooth)
    along = points @ axes.T
    low, high = along.min(axis=0), along.max(axis=0)
    size = high - low
    if not (size[:2].min() > 3.0 and size[:2].max() < 16.0 and 2.0 < size[2] < 16.0):
        raise BadValueError(
            f"tooth {tooth.fdi}: one crown is 3-16 mm wide and 2-16 mm tall; got {size[0]:.1f} x "
            f"{size[1]:.1f} x {size[2]:.1f} mm. Cut the one crown out of the scan, or check the unit."
        )
    middle = 0.5 * (low + high)
    occlusal = np.array([middle[0], middle[1], low[2]])
    face = np.array([high[0], middle[1], middle[2]])
    return CrownMeasures(
        mesiodistal_mm=float(size[1]), buccolingual_mm=float(size[0]), height_mm=float(size[2]),
        centre_mm=middle @ axes, occlusal_centre_mm=occlusal @ axes, buccal_centre_mm=face @ axes,
    )  # fmt: skip


def is_crown_only(points_tooth: Array, tooth: ToothNumber) -> bool:
    """True when the surface, in the tooth's frame, is too short for its width to hold a root."""
    width = float(np.ptp(points_tooth[:, :2], axis=0).mean())
    return float(np.ptp(points_tooth[:, 2])) < _WHOLE_TOOTH * crown_ratio(tooth) * width


def _crown_axes(surface: Surface, tooth: ToothNumber) -> Array:
    """Rows buccal, mesial, apical (3, 3): apical is the patient's vertical."""
    apical = np.array([0.0, 0.0, float(tooth.apical_sign)])
    facial, towards_midline = facial_direction(tooth), mesial_direction(tooth)
    _, moments = area_moments(surface)
    _, vectors = np.linalg.eigh(moments[:2, :2])
    own = vectors[:, int(np.abs(facial[:2] @ vectors).argmax())]
    own = np.append(own * np.sign(own @ facial[:2]), 0.0)
    if own @ facial < np.cos(np.radians(30.0)):
        return np.stack([facial, towards_midline, apical])
    mesial = np.cross(own, apical)
    return np.stack([own, mesial * np.sign(mesial @ towards_midline), apical])
