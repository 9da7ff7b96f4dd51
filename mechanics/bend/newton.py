"""Roots of a few equations that are dear to evaluate, unknowns kept between bounds: Newton steps, Broyden
updates."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array, BoolArray
from mesh_tools.errors import BowtrueError

Equations = Callable[[Array], Array]
Guarded = Callable[[Array], Array | None]
LARGEST_STEP = 25.0
SMALLEST_STEP = 1e-7


@dataclass(frozen=True, eq=False)
class Reached:
    """Where the search ended: unknowns ``x`` (m,), what remains ``r`` (n,), and the number of evaluations.

    ``refusals``: what the equations refused on the way, each text once.
    """

    x: Array
    r: Array
    evaluations: int
    refusals: tuple[str, ...]


def bounded_newton(
    f: Equations, x: Array, *, low: Array, high: Array, jacobian: Array, tolerance: float, most: int = 40
) -> Reached:
    """The smallest change of ``x`` (m,) within [low, high] that brings every |f| (n,) under ``tolerance``,
    or as near as it comes.

    ``jacobian`` (n, m) may be rough (from a simpler model): Broyden's rank-one update mends it, and it is
    taken anew by differences when a step does not help (Broyden CG 1965 Math Comp 19:577-593, from memory).
    Unknowns should be scaled so that 1 is a moderate change. A point that ``f`` refuses (BowtrueError) is
    avoided by shorter steps; only a refusal at the very start is raised.
    """
    count, refused = [0], dict[str, None]()

    def counted(at: Array) -> Array | None:
        count[0] += 1
        try:
            return f(at)
        except BowtrueError as err:
            refused[str(err)] = None
            return None

    count[0] += 1

    r, fresh = f(x), False
    while np.abs(r).max() > tolerance and count[0] < most:
        step = bounded_step(jacobian, r, room=(low - x, high - x))
        if fresh and np.abs(jacobian @ step).max() < 0.1 * tolerance:
            break
        found, jacobian = _advance(counted, x, r, step, jacobian)
        if found is None and fresh:
            break
        if found is None:
            jacobian, fresh = _differences(counted, x, r, jacobian, low=low, high=high), True
            continue
        x, r = found
        fresh = False
    return Reached(x, r, count[0], tuple(refused))


def bounded_step(jacobian: Array, r: Array, *, room: tuple[Array, Array]) -> Array:
    """Smallest step s with ``jacobian @ s = -r`` (least squares), each part within ``room``; parts that
    would leave their room are set to its edge and the rest solved again. Directions a thousand times weaker
    than the strongest are left alone.
    """
    low, high = np.maximum(room[0], -LARGEST_STEP), np.minimum(room[1], LARGEST_STEP)
    step, free = np.zeros(jacobian.shape[1]), np.ones(jacobian.shape[1], dtype=np.bool_)
    while free.any():
        left = r + jacobian[:, ~free] @ step[~free]
        step[free] = np.linalg.lstsq(jacobian[:, free], -left, rcond=1e-3)[0]
        out: BoolArray = free & ((step < low - 1e-12) | (step > high + 1e-12))
        if not out.any():
            break
        step = np.clip(step, low, high)
        free &= ~out
    return step


def _advance(
    f: Guarded, x: Array, r: Array, step: Array, jacobian: Array
) -> tuple[tuple[Array, Array] | None, Array]:
    """The first of three ever shorter steps that lessens |r| by a tenth of what the Jacobian promised, or
    more, and the Jacobian mended by every value seen. Judged by the promise, one equation out of reach does
    not hide the rest.
    """
    square = float(r @ r)
    for _ in range(3):
        if np.abs(step).max() < SMALLEST_STEP:
            break
        new = f(x + step)
        if new is not None:
            promised = r + jacobian @ step
            jacobian = jacobian + np.outer(new - promised, step) / float(step @ step)
            if square - float(new @ new) >= 0.1 * (square - float(promised @ promised)) > 0.0:
                return (x + step, new), jacobian
        step = 0.4 * step
    return None, jacobian


def _differences(f: Guarded, x: Array, r: Array, jacobian: Array, *, low: Array, high: Array) -> Array:
    """Jacobian (n, m) by one-sided differences of half a unit, away from the nearer bound; the old column
    where that point is refused.
    """
    columns = []
    for k in range(len(x)):
        h = 0.5 if high[k] - x[k] >= x[k] - low[k] else -0.5
        ahead = x.copy()
        ahead[k] += h
        there = f(ahead)
        columns.append(jacobian[:, k] if there is None else (there - r) / h)
    return np.stack(columns, axis=1)
