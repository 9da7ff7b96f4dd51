"""A frame in which teeth of any person and side compare: apical, distal and buccal from a place of the tooth's own.

Origin: the roof of the furcation, or without one the middle of the cervical line. ``apical`` is the tooth's long axis,
``distal`` its mesiodistal axis turned square to it, ``buccal`` square to both, towards the cheek or lip: so a
right tooth has the same coordinates as the left one that mirrors it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.anatomy import ToothAnatomy
from mesh_tools.arrays import Array, unit

NAMES = ("apical", "distal", "buccal")


@dataclass(frozen=True, eq=False)
class LocalFrame:
    """Origin (3,) LPS mm, what it is, and rows apical, distal, buccal (3, 3), unit vectors in LPS."""

    origin_mm: Array
    origin: str
    axes: Array

    def coordinates(self, points_mm: ArrayLike) -> Array:
        """Apical, distal, buccal (..., 3) mm of LPS points (..., 3)."""
        return np.asarray((np.asarray(points_mm, dtype=np.float64) - self.origin_mm) @ self.axes.T)


def local_frame(anatomy: ToothAnatomy) -> LocalFrame:
    """The tooth's own frame, from its anatomy."""
    apical = anatomy.long_axis
    mesial = anatomy.mesial_axis
    distal = unit(-(mesial - (mesial @ apical) * apical), name="distal of the tooth")
    across = np.cross(apical, distal)
    buccal = across * np.sign(across @ anatomy.buccal_axis)
    roof = anatomy.trifurcation_mm
    origin = anatomy.cervical_line_mm.mean(axis=0) if roof is None else roof
    return LocalFrame(
        np.asarray(origin),
        "cervical line" if roof is None else "furcation",
        np.array([apical, distal, buccal]),
    )


def divergence_deg(anatomy: ToothAnatomy) -> float | None:
    """Largest angle between two separate roots, each from the neck's middle to its apex; None for a lone root."""
    if len(anatomy.roots) < 2:
        return None
    neck = anatomy.cervical_line_mm.mean(axis=0)
    ways = np.array([unit(root.apex_mm - neck) for root in anatomy.roots])
    return float(np.degrees(np.arccos(np.clip((ways @ ways.T).min(), -1.0, 1.0))))
