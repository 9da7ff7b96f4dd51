"""Distributions of the inputs that matter, each with its source or as a stated assumption."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np

from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError


@dataclass(frozen=True)
class Distribution:
    """Uniform on [``low``, ``high``], or normal (``mean``, ``sd``) cut off outside [``low``, ``high``].

    ``count`` independent numbers of this kind form one group in the ranking. ``source`` names where it comes from.
    Raises BadValueError for limits out of order or an sd that is not positive.
    """

    kind: Literal["normal", "uniform"]
    low: float
    high: float
    source: str
    mean: float = 0.0
    sd: float = 1.0
    count: int = 1

    def __post_init__(self) -> None:
        if not self.low < self.high:
            raise BadValueError(
                f"a distribution's low must be below its high; got {self.low:g} and {self.high:g}."
            )
        if self.kind == "normal" and not self.sd > 0.0:
            raise BadValueError(
                f"a distribution's sd must be positive; got {self.sd:g}; leave the input out instead."
            )
        if self.count < 1:
            raise BadValueError(f"a distribution's count must be at least 1; got {self.count}.")

    def at(self, share: Array) -> Array:
        """Values with the cumulative probability ``share`` (0 to 1)."""
        if self.kind == "uniform":
            return np.asarray(self.low + share * (self.high - self.low))
        from scipy.special import ndtr, ndtri  # slow to import

        first, last = ndtr((self.low - self.mean) / self.sd), ndtr((self.high - self.mean) / self.sd)
        inside = first + np.clip(share, 1e-12, 1.0 - 1e-12) * (last - first)
        return np.asarray(self.mean + self.sd * ndtri(inside))


def symmetric(sd: float, source: str, *, count: int = 1) -> Distribution:
    """Normal about 0, cut off at four standard deviations."""
    return Distribution("normal", -4.0 * sd, 4.0 * sd, source, 0.0, sd, count)


NOISE_MODES = 24
_ASSUMED = "assumption, no source"

USUAL_INPUTS: Mapping[str, Distribution] = MappingProxyType(
    {
        "crest_below_cej_mm": Distribution(
            "normal", 0.0, 1.5, "0.6 +- 0.5 at 6-8 y (Sardana V et al. 2014 J Contemp Dent Pract 15:37-45), 0.84 "
            "+- 0.44 at 6-9 y (Al Jamal G et al. 2011 Int J Paediatr Dent); middle of the two, cut at 0-1.5",
            0.75, 0.47,
        ),
        "nu": Distribution(
            "uniform", 0.30, 0.49, "0.30 (Prog Orthod 2017, PMC5326743) to 0.49 (Tanne K et al. 1987 AJODO 92:499-505, "
            "from memory); sets the ratio of normal to shear spring",
        ),
        "surface_noise_mm": symmetric(0.2, _ASSUMED + ": 0.2 mm, smooth over about 3 mm", count=NOISE_MODES),
        "tube_pick_mm": symmetric(0.5, _ASSUMED + ": 0.5 mm in each direction", count=3),
        "occlusal_plane_deg": symmetric(2.0, _ASSUMED + ": 2 degrees in pitch and in roll", count=2),
        "long_axis_deg": symmetric(3.0, _ASSUMED + ": 3 degrees in two planes; it tilts the crest", count=2),
    }
)  # fmt: skip
