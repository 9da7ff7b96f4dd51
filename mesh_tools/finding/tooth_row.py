"""Where one tooth ends and the next begins along the arch, counted from the midline.

The unrolled crowns are cut across at every step; between two teeth the cut is small. Boundaries are chosen for each
side together, by dynamic programming: small cuts where teeth usually meet. Mean mesiodistal widths of upper permanent
teeth: Ash/Nelson, Wheeler's Dental Anatomy (textbook averages); their spread, widened for primary predecessors, is our
choice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from mesh_tools.arrays import Array, frozen
from mesh_tools.finding.arch_form import ArchForm

WIDTHS_MM = (8.5, 6.5, 7.5, 7.0, 7.0, 10.0)
_SPREAD_MM = (0.8, 0.8, 0.9, 0.9, 1.1, 0.9)
_STEP_MM = 0.25
_TALL_MM, _ASIDE_MM = 4.0, 8.0
_REACH_MM = 5.0
_MOST, _WEIGHT = 2.0, 3.0
_MISSING = 6.0  # what a row without one premolar costs
_LONGEST_MM, _SHORTEST_MM = 13.0, 4.5
_START_MM = 2.5
_OTHER_MM = 4.0


@dataclass(frozen=True, eq=False)
class ToothRow:
    """``edges_mm`` (k + 1,): boundaries of one side from the midline on, mm along the arch, positive outward.

    ``cost``: misfit of the whole row; ``rival``: that of the best row with its first molar elsewhere; ``dips``
    (k + 1,): how much smaller the cut is at each boundary than within the teeth, 0 to 1; ``missing``: whether a
    premolar is.
    """

    edges_mm: Array
    dips: Array
    cost: float
    rival: float
    missing: bool

    def __post_init__(self) -> None:
        object.__setattr__(self, "edges_mm", frozen(self.edges_mm, (None,), name="edges_mm"))
        object.__setattr__(self, "dips", frozen(self.dips, (None,), name="dips"))

    @property
    def molar_mm(self) -> tuple[float, float]:
        """The first molar's mesial and distal boundary, mm along the arch from the midline."""
        return float(self.edges_mm[-2]), float(self.edges_mm[-1])


@dataclass(frozen=True, eq=False)
class Cuts:
    """Area (k,), mm2, of the crowns' cut across the arch at ``along_mm`` (k,), from the midline outward."""

    along_mm: Array
    area_mm2: Array


def cuts(along: Array, out: Array, depth: Array) -> Cuts:
    """Cuts of one side; ``along`` (n,) is positive outward on it, ``out`` and ``depth`` as in ``ArchForm``."""
    near = (np.abs(out) < _ASIDE_MM) & (along > -2.0 * _REACH_MM) & (depth < _TALL_MM)
    row = np.floor((along[near] + 2.0 * _REACH_MM) / _STEP_MM).astype(int)
    col = np.floor((out[near] + _ASIDE_MM) / _STEP_MM).astype(int)
    shape = (int(row.max(initial=0)) + 1 + int(_REACH_MM / _STEP_MM), int(2 * _ASIDE_MM / _STEP_MM) + 1)
    level = np.full(shape, _TALL_MM)
    np.minimum.at(level, (row, col), depth[near])
    area = np.asarray(gaussian_filter1d((_TALL_MM - level).sum(axis=1) * _STEP_MM, 1.5), dtype=np.float64)
    return Cuts(np.asarray(-2.0 * _REACH_MM + (np.arange(shape[0]) + 0.5) * _STEP_MM), area)


def tooth_row(cut: Cuts) -> ToothRow | None:
    """The row of teeth from the midline to the first molar, or None where the scan is too short for one."""
    between, ending = _dips(cut.area_mm2)
    full = _best_row(cut, between, ending, range(6))
    short = _best_row(cut, between, ending, (0, 1, 2, 3, 5))
    rows = [
        (r[0] + extra, r[1], gone) for r, extra, gone in ((full, 0.0, False), (short, _MISSING, True)) if r
    ]
    if not rows:
        return None
    rows.sort(key=lambda row: row[0])
    cost, best, gone = rows[0]
    middle = 0.5 * (best[-1] + best[-2])
    shifted = [_best_row(cut, between, ending, slots, barred=middle) for slots in (range(6), (0, 1, 2, 3, 5))]
    rivals = [r[0] + extra for r, extra in zip(shifted, (0.0, _MISSING), strict=True) if r]
    at = np.array(best)
    dips = np.append(between[at[:-1]], ending[at[-1]]) / _MOST
    return ToothRow(cut.along_mm[at], dips, cost, min(rivals, default=cost + 10.0), gone)


def _dips(area: Array) -> tuple[Array, Array]:
    """How small each cut is against both neighbours (k,), and against the nearer one alone (k,); logs up to _MOST."""
    reach = int(_REACH_MM / _STEP_MM)
    padded = np.pad(area, reach)
    windows = np.lib.stride_tricks.sliding_window_view(padded, reach + 1).max(axis=1)
    before, after = windows[: len(area)], windows[reach:]
    floor = 0.05 * float(area.max(initial=1.0)) + 1e-6
    lower = np.minimum(before, after)
    both = np.log((lower + floor) / (area + floor))
    one = np.log((before + floor) / (area + floor))
    return np.clip(both, 0.0, _MOST), np.clip(one, 0.0, _MOST)


def _best_row(
    cut: Cuts,
    between: Array,
    ending: Array,
    slots: range | tuple[int, ...],
    *,
    barred: int | float | None = None,
) -> tuple[float, list[int]] | None:
    """Cost and boundary indices of the cheapest row; ``barred``: index near which its molar must not lie."""
    along = cut.along_mm
    cost = np.where(np.abs(along) <= _START_MM, 0.5 * (along / 1.0) ** 2 - _WEIGHT * between, np.inf)
    low, high = int(_SHORTEST_MM / _STEP_MM), int(_LONGEST_MM / _STEP_MM)
    steps = np.arange(low, high + 1)
    came = []
    for number, slot in enumerate(slots):
        last = number == len(slots) - 1
        width = 0.5 * ((steps * _STEP_MM - WIDTHS_MM[slot]) / _SPREAD_MM[slot]) ** 2
        table = np.full((len(along), len(steps)), np.inf)
        for column, step in enumerate(steps):
            table[step:, column] = cost[:-step] + width[column]
        if last and barred is not None:
            middle = np.arange(len(along))[:, None] - 0.5 * steps
            table[np.abs(middle - barred) < _OTHER_MM / _STEP_MM] = np.inf
        came.append(steps[table.argmin(axis=1)])
        cost = table.min(axis=1) - _WEIGHT * (ending if last else between)
    end = int(cost.argmin())
    if not np.isfinite(cost[end]):
        return None
    row = [end]
    for back in reversed(came):
        row.append(row[-1] - int(back[row[-1]]))
    return float(cost[end]) + _WEIGHT * _MOST * (len(row)), row[::-1]


def side_rows(form: ArchForm, points: Array) -> dict[str, ToothRow | None]:
    """The rows of both sides; ``points`` (n, 3) are samples in the arch's frame."""
    along, out = form.unrolled(points[:, :2])
    return {
        side: tooth_row(cuts(sign * along, out, points[:, 2]))
        for side, sign in (("right", -1.0), ("left", 1.0))
    }
