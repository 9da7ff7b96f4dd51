"""The stock a face-bow is made from: diameters, joint, material."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from mechanics.bow.wire import StockMaterial
from mesh_tools.errors import BadValueError


@dataclass(frozen=True)
class BowStock:
    """Diameters and joint of a face-bow in mm.

    Defaults: inner 1.143 mm (0.045 in) and outer 1.83 mm (0.072 in), trade sizes from memory; the bow runs
    in a tube of 1.15 mm bore (Isaacson KG, Muir JD, Reed RT 2002 Removable Orthodontic Appliances p 45).
    Joint length 20 mm: common practice, no source. Arm lengths belong to the patient's bow and are given in
    mm: supplier words such as short, medium and long are not standardised (common practice).
    """

    inner_diameter_mm: float = 1.143
    outer_diameter_mm: float = 1.83
    joint_length_mm: float = 20.0
    material: StockMaterial = field(default_factory=StockMaterial)

    def __post_init__(self) -> None:
        for name in ("inner_diameter_mm", "outer_diameter_mm", "joint_length_mm"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value > 0.0):
                raise BadValueError(f"bow stock {name} must be above zero; got {value} mm.")

    @property
    def joint_offset_mm(self) -> float:
        """Distance between the two wires' centrelines where they lie on each other."""
        return 0.5 * (self.inner_diameter_mm + self.outer_diameter_mm)

    @property
    def joint_diameter_mm(self) -> float:
        """Round bar with the bending stiffness of both wires held together as one section.

        Parallel-axis sum over two touching rods, in the plane where they stand one behind the other.
        """
        d = np.array([self.inner_diameter_mm, self.outer_diameter_mm])
        area, own = np.pi * d**2 / 4.0, np.pi * d**4 / 64.0
        place = np.array([0.0, self.joint_offset_mm])
        middle = float(area @ place / area.sum())
        second_moment = float(own.sum() + area @ (place - middle) ** 2)
        return float((64.0 * second_moment / np.pi) ** 0.25)
