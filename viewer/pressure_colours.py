"""Colours of pressure: blue stretched, near-white none, red squeezed; the same darkness either way.

The hues are those of ColorBrewer's RdBu (Harrower M, Brewer CA 2003 Cartogr J 40:27-37), which its authors list as
safe for colour-blind readers; squeezed and stretched also differ in words wherever the colours are used.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array

_STOPS = ("#053061", "#2166AC", "#4393C3", "#92C5DE", "#D1E5F0", "#F7F7F7",
          "#FDDBC7", "#F4A582", "#D6604D", "#B2182B", "#67001F")  # fmt: skip


def pressure_colours(pressure: ArrayLike, *, limit_kpa: float) -> Array:
    """Red, green and blue (m, 3) from 0 to 1 of ``pressure`` (m,) in kPa; beyond the limits the end's colour."""
    place = 0.5 + 0.5 * np.clip(np.asarray(pressure, dtype=np.float64) / limit_kpa, -1.0, 1.0)
    stops = np.array([[int(c[i : i + 2], 16) / 255.0 for i in (1, 3, 5)] for c in _STOPS])
    at = np.linspace(0.0, 1.0, len(_STOPS))
    return np.stack([np.interp(place, at, stops[:, k]) for k in range(3)], axis=-1)


def round_limit(largest: float) -> float:
    """The nearest of 1, 1.5, 2, 3, 4, 5, 6, 8 times a power of ten that is not below ``largest``."""
    power = 10.0 ** np.floor(np.log10(largest))
    return float(
        next(s for s in (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0) if s * power >= 0.999 * largest)
        * power
    )
