"""One end of a taut band as a strap's pull: where it leads from a hook, and how that turns as the hook moves."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from mechanics.sides import Side, other_side
from mechanics.strap.band import BandLine
from mesh_tools.arrays import Array, frozen


@dataclass(frozen=True, eq=False)
class BandEnd:
    """The end of ``line`` on ``side``; ``shift_mm`` (3,) carries the band and its skin along (a trial's change)."""

    line: BandLine
    side: Side
    shift_mm: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "shift_mm", frozen(self.shift_mm, (3,), name="shift of the strap"))

    @classmethod
    def of(cls, line: BandLine, side: Side) -> BandEnd:
        """The end of ``line`` where it lies."""
        return cls(line, side, np.zeros(3))

    def shifted(self, by_mm: Array) -> BandEnd:
        """This end with the band carried ``by_mm`` farther."""
        return replace(self, shift_mm=self.shift_mm + by_mm)

    def leaving(self, hook_mm: ArrayLike, other_mm: ArrayLike | None = None) -> tuple[Array, Array]:
        """Where the band from a hook at ``hook_mm`` leaves the skin (3,), and how that moves with the hook (3, 3).

        ``other_mm``: the hook of the other side; left out, it stands where it stood when the band was laid.
        """
        far = other_side(self.side)
        other = self.line.hooks_mm[far] if other_mm is None else np.asarray(other_mm) - self.shift_mm
        hooks = {self.side: np.asarray(hook_mm, dtype=np.float64) - self.shift_mm, far: other}
        found = self.line.leaving(hooks)
        return found.points_mm[self.side] + self.shift_mm, found.slopes[self.side][self.side]
