"""Bands of one side's plan: the centre's region read through the solved line of force."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from casework.plan import SideBands
from mesh_tools.arrays import Array

if TYPE_CHECKING:
    from casework.confidence import Confidence


def side_bands(
    confidence: Confidence,
    *,
    hook_mm: Array,
    direction: Array,
    force_n: float,
    per_degree: float,
    rotation: Array,
) -> tuple[float, float, float]:
    """Half-widths (95 %) of bend (deg) and moment (N mm) and the offset's standard deviation (mm)."""
    from casework.confidence import offset_functional  # slow to import

    draws = confidence.uncertainty.draws
    offsets = offset_functional(hook_mm, direction, rotation)(draws)
    low, high = np.quantile(offsets - offsets.mean(), [0.025, 0.975])
    half = 0.5 * float(high - low)
    return half / abs(per_degree), half * force_n, float(offsets.std(ddof=1))


def bands_about(
    bend_deg: float, moment_n_mm: float, halves: tuple[float, float, float], *, samples: int
) -> SideBands:
    """The bands centred on the plan's own numbers, since every method scatters about the tooth it is given."""
    bend, moment, sd = halves
    return SideBands(
        bend_deg - bend, bend_deg + bend, moment_n_mm - moment, moment_n_mm + moment, sd, samples
    )
