"""The error of measuring carried to the answer: by sampling, and by its slopes as a second route."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array

SAMPLES = 4000


@dataclass(frozen=True)
class Spread:
    """The middle 95 % of the sampled answer, and its standard deviation by sampling and by slopes."""

    low: float
    high: float
    sd: float
    sd_by_slopes: float

    def about(self, value: float) -> Spread:
        """The same spread, placed so that its middle of 95 % lies about ``value`` as it lay about its mean."""
        middle = 0.5 * (self.low + self.high)
        return Spread(self.low - middle + value, self.high - middle + value, self.sd, self.sd_by_slopes)

    @property
    def holds_zero(self) -> bool:
        """Whether nothing at all is within the band."""
        return self.low <= 0.0 <= self.high


def draws(values: Array, sd: Array, *, samples: int = SAMPLES, seed: int = 0) -> Array:
    """Normal draws (samples, m) about ``values`` (m,) with ``sd`` (m,); mirrored pairs, so their mean is ``values``."""
    half = np.random.default_rng(seed).standard_normal(((samples + 1) // 2, len(values)))
    return np.asarray(values + sd * np.concatenate([half, -half]))


def slopes(answer: Callable[[Array], Array], values: Array, sd: Array) -> Array:
    """Slopes (m,) of ``answer`` (n, m) -> (n,) by central differences of a hundredth of each standard deviation."""
    step = np.where(sd > 0.0, 0.01 * sd, 1.0)
    ahead, behind = values + np.diag(step), values - np.diag(step)
    return np.asarray((answer(ahead) - answer(behind)) / (2.0 * step))


def spread_of(sampled: Array, by_slopes: float) -> Spread:
    """The spread of ``sampled`` (n,), with the standard deviation ``by_slopes`` beside it."""
    low, high = np.quantile(sampled, [0.025, 0.975])
    return Spread(float(low), float(high), float(sampled.std(ddof=1)), by_slopes)
