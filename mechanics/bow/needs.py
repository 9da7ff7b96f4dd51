"""What a face-bow is fitted to: tubes, incisors, mouth corners, face, arm lengths; and what is refused at
the door.

Frame: the treatment frame (LPS mm, z the occlusal plane's normal; -y is the front).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from mechanics.bow.stock import BowStock
from mechanics.bow.wire import Tube
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array, frozen
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface

SPAN_MM = (25.0, 90.0)  # tube to tube, generous around arches from deciduous to large adult (common practice)
FRONT_MM = 12.0  # least depth from the tubes to the front of the bow
SKEW_DEG = 45.0  # most that a tube may turn away from straight back
TUBE_TO_SKIN_MM = 20.0  # from memory, low confidence: 12-20 mm in a child; the face itself is better


@dataclass(frozen=True, eq=False)
class BowNeeds:
    """Everything ``fit_bow`` looks at.

    ``arm_length_mm``: along the outer wire from the joint's middle to the hook. ``hook_height_mm``: z of
    each hook before any bend, the mouth corner's own z when None. ``face``: skin surface, closed or open,
    wound outward; None puts the hooks ``tube_to_skin_mm + cheek_clearance_mm`` outside the tubes. Raises
    BadValueError with the value and the limit for whatever no bow could be made for.
    """

    tubes: Mapping[Side, Tube]
    incisor_mm: Array
    corner_mm: Mapping[Side, Array]
    arm_length_mm: Mapping[Side, float]
    stock: BowStock = field(default_factory=BowStock)
    anterior_clearance_mm: float = 4.0  # common practice, no source
    cheek_clearance_mm: float = 5.0  # "near the skin but touching it nowhere": common practice, no source
    tube_to_skin_mm: float = TUBE_TO_SKIN_MM
    hook_height_mm: Mapping[Side, float] | None = None
    face: Surface | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "incisor_mm", frozen(self.incisor_mm, (3,), name="incisor contact"))
        for named, what in (
            (self.tubes, "tubes"),
            (self.corner_mm, "mouth corners"),
            (self.arm_length_mm, "arm lengths"),
        ):
            if set(named) != set(SIDES):
                raise BadValueError(f'{what} must be given for "right" and "left"; got {sorted(named)}.')
        corners = {s: frozen(self.corner_mm[s], (3,), name=f"{s} mouth corner") for s in SIDES}
        object.__setattr__(self, "corner_mm", corners)
        _check_lengths(self)
        _check_order(self)
        _check_span(self)

    @property
    def front_mm(self) -> Array:
        """Wanted front (3,) of the inner bow's centreline: ahead of the incisors, at the height of the
        mouth corners."""
        ahead = self.anterior_clearance_mm + 0.5 * self.stock.inner_diameter_mm
        height = 0.5 * (self.corner_mm["right"][2] + self.corner_mm["left"][2])
        return np.array([self.incisor_mm[0], self.incisor_mm[1] - ahead, height])

    def hook_z_mm(self, side: Side) -> float:
        """Wanted height of one hook before any bend."""
        given = self.hook_height_mm
        return float(self.corner_mm[side][2] if given is None else given[side])


def _check_lengths(needs: BowNeeds) -> None:
    for name in ("anterior_clearance_mm", "cheek_clearance_mm", "tube_to_skin_mm"):
        value = getattr(needs, name)
        if not (np.isfinite(value) and value >= 0.0):
            raise BadValueError(f"{name} must be zero or more; got {value} mm.")
    for side in SIDES:
        value = needs.arm_length_mm[side]
        if not (np.isfinite(value) and value > 0.0):
            raise BadValueError(f"{side} arm length must be above zero; got {value} mm.")
        if needs.stock.inner_diameter_mm > needs.tubes[side].bore_mm:
            raise BadValueError(
                f"{side} tube's bore is {needs.tubes[side].bore_mm:.3f} mm and the inner bow is "
                f"{needs.stock.inner_diameter_mm:.3f} mm thick; the wire must be thinner than the tube."
            )


def _check_order(needs: BowNeeds) -> None:
    right, left = needs.tubes["right"], needs.tubes["left"]
    if right.middle_mm[0] >= left.middle_mm[0]:
        raise BadValueError(
            f"right tube lies at x {right.middle_mm[0]:.1f} and the left at {left.middle_mm[0]:.1f} mm; "
            "+x is the patient's left: exchange the sides or check the scan's axes."
        )
    if needs.corner_mm["right"][0] >= needs.corner_mm["left"][0]:
        raise BadValueError(
            f"right mouth corner lies at x {needs.corner_mm['right'][0]:.1f} and the left at "
            f"{needs.corner_mm['left'][0]:.1f} mm; +x is the patient's left: exchange them."
        )
    for side in SIDES:
        skew = float(np.degrees(np.arccos(np.clip(needs.tubes[side].axis[1], -1.0, 1.0))))
        if skew > SKEW_DEG:
            raise BadValueError(
                f"{side} tube points {skew:.0f} degrees away from straight back, more than {SKEW_DEG:.0f}; "
                "check that its mesial end lies in front of its distal end and that z is the occlusal "
                "plane's normal."
            )


def _check_span(needs: BowNeeds) -> None:
    ends = {s: needs.tubes[s].mesial_mm for s in SIDES}
    span = float(np.linalg.norm(ends["left"] - ends["right"]))
    if not SPAN_MM[0] <= span <= SPAN_MM[1]:
        raise BadValueError(
            f"tubes lie {span:.1f} mm apart; a bow can span {SPAN_MM[0]:.0f} to {SPAN_MM[1]:.0f} mm: "
            "check the tube points and their unit."
        )
    depth = float(min(ends[s][1] for s in SIDES) - needs.front_mm[1])
    if depth < FRONT_MM:
        raise BadValueError(
            f"front of the bow lies {depth:.1f} mm ahead of the tubes; it needs at least {FRONT_MM:.0f} mm: "
            "check the incisor contact point."
        )
