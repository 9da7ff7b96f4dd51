"""Where the centre may lie: an ellipsoid; and the band of a single number."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array

COVERAGE = 0.95


@dataclass(frozen=True, eq=False)
class Ellipsoid:
    """Region of the centre.

    ``mean_mm`` (3,); ``covariance_mm2`` (3, 3); rows of ``axes`` (3, 3) the unit axes from longest to shortest;
    ``half_axes_mm`` (3,) for 95 % of a normal distribution; ``share_inside`` of the samples really inside.
    """

    mean_mm: Array
    covariance_mm2: Array
    axes: Array
    half_axes_mm: Array
    share_inside: float


@dataclass(frozen=True)
class Band:
    """Mean, standard deviation and the middle 95 % of the samples of one number."""

    mean: float
    sd: float
    low: float
    high: float


def ellipsoid(points_mm: Array) -> Ellipsoid:
    """Ellipsoid of the samples (s, 3); the size is the chi-square quantile for three degrees of freedom."""
    from scipy.special import gammaincinv  # slow to import

    mean, covariance = points_mm.mean(axis=0), np.cov(points_mm.T)
    values, vectors = np.linalg.eigh(covariance)
    axes, deviations = vectors.T[::-1], np.sqrt(np.maximum(values[::-1], 0.0))
    size = float(np.sqrt(2.0 * gammaincinv(1.5, COVERAGE)))
    scaled = (points_mm - mean) @ axes.T / np.maximum(deviations, 1e-12)
    inside = float((np.einsum("ij,ij->i", scaled, scaled) <= size**2).mean())
    return Ellipsoid(mean, covariance, axes, size * deviations, inside)


def band(values: Array) -> Band:
    """Band of the samples (s,)."""
    low, high = np.quantile(values, [0.5 * (1.0 - COVERAGE), 0.5 * (1.0 + COVERAGE)]).tolist()
    return Band(float(values.mean()), float(values.std(ddof=1)), low, high)
