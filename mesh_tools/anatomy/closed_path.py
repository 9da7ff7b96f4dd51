"""The cheapest closed path around a cylinder of cells, by dynamic programming."""

from __future__ import annotations

import numpy as np

from mesh_tools.arrays import Array, IntArray

_LAPS = 3


def cheapest_closed_path(cost: Array, *, climb_cost: float, most_rows: int) -> IntArray:
    """Row (columns,) in each column of the path of least total ``cost`` (rows, columns) that closes on
    itself.

    A step of d rows from one column to the next costs ``climb_cost * d**2`` more and d is at most
    ``most_rows``.
    The columns are walked three times round and the middle lap is kept, where the path has forgotten its ends
    (Viterbi's recursion; the unrolling for a closed contour is common practice, no source).
    """
    laps = np.tile(cost, (1, _LAPS))
    steps = np.arange(-most_rows, most_rows + 1)
    climb = climb_cost * steps[:, None] ** 2
    total, came = laps[:, 0], np.zeros(laps.shape, dtype=np.int64)
    n = len(cost)
    padded = np.full(n + 2 * most_rows, np.inf)
    windows = np.lib.stride_tricks.sliding_window_view(padded, n)[::-1]
    for column in range(1, laps.shape[1]):
        padded[most_rows : most_rows + n] = total
        options = windows + climb
        best = options.argmin(axis=0)
        came[:, column] = steps[best]
        total = options[best, np.arange(n)] + laps[:, column]
    return _traced(came, int(total.argmin()), columns=cost.shape[1])


def _traced(came: IntArray, row: int, *, columns: int) -> IntArray:
    path = np.empty(came.shape[1], dtype=np.int64)
    for column in range(came.shape[1] - 1, -1, -1):
        path[column] = row
        row -= came[row, column]
    middle = _LAPS // 2 * columns
    return path[middle : middle + columns]
