"""What is known of one tooth's anatomy: frozen facts, each with how it was found and how sure that is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.anatomy.below_line import below_line
from mesh_tools.anatomy.cervical_line import CervicalLine
from mesh_tools.anatomy.frame import ToothFrame
from mesh_tools.arrays import Array, frozen
from mesh_tools.fdi import ToothNumber


@dataclass(frozen=True)
class Finding:
    """One item of the anatomy: what, how it was found, and a confidence from 0 to 1."""

    item: str
    how: str
    confidence: float


@dataclass(frozen=True, eq=False)
class Root:
    """A separate root: apex (3,) mm; length from the cervical line to the apex along the long axis; where it
    begins.

    ``separation_mm`` (3,) is the place where the root parts from its nearest fellow and
    ``separation_below_line_mm`` that place's distance from the cervical line; both are the neck's for a lone
    root.
    """

    name: str
    apex_mm: Array
    length_mm: float
    separation_mm: Array
    separation_below_line_mm: float
    confidence: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "apex_mm", frozen(self.apex_mm, (3,), name="apex_mm"))
        object.__setattr__(self, "separation_mm", frozen(self.separation_mm, (3,), name="separation_mm"))


@dataclass(frozen=True, eq=False)
class ToothAnatomy:
    """Anatomy of one whole tooth; points in LPS mm, axes as unit vectors in LPS.

    ``crown_height_mm`` runs along the long axis from the cervical line on the buccal side to the most
    occlusal
    point. ``root_length_mm`` is the mean length of the separate roots. ``trifurcation_mm`` is the roof where
    all
    separate roots part (of two: the bifurcation), None for one root; ``furcation_roof_mm`` is the same place.
    ``furcation_entrances_mm`` has the entrances that open, by side.
    """

    tooth: ToothNumber
    frame: ToothFrame
    line: CervicalLine
    crown_height_mm: float
    roots: tuple[Root, ...]
    trifurcation_mm: Array | None
    furcation_entrances_mm: Mapping[str, Array]
    buccal_axis: Array
    mesial_axis: Array
    findings: tuple[Finding, ...]

    @property
    def long_axis(self) -> Array:
        """Unit vector (3,) along the tooth, pointing apically."""
        return np.asarray(self.frame.axes[2])

    @property
    def cervical_line_mm(self) -> Array:
        """Points (k, 3) of the closed cervical line, from buccal over mesial; the first is not repeated."""
        points = self.frame.to_lps(self.line.points_tooth)
        offset = points - self.frame.origin_mm
        turn = np.arctan2(offset @ self.mesial_axis, offset @ self.buccal_axis)
        half_a_column = np.pi / len(points)
        return points[np.argsort((turn + half_a_column) % (2.0 * np.pi))]

    @property
    def separate_roots(self) -> int:
        """Number of separate roots."""
        return len(self.roots)

    @property
    def apices_mm(self) -> dict[str, Array]:
        """Apex (3,) by root name."""
        return {root.name: root.apex_mm for root in self.roots}

    @property
    def furcation_roof_mm(self) -> Array | None:
        """The place where all separate roots part, (3,), or None."""
        return self.trifurcation_mm

    @property
    def root_length_mm(self) -> float:
        """Mean length of the separate roots, from the cervical line to the apex along the long axis."""
        return float(np.mean([root.length_mm for root in self.roots]))

    def below_line_mm(self, points_mm: ArrayLike) -> Array:
        """Distance (n,) of LPS points (n, 3) from the cervical line along the long axis; positive on the
        root."""
        return below_line(self.line, self.frame.to_tooth(points_mm))

    def finding(self, item: str) -> Finding:
        """The finding on ``item``; raises KeyError for an item that was not looked for."""
        return {f.item: f for f in self.findings}[item]

    def as_dict(self) -> dict[str, Any]:
        """Plain numbers, lists and strings for JSON."""
        return {
            "tooth": self.tooth.fdi,
            "separate_roots": self.separate_roots,
            "trifurcation_mm": _listed(self.trifurcation_mm),
            "furcation_roof_mm": _listed(self.furcation_roof_mm),
            "furcation_entrances_mm": {k: _listed(v) for k, v in self.furcation_entrances_mm.items()},
            "apices_mm": {k: _listed(v) for k, v in self.apices_mm.items()},
            "roots": [_root_dict(root) for root in self.roots],
            "root_length_mm": self.root_length_mm,
            "cervical_line_mm": _listed(self.cervical_line_mm),
            "crown_height_mm": self.crown_height_mm,
            "long_axis": _listed(self.long_axis),
            "buccal_axis": _listed(self.buccal_axis),
            "mesial_axis": _listed(self.mesial_axis),
            "findings": {f.item: {"how": f.how, "confidence": round(f.confidence, 3)} for f in self.findings},
        }


def _root_dict(root: Root) -> dict[str, Any]:
    return {
        "name": root.name,
        "apex_mm": _listed(root.apex_mm),
        "length_mm": root.length_mm,
        "separation_mm": _listed(root.separation_mm),
        "separation_below_line_mm": root.separation_below_line_mm,
        "confidence": round(root.confidence, 3),
    }


def _listed(value: Array | None) -> Any:
    return None if value is None else value.tolist()
