"""Apical, distal and buccal of one tooth, as unit vectors, in the frame its report is in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from casework.centre import CentreReport
from mechanics.centres.axes import AxesOfResistance, axes_of_resistance
from mesh_tools.arrays import Array, unit


@dataclass(frozen=True, eq=False)
class ToothDirections:
    """Unit vectors (3,), square to each other: ``apical`` along the occlusal plane's normal, ``distal``, ``buccal``."""

    apical: Array
    distal: Array
    buccal: Array

    @property
    def lingual(self) -> Array:
        """Against ``buccal``."""
        return np.asarray(-self.buccal)


def tooth_directions(report: CentreReport) -> ToothDirections:
    """Directions of the report's tooth, in LPS.

    Behind the canines distal is the frame's +y and buccal its side, as everywhere in bowtrue. At the front the arch
    turns, so there they are the tooth's own, levelled; without its anatomy they are the frame's.
    """
    best = report.best_ligament
    x, y, z = np.eye(3) if best is None else best.rotation
    apical = np.asarray(report.tooth.apical_sign * z)
    if report.anatomy is None or report.tooth.kind in ("premolar", "molar"):
        return ToothDirections(apical, np.asarray(y), np.asarray(report.tooth.buccal_sign * x))
    mesial, buccal = report.anatomy.mesial_axis, report.anatomy.buccal_axis
    distal = unit(-mesial + (mesial @ z) * z, name="distal of the tooth")
    across = np.cross(z, distal)
    return ToothDirections(apical, distal, np.asarray(across * np.sign(across @ buccal)))


def axes_of_tooth(report: CentreReport) -> AxesOfResistance | None:
    """Axes of resistance of the best ligament model for force along the tooth's own directions; None without one."""
    if report.best_ligament is None:
        return None
    d = tooth_directions(report)
    return axes_of_resistance(
        report.best_ligament.stiffness, rotation=np.array([d.buccal, d.distal, d.apical])
    )
