"""The line that a strap takes from hook to hook: where it is free, where it lies on the skin, where it leaves it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array, BoolArray, frozen, unit

BandName = Literal["neck", "head"]


@dataclass(frozen=True, eq=False)
class StrapPath:
    """A taut strap from the right hook to the left one, mm, in the frame of whoever made it.

    ``points_mm`` (n, 3) from the right hook to the left; ``on_skin`` (n,) whether a point lies on the skin;
    ``leaves_mm``: where the strap leaves the skin on each side, (3,); ``length_mm``: hook to hook along the strap;
    ``pressure_kpa`` (n,): contact pressure, zero where free. ``width_mm``: of the strap; ``grip``: the coefficient of
    friction that keeps a held strap from sliding across itself, zero for one that lies where it would slide to;
    ``wrap_rad``: how far it turns on the skin. ``told``: what the reader should know of this strap, one sentence each.
    """

    band: BandName
    points_mm: Array
    on_skin: BoolArray
    leaves_mm: Mapping[Side, Array]
    length_mm: float
    pressure_kpa: Array
    width_mm: float = 0.0
    grip: float = 0.0
    wrap_rad: float = 0.0
    told: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        points = frozen(self.points_mm, (None, 3), name=f"{self.band} strap points")
        object.__setattr__(self, "points_mm", points)
        pressure = frozen(self.pressure_kpa, (len(points),), name=f"{self.band} strap pressure")
        object.__setattr__(self, "pressure_kpa", pressure)
        leaves = {s: frozen(self.leaves_mm[s], (3,), name=f"{s} end of the {self.band} strap") for s in SIDES}
        object.__setattr__(self, "leaves_mm", leaves)

    def hook_mm(self, side: Side) -> Array:
        """The hook (3,) at the strap's end on ``side``."""
        return np.asarray(self.points_mm[0 if side == "right" else -1])

    def direction(self, side: Side) -> Array:
        """Unit vector (3,) of the pull on the hook of ``side``, towards where the strap first touches."""
        first = self.points_mm[1 if side == "right" else -2]
        return unit(first - self.hook_mm(side), name=f"{side} end of the {self.band} strap")

    def moved(self, rotation: Array) -> StrapPath:
        """The path in the axes of ``rotation`` (3, 3), new = rotation @ old."""
        leaves = {s: rotation @ self.leaves_mm[s] for s in SIDES}
        return replace(self, points_mm=self.points_mm @ rotation.T, leaves_mm=leaves)
