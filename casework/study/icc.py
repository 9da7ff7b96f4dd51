"""Intraclass correlation of single values by two methods or more, absolute agreement, with its interval.

Two-way random effects, ICC(A,1): McGraw KO, Wong SP 1996 Psychol Methods 1:30-46, tables 4 and 7; it is ICC(2,1) of
Shrout PE, Fleiss JL 1979 Psychol Bull 86:420-428.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array


@dataclass(frozen=True)
class Icc:
    """Intraclass correlation with its 95 % interval, and how many subjects and raters."""

    value: float
    low: float
    high: float
    subjects: int
    raters: int


def mean_squares(values: Array) -> tuple[float, float, float]:
    """Mean squares of subjects, raters and what is left, of ``values`` (n subjects, k raters)."""
    n, k = values.shape
    grand = values.mean()
    by_subject, by_rater = values.mean(axis=1), values.mean(axis=0)
    rest = values - by_subject[:, None] - by_rater[None, :] + grand
    return (
        float(k * ((by_subject - grand) ** 2).sum() / (n - 1)),
        float(n * ((by_rater - grand) ** 2).sum() / (k - 1)),
        float((rest**2).sum() / ((n - 1) * (k - 1))),
    )


def icc_absolute(values: Array, *, level: float = 0.95) -> Icc | None:
    """ICC(A,1) of ``values`` (n, k); None for fewer than three subjects or values that do not vary."""
    from scipy.stats import f

    n, k = values.shape
    if n < 3 or k < 2 or min(np.ptp(values, axis=0)) <= 1e-9:
        return None
    rows, columns, rest = mean_squares(values)
    if rest <= 1e-12 * rows:
        rest = 1e-12 * rows  # all but equal: the interval needs a denominator
    value = (rows - rest) / (rows + (k - 1) * rest + k / n * (columns - rest))
    a, b = k * value / (n * (1.0 - value)), 1.0 + k * value * (n - 1) / (n * (1.0 - value))
    freedom = (a * columns + b * rest) ** 2 / (
        (a * columns) ** 2 / (k - 1) + (b * rest) ** 2 / ((n - 1) * (k - 1))
    )
    tail = 0.5 * (1.0 + level)
    above, below = f.ppf(tail, n - 1, freedom), f.ppf(tail, freedom, n - 1)
    part = k * columns + (k * n - k - n) * rest
    low = n * (rows - above * rest) / (above * part + n * rows)
    high = n * (below * rows - rest) / (part + n * below * rows)
    return Icc(float(value), float(low), float(high), n, k)
