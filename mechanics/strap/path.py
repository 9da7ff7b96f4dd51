"""The line that a strap takes from hook to hook: where it is free, where it lies on the skin, where it leaves it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array, BoolArray, frozen

BandName = Literal["neck", "head"]


@dataclass(frozen=True, eq=False)
class StrapPath:
    """A taut strap from the right hook to the left one, mm, in the frame of whoever made it.

    ``points_mm`` (n, 3) from the right hook to the left; ``on_skin`` (n,) whether a point lies on the skin;
    ``leaves_mm``: where the strap leaves the skin on each side, (3,); ``length_mm``: hook to hook along the strap;
    ``pressure_kpa`` (n,): contact pressure, zero where free.
    """

    band: BandName
    points_mm: Array
    on_skin: BoolArray
    leaves_mm: Mapping[Side, Array]
    length_mm: float
    pressure_kpa: Array

    def __post_init__(self) -> None:
        points = frozen(self.points_mm, (None, 3), name=f"{self.band} strap points")
        object.__setattr__(self, "points_mm", points)
        pressure = frozen(self.pressure_kpa, (len(points),), name=f"{self.band} strap pressure")
        object.__setattr__(self, "pressure_kpa", pressure)
        leaves = {s: frozen(self.leaves_mm[s], (3,), name=f"{s} end of the {self.band} strap") for s in SIDES}
        object.__setattr__(self, "leaves_mm", leaves)
