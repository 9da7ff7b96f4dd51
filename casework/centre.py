"""The centre of resistance of one tooth by every method: what ``bowtrue centre`` computes and a plan uses.

from casework.estimating import estimate_from_file
report = estimate_from_file("molar.stl", tooth=26, axes="LSA")
report.methods["elastic_foundation"].point_mm
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from casework.cautions import CAUTIONS
from mechanics.centres.axes import AxesOfResistance, axes_of_resistance
from mechanics.centres.estimate import CentreEstimate
from mechanics.centres.movement import radius_of_resistance_mm
from mechanics.centres.stiffness_centres import elastic_centre, plane_centre, sagittal_centre
from mechanics.ligament.springs import Ligament
from mesh_tools.anatomy import ToothAnatomy
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError
from mesh_tools.fdi import ToothNumber
from mesh_tools.surface import Surface

if TYPE_CHECKING:
    from casework.confidence import Confidence


@dataclass(frozen=True, eq=False)
class LigamentCentres:
    """What a ligament model gives: stiffness (6, 6) about the origin, LPS, and the centres read from it."""

    stiffness: Array
    elastic_centre_mm: Array
    sagittal_centre_mm: Array
    transverse_centre_mm: Array
    frontal_centre_mm: Array
    rotation: Array

    def axes_of_resistance(self) -> AxesOfResistance:
        """Axes for distal, buccal and vertical force in the treatment frame."""
        return axes_of_resistance(self.stiffness, rotation=self.rotation)

    def radius_of_resistance_mm(self) -> float:
        """Radius of resistance for a distal force in the sagittal plane."""
        return radius_of_resistance_mm(self.stiffness, self.rotation[1], x_axis=self.rotation[0])

    @classmethod
    def of(cls, stiffness: Array, rotation: Array) -> LigamentCentres:
        """Centres of ``stiffness``; the planes are those of the treatment frame, rows of ``rotation``."""
        x, y, z = rotation
        return cls(
            stiffness, elastic_centre(stiffness), sagittal_centre(stiffness, x_axis=x),
            plane_centre(stiffness, z), plane_centre(stiffness, y), rotation,
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class MethodResult:
    """One method's estimate, its ligament when it has one, and how long it took."""

    estimate: CentreEstimate
    ligament: LigamentCentres | None
    seconds: float

    @property
    def point_mm(self) -> Array:
        """The point (3,), LPS mm; for a ligament model the sagittal centre."""
        return self.estimate.point_mm


@dataclass(frozen=True, eq=False)
class CentreReport:
    """Every estimate for one tooth. ``anatomy`` and ``root`` are None for a scan without roots; ``surface`` is the scan
    they were made from (LPS, mm), None without one."""

    tooth: ToothNumber
    ligament: Ligament
    crest_below_cej_mm: float
    anatomy: ToothAnatomy | None
    root: Surface | None
    methods: Mapping[str, MethodResult]
    step: str
    findings: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    file: str = ""
    sha256: str = ""
    extra: Mapping[str, Any] = field(default_factory=dict)
    confidence: Confidence | None = None
    surface: Surface | None = None

    @property
    def best_ligament(self) -> LigamentCentres | None:
        """The most elaborate ligament model among the methods, or None."""
        found = [m.ligament for m in self.methods.values() if m.ligament is not None]
        return found[-1] if found else None

    def needed_root(self) -> Surface:
        """The facets the ligament models used; raises BadValueError when the scan has none."""
        if self.root is None:
            raise BadValueError(
                f"tooth {self.tooth.fdi}: the scan shows no root, so there are no root facets to write."
            )
        return self.root

    def distance_mm(self, method: str, other: str) -> float | None:
        """Distance between two methods' points, or None when one of them does not apply."""
        if method not in self.methods or other not in self.methods:
            return None
        return float(np.linalg.norm(self.methods[method].point_mm - self.methods[other].point_mm))

    def as_dict(self) -> dict[str, Any]:
        """The tree written by ``centre --json``; coordinates LPS mm, origin as in the input."""
        return {
            "tooth": self.tooth.fdi,
            "file": self.file,
            "sha256": self.sha256,
            "ligament": {
                "e_mpa": self.ligament.e_mpa,
                "nu": self.ligament.nu,
                "thickness_mm": self.ligament.thickness_mm,
            },
            "crest_below_cej_mm": self.crest_below_cej_mm,
            "information": self.step,
            "anatomy": None if self.anatomy is None else self.anatomy.as_dict(),
            "methods": {name: self._method(name) for name in self.methods},
            "findings": list(self.findings),
            "warnings": list(self.warnings),
            "cautions": [c.text for c in CAUTIONS],
            "axes_of_resistance": self._axes(),
            **self.extra,
            "uncertainty": None if self.confidence is None else self.confidence.as_dict(),
        }

    def _axes(self) -> dict[str, Any] | None:
        """How far a point is true: axes of resistance of the best ligament model, and how nearly they meet."""
        best = self.best_ligament
        if best is None:
            return None
        axes = best.axes_of_resistance()
        lines = {"distal": axes.distal, "buccal": axes.buccal, "vertical": axes.vertical}
        return {
            "distances_mm": dict(axes.distances_mm),
            "nearest_point_mm": axes.point_mm.tolist(),
            "miss_mm": axes.miss_mm,
            **{
                k: {"point_mm": a.point_mm.tolist(), "direction": a.direction.tolist()}
                for k, a in lines.items()
            },
        }

    def _method(self, name: str) -> dict[str, Any]:
        result = self.methods[name]
        tree: dict[str, Any] = {
            "point_mm": result.point_mm.tolist(),
            "assumptions": result.estimate.assumptions,
            "source": result.estimate.source,
            "scatter_mm": result.estimate.scatter_mm,
            "fallback": result.estimate.fallback,
            "distance_from_rule_of_thumb_mm": self.distance_mm(name, "rule_of_thumb"),
            "distance_from_furcation_mm": self.distance_mm(name, "furcation"),
            "seconds": result.seconds,
        }
        if result.ligament is not None:
            tree |= {
                "elastic_centre_mm": result.ligament.elastic_centre_mm.tolist(),
                "sagittal_centre_mm": result.ligament.sagittal_centre_mm.tolist(),
                "transverse_centre_mm": result.ligament.transverse_centre_mm.tolist(),
                "frontal_centre_mm": result.ligament.frontal_centre_mm.tolist(),
                "radius_of_resistance_mm": result.ligament.radius_of_resistance_mm(),
                "stiffness": result.ligament.stiffness.tolist(),
            }
        return tree
