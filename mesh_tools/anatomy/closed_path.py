"""The cheapest closed path around a cylinder of cells, by dynamic programming."""

from __future__ import annotations

import numpy as np

from mesh_tools.arrays import Array, IntArray

_LAPS = 2


def cheapest_closed_path(
    cost: Array, *, climb_cost: float, wiggle_cost: float, most_rows: int = 3
) -> IntArray:
    """Row (columns,) in each column of the path of least total ``cost`` (rows, columns) that closes on
    itself.

    A step of d rows to the next column, after a step of e rows, costs ``climb_cost * d**2 + wiggle_cost *
    (d - e)**2`` more, and d is at most ``most_rows``: slopes are cheap, kinks are dear. The columns are
    walked
    twice round and the middle half-laps are kept, where the path has forgotten its ends (Viterbi's recursion;
    the unrolling for a closed contour is common practice, no source).
    """
    columns = cost.shape[1]
    steps = np.arange(-most_rows, most_rows + 1)
    charge = climb_cost * steps[:, None] ** 2 + wiggle_cost * (steps[:, None] - steps) ** 2
    path = _traced(*_walked(np.tile(cost, (1, _LAPS)), charge[:, :, None]), steps=steps)
    half = columns // 2
    return np.roll(path[half : half + columns], half)


def _walked(cost: Array, charge: Array) -> tuple[IntArray, Array]:
    """Best previous step for every (column, step, row), and the total (steps, rows) in the last column."""
    kinds, rows = len(charge), len(cost)
    most = kinds // 2
    padded = np.full((kinds, rows + 2 * most), np.inf)
    before = np.lib.stride_tricks.sliding_window_view(padded, rows, axis=1)[:, ::-1].swapaxes(0, 1)
    total = np.tile(cost[:, 0], (kinds, 1))
    came = np.zeros((cost.shape[1], kinds, rows), dtype=np.int64)
    for column in range(1, cost.shape[1]):
        padded[:, most : most + rows] = total
        options = before + charge
        came[column] = options.argmin(axis=1)
        total = options.min(axis=1) + cost[:, column]
    return came, total


def _traced(came: IntArray, total: Array, *, steps: IntArray) -> IntArray:
    kind, row = (int(k) for k in np.unravel_index(int(total.argmin()), total.shape))
    path = np.empty(len(came), dtype=np.int64)
    for column in range(len(came) - 1, -1, -1):
        path[column] = row
        kind, row = int(came[column, kind, row]), row - int(steps[kind])
    return path
