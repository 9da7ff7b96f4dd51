"""What a strap of some width lies on: the skin's mean reach over the width, smooth along the height."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import median_filter

from mechanics.strap.fan import STEP_MM, Fan
from mesh_tools.arrays import Array, BoolArray, IntArray

HOLE_MM = 6.0
"""Holes up to this height are bridged: a strap does not notice them (our choice)."""
SPIKE_MM = 5.0
"""A ray reaching this much farther than the middle of its neighbours meets a flake or a lock of hair (our choice)."""
_SPIKE_WINDOW = 9


@dataclass(frozen=True, eq=False)
class Bed:
    """Reach (mm) of the strap's middle line in every half-plane of ``fan`` as a cubic spline of the height.

    ``coefficients`` (4, h - 1, m), highest power first; ``missing`` (m, h): less than half the width has skin;
    ``spikes``: how many rays were taken for flakes and mended.
    """

    fan: Fan
    width_mm: float
    coefficients: Array
    missing: BoolArray
    spikes: int

    def at(self, k: IntArray, height_mm: Array) -> tuple[Array, Array, Array]:
        """Reach and its first and second derivatives by height, each (n,), in the half-planes ``k`` (n,)."""
        low = self.fan.heights_mm[0]
        cell = np.clip(((height_mm - low) / STEP_MM).astype(np.int64), 0, self.coefficients.shape[1] - 1)
        h = height_mm - low - cell * STEP_MM
        c3, c2, c1, c0 = self.coefficients[:, cell, k]
        reach = ((c3 * h + c2) * h + c1) * h + c0
        return reach, (3.0 * c3 * h + 2.0 * c2) * h + c1, 6.0 * c3 * h + 2.0 * c2

    def reach_at(self, k: IntArray, height_mm: Array) -> Array:
        """Reach (n,) alone."""
        return self.at(k, height_mm)[0]

    def lacks_skin(self, k: IntArray, height_mm: Array) -> BoolArray:
        """Whether there is hardly any skin under the strap (n,)."""
        j = np.rint((height_mm - self.fan.heights_mm[0]) / STEP_MM).astype(np.int64)
        return np.asarray(self.missing[k, np.clip(j, 0, self.missing.shape[1] - 1)])

    def folds(self, k: IntArray, height_mm: Array, *, share: float = 1.0) -> BoolArray:
        """Whether the skin under the middle ``share`` of the strap's width is folded, as behind an ear (n,)."""
        half = round(0.5 * share * self.width_mm / STEP_MM)
        j = np.rint((height_mm - self.fan.heights_mm[0]) / STEP_MM).astype(np.int64)
        rows = np.clip(j[:, None] + np.arange(-half, half + 1), 0, self.missing.shape[1] - 1)
        return np.asarray(self.fan.folded[k[:, None], rows].any(axis=1))


def bed_of(fan: Fan, *, width_mm: float) -> Bed:
    """The bed of a strap ``width_mm`` wide; the reach is the mean over the width, since skin yields and the strap
    lies flat on it."""
    reach = fan.reach_mm.T.copy()  # (h, m)
    known = np.isfinite(reach)
    filled = _filled(reach, known)
    mended, spikes = _without_spikes(filled, known)
    bridged = _bridged(known)
    cover = _window_mean(bridged.astype(np.float64), width_mm)
    mean = _window_mean(mended, width_mm)
    spline = CubicSpline(fan.heights_mm, mean, axis=0)
    return Bed(fan, width_mm, np.ascontiguousarray(spline.c), (cover < 0.5).T, spikes)


def _filled(reach: Array, known: BoolArray) -> Array:
    """Every column with its gaps filled in a straight line, its ends carried on; a column without skin is zero."""
    out = np.zeros_like(reach)
    rows = np.arange(len(reach), dtype=np.float64)
    for k in range(reach.shape[1]):
        seen = known[:, k]
        if seen.all():
            out[:, k] = reach[:, k]
        elif seen.any():
            out[:, k] = np.interp(rows, rows[seen], reach[seen, k])
    return out


def _without_spikes(reach: Array, known: BoolArray) -> tuple[Array, int]:
    middle = median_filter(reach, size=_SPIKE_WINDOW, mode="nearest")
    spike = (reach - middle > SPIKE_MM) & known
    return np.where(spike, middle, reach), int(spike.sum())


def _bridged(known: BoolArray) -> BoolArray:
    """``known`` (h, m) with gaps up to ``HOLE_MM`` high closed."""
    rows = np.arange(len(known))[:, None]
    below = np.maximum.accumulate(np.where(known, rows, -len(known)), axis=0)
    above = np.minimum.accumulate(np.where(known, rows, 2 * len(known))[::-1], axis=0)[::-1]
    return np.asarray(known | ((above - below) * STEP_MM <= HOLE_MM + STEP_MM))


def _window_mean(values: Array, width_mm: float) -> Array:
    """Mean (h, m) over ``width_mm`` along the first axis, of the straight lines between values; ends carried on."""
    half = 0.5 * width_mm / STEP_MM
    pad = int(np.ceil(half)) + 1
    long = np.pad(values, ((pad, pad), (0, 0)), mode="edge")
    area = np.zeros_like(long)
    area[1:] = np.cumsum(0.5 * (long[1:] + long[:-1]), axis=0)
    at = np.arange(len(values), dtype=np.float64) + pad

    def up_to(place: Array) -> Array:
        cell = np.floor(place).astype(np.int64)
        t = (place - cell)[:, None]
        return np.asarray(area[cell] + t * long[cell] + 0.5 * t * t * (long[cell + 1] - long[cell]))

    return np.asarray((up_to(np.asarray(at + half)) - up_to(np.asarray(at - half))) / (2.0 * half))
