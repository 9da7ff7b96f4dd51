"""Where a line of force runs beside the centre of the whole upper dentition: context, never the target."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from casework.bow_needs import landmark
from casework.case_file import CaseModel
from mechanics.sides import Side
from mesh_tools.anatomy.record import ToothAnatomy
from mesh_tools.arrays import Array, frozen

KEY_RIDGE_SOURCE = (
    "A pull through the area of the key ridge (zygomatico-alveolar crest) translated both the upper dentition and the "
    "nasomaxillary complex: skull, 8 N, holography; Billiet T, de Pauw G, Dermaut L 2001 Eur J Orthod 23:263-273"
)
# Crown 7.5 mm with the tube at half of it, buccal roots 12 mm (Ash, Nelson, Wheeler's Dental Anatomy, averages).
_ABOVE_TUBE_MM = 0.5 * 7.5 + 12.0
APPROXIMATE_MM = 5.0  # our guess at how far the placing may be off


@dataclass(frozen=True, eq=False)
class KeyRidge:
    """About where the key ridge lies, LPS mm, and ``how`` that was placed."""

    point_mm: Array
    how: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "point_mm", frozen(self.point_mm, (3,), name="key ridge"))


def key_ridge(side: Side, anatomy: ToothAnatomy | None, case: CaseModel, rotation: Array) -> KeyRidge:
    """The foot of the key ridge, placed at the height of the first molar's buccal apices (our assumption).

    Without a scan of the roots it is placed 15.8 mm above the middle of the tube, square to the occlusal plane.
    """
    buccal = [] if anatomy is None else [p for k, p in anatomy.apices_mm.items() if "buccal" in k]
    off = f"our assumption, good to about {APPROXIMATE_MM:.0f} mm"
    if buccal:
        return KeyRidge(np.mean(buccal, axis=0), f"at the molar's buccal apices ({off})")
    middle = 0.5 * (landmark(case, f"tube_{side}_mesial_mm") + landmark(case, f"tube_{side}_distal_mm"))
    up = rotation[2]
    return KeyRidge(
        middle + _ABOVE_TUBE_MM * up,
        f"{_ABOVE_TUBE_MM:.1f} mm above the tube, for the roots are not seen ({off})",
    )
