"""The mean tooth of a study: how far teeth reach distally and buccally at every level, averaged, in their own frame."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from mesh_tools.arrays import Array

LOW_MM, HIGH_MM, STEP_MM = -14.0, 18.0, 1.0
LEVELS_MM = np.arange(LOW_MM, HIGH_MM, STEP_MM) + 0.5 * STEP_MM
"""Middles of the levels, mm apical of the origin of the tooth's own frame."""


def reach(local_mm: Array) -> list[list[float | None]]:
    """Least and greatest distal and buccal place at each level, of points (n, 3) apical, distal, buccal.

    Four lists (mesial, distal, lingual, buccal end), None where the tooth has no points; hundredths of a millimetre.
    """
    level = np.floor((local_mm[:, 0] - LOW_MM) / STEP_MM).astype(int)
    inside = (level >= 0) & (level < len(LEVELS_MM))
    ends: list[list[float | None]] = []
    for column, pick, none in ((1, np.minimum, np.inf), (1, np.maximum, -np.inf), (2, np.minimum, np.inf),
                               (2, np.maximum, -np.inf)):  # fmt: skip
        found = np.full(len(LEVELS_MM), none)
        pick.at(found, level[inside], local_mm[inside, column])
        ends.append([round(float(v), 2) if np.isfinite(v) else None for v in found])
    return ends


@dataclass
class MeanReach:
    """Running mean of ``reach`` over teeth, level by level; a level counts where half of the teeth or more reach."""

    teeth: int = 0
    total: Array = field(default_factory=lambda: np.zeros((4, len(LEVELS_MM))))
    count: Array = field(default_factory=lambda: np.zeros((4, len(LEVELS_MM))))

    def add(self, ends: Sequence[Iterable[float | None]]) -> None:
        """One tooth more."""
        values = np.array([[np.nan if v is None else v for v in row] for row in ends], dtype=np.float64)
        there = np.isfinite(values)
        self.teeth += 1
        self.total[there] += values[there]
        self.count += there

    def rows(self) -> list[tuple[float, ...]]:
        """Level and its four ends, mm, for every level that counts."""
        used = (self.count >= max(1.0, 0.5 * self.teeth)).all(axis=0)
        mean = self.total[:, used] / self.count[:, used]
        return [
            (float(z), *(float(v) for v in ends)) for z, ends in zip(LEVELS_MM[used], mean.T, strict=True)
        ]
