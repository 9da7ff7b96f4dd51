"""Colours of the stress along a wire: amber for none, darker the nearer it comes to the proof stress.

The colours are nine stops of the upper 72 % of "inferno" (Smith N, van der Walt S 2015, matplotlib 1.5 colour maps,
public domain), run from light to dark: its lightness changes evenly, so readers with any colour vision, and a grey
print, see the same order.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array

STOPS = ("#FCAE12", "#F78410", "#E75E2E", "#CC4248", "#AB2F5E", "#87216B", "#62146E", "#3D0965", "#160B39")


def stress_colours(stress_mpa: ArrayLike, *, top_mpa: float) -> Array:
    """Red, green and blue (m, 3) from 0 to 1 of ``stress_mpa`` (m,), from none to ``top_mpa``; more is as dark."""
    place = np.clip(np.asarray(stress_mpa, dtype=np.float64) / top_mpa, 0.0, 1.0)
    stops = np.array([[int(c[i : i + 2], 16) / 255.0 for i in (1, 3, 5)] for c in STOPS])
    at = np.linspace(0.0, 1.0, len(STOPS))
    return np.stack([np.interp(place, at, stops[:, k]) for k in range(3)], axis=-1)


def scale_top_mpa(*, largest_mpa: float, proof_mpa: float) -> float:
    """Top of the scale: the next hundred MPa at or above both the largest stress and the proof stress."""
    return float(100.0 * np.ceil(max(largest_mpa, proof_mpa) / 100.0 - 1e-9))
