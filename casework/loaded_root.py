"""The pressure on one tooth's root under a distal force, through its crown and along its axis of resistance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from casework.centre import CentreReport
from casework.tooth_directions import tooth_directions
from mechanics.centres.axes import axis_of_resistance
from mechanics.ligament.foundation import foundation_stiffness
from mechanics.ligament.pressure import RootPressure, foundation_pressure
from mesh_tools.anatomy import ToothAnatomy
from mesh_tools.arrays import Array
from mesh_tools.surface import Surface

KPA_PER_MPA = 1000.0
_TAIL = 0.99


@dataclass(frozen=True, eq=False)
class LoadedRoot:
    """``force_n`` (3,) on the tooth through ``through_mm`` (3,), and the ligament's ``pressure`` on ``root``."""

    words: str
    force_n: Array
    through_mm: Array
    root: Surface
    pressure: RootPressure

    @property
    def pressure_kpa(self) -> Array:
        """Pressure (m,) on each face in kPa: positive squeezed, negative stretched."""
        return KPA_PER_MPA * self.pressure.pressure_mpa

    @property
    def smoothed_kpa(self) -> Array:
        """``pressure_kpa`` (m,) averaged over each face and those that touch it, by area: for colouring, since the
        facets of a scan are rougher than the root."""
        faces, areas = self.root.faces, self.root.areas_mm2
        count = len(self.root.points_mm)
        weight = np.bincount(faces.ravel(), np.repeat(areas, 3), minlength=count)
        total = np.bincount(faces.ravel(), np.repeat(areas * self.pressure_kpa, 3), minlength=count)
        return np.asarray((total / np.maximum(weight, np.finfo(float).tiny))[faces].mean(axis=1))

    @property
    def largest_kpa(self) -> float:
        """Size of pressure that 99 % of the root's area stays below: the rim's few highest faces are left out."""
        size = np.abs(self.pressure_kpa)
        order = np.argsort(size)
        share = np.cumsum(self.root.areas_mm2[order]) / self.root.areas_mm2.sum()
        return float(size[order][np.searchsorted(share, _TAIL)])


def loaded_roots(report: CentreReport, *, force_n: float = 1.0) -> tuple[LoadedRoot, ...]:
    """The root under a distal force of ``force_n``: through the middle of the crown, then where it tips nothing.

    By the elastic foundation with the report's ligament; empty for a scan without roots. Raises BowtrueError.
    """
    root, anatomy = report.root, report.anatomy
    if root is None or anatomy is None:
        return ()
    distal = tooth_directions(report).distal
    layer = report.ligament
    stiffness = foundation_stiffness(
        root.points_mm, root.faces, k_normal=layer.k_normal, k_shear=layer.k_shear
    )
    places = {
        "through the middle of the crown": middle_of_crown(anatomy),
        "along the axis of resistance": axis_of_resistance(stiffness, distal).point_mm,
    }
    return tuple(
        LoadedRoot(
            words, force_n * distal, at, root,
            foundation_pressure(root.points_mm, root.faces, layer, force_n=force_n * distal, through_mm=at),
        )
        for words, at in places.items()
    )  # fmt: skip


def middle_of_crown(anatomy: ToothAnatomy) -> Array:
    """Point (3,) on the long axis half the crown's height above the middle of the cervical line."""
    return np.asarray(
        anatomy.cervical_line_mm.mean(axis=0) - 0.5 * anatomy.crown_height_mm * anatomy.long_axis
    )
