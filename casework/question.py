"""What is asked of one tooth: number, ligament, crest, methods, tube, treatment frame."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from mechanics.ligament.springs import Ligament
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError
from mesh_tools.fdi import ToothNumber
from mesh_tools.surface import Surface

METHODS = (
    "rule_of_thumb", "furcation", "root_fraction", "root_centroid",
    "elastic_foundation", "thin_layer", "finite_elements",
)  # fmt: skip
FAST_METHODS = METHODS[:-1]


@dataclass(frozen=True, eq=False)
class TubeEnds:
    """The headgear tube's axis ends in LPS mm."""

    mesial_mm: Array
    distal_mm: Array


TUBE_MM = 6.0  # from the middle of a tube's axis to the tooth it is fixed to, with slack: our choice


def check_tube_near(tube: TubeEnds, points_mm: Array, *, name: str, other: TubeEnds | None = None) -> None:
    """Raises BadValueError when the tube is not on the tooth (points (n, 3)): two frames, or another tooth's tube.

    ``other``: the other side's tube; when that one lies on this tooth, the text asks whether the sides are swapped.
    """
    gap = _gap_mm(tube, points_mm)
    if not gap <= TUBE_MM:
        if other is not None and _gap_mm(other, points_mm) <= TUBE_MM:
            raise BadValueError(
                f"{name}: lies {gap:.1f} mm from its molar's scan, while the other side's tube lies on it: sides "
                "swapped? Check which landmarks and which scan are right and left."
            )
        raise BadValueError(
            f"{name}: lies {gap:.1f} mm from its molar's scan, more than {TUBE_MM:.0f} mm; scan and tube must share "
            "one frame and unit: check the axes, or lay the scan with a register table."
        )


def _gap_mm(tube: TubeEnds, points_mm: Array) -> float:
    """Distance of the tube's middle from the nearest of points (n, 3), mm."""
    middle = 0.5 * (tube.mesial_mm + tube.distal_mm)
    return float(np.linalg.norm(points_mm - middle, axis=1).min())


@dataclass(frozen=True, eq=False)
class CentreQuestion:
    """What is asked of one tooth. ``rotation`` (3, 3): LPS to the treatment frame, identity when unknown.

    ``bone``: surface of the socket and crest in the tooth's frame, LPS mm, when the scan shows it.
    """

    tooth: ToothNumber
    ligament: Ligament
    crest_below_cej_mm: float = 0.75
    methods: tuple[str, ...] = FAST_METHODS
    tube: TubeEnds | None = None
    rotation: Array | None = None
    landmarks: Mapping[str, Array] | None = None
    bone: Surface | None = None

    @property
    def axes(self) -> Array:
        """Rows x, y, z of the treatment frame in LPS."""
        return np.eye(3) if self.rotation is None else self.rotation

    @property
    def apical(self) -> Array:
        """The occlusal plane's normal pointing apically (3,)."""
        return np.asarray(self.tooth.apical_sign * self.axes[2])
