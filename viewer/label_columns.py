"""Places texts beside a picture so that none covers another: two columns, each sorted by height."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array


def spread(wanted: ArrayLike, *, gap: float, low: float, high: float) -> Array:
    """Heights (n,) nearest to ``wanted`` (n,), in the same order, at least ``gap`` apart, within [low, high].

    Least squares by pooling neighbours (pool adjacent violators), then moved inside. When they cannot all fit, they
    are spaced evenly from ``low`` to ``high``.
    """
    w = np.asarray(wanted, dtype=np.float64)
    n = len(w)
    if n == 0:
        return np.zeros(0)
    if gap * (n - 1) > high - low:
        return np.asarray(np.linspace(low, high, n)[np.argsort(np.argsort(w, kind="stable"), kind="stable")])
    order = np.argsort(w, kind="stable")
    steps = gap * np.arange(n)
    free = np.clip(_isotonic(w[order] - steps), low, high - steps[-1])
    out = np.empty(n)
    out[order] = free + steps
    return out


def _isotonic(values: Array) -> Array:
    """Nearest non-decreasing sequence, least squares, by pooling adjacent violators."""
    blocks: list[tuple[float, int]] = []
    for v in values:
        mean, count = float(v), 1
        while blocks and blocks[-1][0] > mean:
            other, k = blocks.pop()
            mean, count = (mean * count + other * k) / (count + k), count + k
        blocks.append((mean, count))
    return np.concatenate([np.full(count, mean) for mean, count in blocks])


def columns(across: Sequence[float], *, most: int) -> list[str]:
    """For each anchor's place across the picture (-1 left edge, +1 right edge): the column "left" or "right".

    Anchors go to their nearer edge, but no column takes more than ``most`` texts while the other has room.
    """
    places = np.asarray(across, dtype=np.float64)
    chosen = np.where(places < 0.0, "left", "right")
    for full, other in (("left", "right"), ("right", "left")):
        while np.sum(chosen == full) > most and np.sum(chosen == other) < most:
            inside = np.flatnonzero(chosen == full)
            chosen[inside[np.argmin(np.abs(places[inside]))]] = other
    return [str(c) for c in chosen]
