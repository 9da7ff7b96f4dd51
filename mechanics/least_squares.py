"""Least squares within bounds by damped Gauss-Newton steps, for a few unknowns: small, and quick to import.

Levenberg-Marquardt with slopes by forward differences, unknowns scaled by their column's length (Moré JJ 1978, Lecture
Notes in Mathematics 630:105-116) and the gain-ratio rule for the damping (Nielsen HB 1999, IMM-REP-1999-05, Technical
University of Denmark; both from memory). An unknown on its bound and pushed outward is left out of a step.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array, BoolArray

Residuals = Callable[[Array], Array]
_SLOPE_STEP = float(np.sqrt(np.finfo(float).eps))
_FIRST_DAMPING = 1e-3
_MOST_DAMPING = 1e12
_TINY = float(np.finfo(float).tiny)


@dataclass(frozen=True, eq=False)
class LeastSquares:
    """Where the search ended (n,), the residuals (m,) there, and whether it settled within its steps."""

    x: Array
    residuals: Array
    settled: bool


def least_squares_within(
    residuals: Residuals, start: Array, *, low: Array | None = None, high: Array | None = None,
    step_tolerance: float = 1e-9, gain_tolerance: float = 1e-11, most_steps: int = 200,
) -> LeastSquares:  # fmt: skip
    """The unknowns (n,) from ``start`` that make the sum of the squared ``residuals`` least, within the bounds.

    Ends when a step is smaller than ``step_tolerance`` of the unknowns' size, or promises and brings a gain below
    ``gain_tolerance`` of the sum. The unknowns should be near 1 in size, or ``residuals`` scale them.
    """
    floor = np.full(len(start), -np.inf) if low is None else low
    roof = np.full(len(start), np.inf) if high is None else high
    x = np.clip(start, floor, roof)
    now, damping, growth = residuals(x), _FIRST_DAMPING, 2.0
    slopes, size = _slopes(residuals, x, now, roof), np.zeros(len(x))
    for _ in range(most_steps):
        size = np.maximum(size, np.linalg.norm(slopes, axis=0))
        step = _step_within(slopes, now, damping * np.maximum(size, _TINY) ** 2, (floor - x, roof - x))
        ahead = np.clip(x + step, floor, roof)
        if float(np.linalg.norm(step)) <= step_tolerance * (step_tolerance + float(np.linalg.norm(x))):
            return LeastSquares(x, now, True)
        there = residuals(ahead)
        before, after = float(now @ now), float(there @ there)
        foreseen = before - float(np.sum((now + slopes @ step) ** 2))
        gain = min((before - after) / max(foreseen, _TINY), 1.0)
        if not after < before:
            damping, growth = damping * growth, 2.0 * growth
            if damping > _MOST_DAMPING or foreseen <= gain_tolerance * before:
                return LeastSquares(x, now, damping <= _MOST_DAMPING)
            continue
        damping, growth = damping * max(1.0 / 3.0, 1.0 - (2.0 * gain - 1.0) ** 3), 2.0
        x, now = ahead, there
        if before - after <= gain_tolerance * before and foreseen <= gain_tolerance * before:
            return LeastSquares(x, now, True)
        slopes = _slopes(residuals, x, now, roof)
    return LeastSquares(x, now, False)


def _slopes(residuals: Residuals, x: Array, now: Array, roof: Array) -> Array:
    """Derivatives (m, n) by forward differences, backward at the upper bound."""
    columns = []
    for k in range(len(x)):
        step = _SLOPE_STEP * max(1.0, abs(float(x[k])))
        step = -step if x[k] + step > roof[k] else step
        ahead = x.copy()
        ahead[k] += step
        columns.append((residuals(ahead) - now) / (ahead[k] - x[k]))
    return np.stack(columns, axis=1)


def _step_within(slopes: Array, now: Array, damping: Array, room: tuple[Array, Array]) -> Array:
    """The step (n,) of least squares with ``damping`` (n,) on each squared unknown, down to and up to ``room``.

    What would go farther goes as far as it may, and the others then suit that.
    """
    step, uphill = np.zeros(len(damping)), slopes.T @ now
    held: BoolArray = ((room[0] >= 0.0) & (uphill > 0.0)) | ((room[1] <= 0.0) & (uphill < 0.0))
    while not held.all():
        free = ~held
        padded = np.concatenate([slopes[:, free], np.diag(np.sqrt(damping[free]))])
        wanted = np.concatenate([-now - slopes[:, held] @ step[held], np.zeros(int(free.sum()))])
        step[free] = np.linalg.lstsq(padded, wanted, rcond=None)[0]
        beyond = free & ((step < room[0]) | (step > room[1]))
        step = np.clip(step, *room)
        if not beyond.any():
            break
        held |= beyond
    return step
