"""From the case file to what the bow is fitted to, in the treatment frame."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from casework.case_file import CaseError, CaseModel
from mechanics.bow.needs import BowNeeds
from mechanics.bow.stock import BowStock
from mechanics.bow.wire import StockMaterial, Tube
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array
from mesh_tools.surface import Surface

PLAN_LANDMARKS = (
    "tube_right_mesial_mm", "tube_right_distal_mm", "tube_left_mesial_mm", "tube_left_distal_mm",
    "occlusal_plane_mm", "incisor_contact_mm", "mouth_corner_right_mm", "mouth_corner_left_mm",
)  # fmt: skip


def check_landmarks(case: CaseModel, *, offers: Mapping[str, str] = MappingProxyType({})) -> None:
    """Raises CaseError naming every landmark a plan needs and the case does not give, each with its ``offers``."""
    missing = [name for name in PLAN_LANDMARKS if getattr(case.landmarks, name) is None]
    if missing:
        raise CaseError([f"landmarks.{n}: is missing; a plan needs it.{offers.get(n, '')}" for n in missing])


def landmark(case: CaseModel, name: str) -> Array:
    """The landmark ``name`` in LPS mm; (3,) or, for the occlusal plane, (n, 3)."""
    return np.asarray(getattr(case.landmarks, name), dtype=np.float64)


def bow_needs(case: CaseModel, rotation: Array, face: Surface | None) -> BowNeeds:
    """What the bow must meet; ``rotation`` takes LPS to the treatment frame, ``face`` is already in it."""
    bow = case.bow
    stock = BowStock(
        inner_diameter_mm=bow.inner_diameter_mm,
        outer_diameter_mm=bow.outer_diameter_mm,
        joint_length_mm=bow.joint_length_mm,
        material=StockMaterial(e_gpa=bow.e_gpa, proof_mpa=bow.proof_mpa),
    )
    return BowNeeds(
        tubes={side: tube(case, side, rotation) for side in SIDES},
        incisor_mm=rotation @ landmark(case, "incisor_contact_mm"),
        corner_mm={side: rotation @ landmark(case, f"mouth_corner_{side}_mm") for side in SIDES},
        arm_length_mm={side: bow.arm_mm(side) for side in SIDES},
        stock=stock,
        anterior_clearance_mm=bow.anterior_clearance_mm,
        cheek_clearance_mm=bow.cheek_clearance_mm,
        face=face,
    )


def tube(case: CaseModel, side: Side, rotation: Array) -> Tube:
    """The tube of ``side`` in the treatment frame."""
    ends = [rotation @ landmark(case, f"tube_{side}_{end}_mm") for end in ("mesial", "distal")]
    return Tube(ends[0], ends[1], case.bow.tube_bore_mm)
