"""One figure of the self-test: what is known from outside, and what this machine makes of it."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Figure:
    """``wanted`` from ``source`` beside ``found`` here; sound when they lie within ``tolerance`` (same unit)."""

    name: str
    source: str
    unit: str
    wanted: float
    found: float
    tolerance: float

    @property
    def sound(self) -> bool:
        """Whether the figure came out; never for a NaN."""
        return math.isfinite(self.found) and abs(self.found - self.wanted) <= self.tolerance
