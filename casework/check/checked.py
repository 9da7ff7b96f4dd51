"""The check itself: a pure function from the plan's context and what was measured to where the line runs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from casework.check.context import CheckContext
from casework.check.line import Expected, Numbers, Seen, numbers_of, offset_and_moment
from casework.check.model import Retrued, retrued
from casework.check.notes import common_notes, side_notes, verdict_of
from casework.check.readings import Measured, PhotoReading
from casework.check.result import CheckResult, SideCheck, Sight
from casework.check.spread import SAMPLES, Spread, draws, slopes, spread_of
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array

_LEAST_SLOPE = 0.02  # mm for a degree: below it a bend hardly moves the line; our choice

Table = dict[Side, dict[Side, float]]


@dataclass(frozen=True, eq=False)
class _Read:
    """One side's reading: its numbers, what they show, and offset and moment (n,) of sampled ones."""

    expected: Expected
    numbers: Numbers
    seen: Seen
    offsets_mm: Array
    moments_n_mm: Array

    def sd_by_slopes(self, which: int) -> float:
        """Standard deviation of the offset (0) or the moment (1), from slopes."""
        n = self.numbers
        found = slopes(lambda rows: offset_and_moment(n.see(rows), self.expected)[which], n.values, n.sd)
        return float(np.linalg.norm(found * n.sd))


def checked(
    context: CheckContext, measured: Measured, *, samples: int = SAMPLES, seed: int = 0
) -> CheckResult:
    """Where the line of force really runs on each measured side, and the bend that would true it.

    Errors of measuring are carried by ``samples`` draws and by slopes. Raises CheckError for a reading that cannot be.
    """
    sides = [s for s in SIDES if s in measured.sides]
    read = {s: _read(context, measured, s, samples=samples, seed=seed + k) for k, s in enumerate(sides)}
    model = retrued(context, {s: r.seen for s, r in read.items()})
    inverse = _inverse_slopes(context, sides)
    made = {s: _side(context, measured, read, s, model=model, inverse=inverse) for s in sides}
    return CheckResult(context.plan.case_id, made, measured, common_notes(model, made))


def _read(context: CheckContext, measured: Measured, side: Side, *, samples: int, seed: int) -> _Read:
    expected = context.expected[side]
    numbers = numbers_of(measured.sides[side], expected, measured.errors)
    rows = draws(numbers.values, numbers.sd, samples=samples, seed=seed)
    offsets, moments = offset_and_moment(numbers.see(rows), expected)
    return _Read(expected, numbers, numbers.see(numbers.values[None]), offsets, moments)


def _inverse_slopes(context: CheckContext, sides: list[Side]) -> Table | None:
    """Degrees of bend on one side for a mm of offset on another, both sides bent together; None when hardly any."""
    of = {s: context.plan.sides[s].sensitivities for s in sides}
    key = {True: "per_degree", False: "per_degree_other"}
    slope = np.array([[of[s].get(key[s == t], 0.0) for t in sides] for s in sides])
    if np.linalg.svd(slope, compute_uv=False).min() < _LEAST_SLOPE:
        return None
    inverse = np.linalg.inv(slope)
    return {s: {t: float(inverse[i, j]) for j, t in enumerate(sides)} for i, s in enumerate(sides)}


def _side(
    context: CheckContext,
    measured: Measured,
    read: Mapping[Side, _Read],
    side: Side,
    *,
    model: Retrued | str,
    inverse: Table | None,
) -> SideCheck:
    mine = read[side]
    offset, moment = (float(v[0]) for v in offset_and_moment(mine.seen, mine.expected))
    by_slope = None if inverse is None else _by_slope(context, read, inverse[side])
    bow = model if isinstance(model, Retrued) else None
    correction = None if bow is None or not bow.solution.solved_side(side) else bow.solution.bend_deg(side)
    best = by_slope if correction is None else correction
    band = None if inverse is None or best is None else _correction_spread(read, inverse[side]).about(best)
    sight, planned = _sight(mine.seen, mine.expected), _sight(_as_planned(mine.expected), mine.expected)
    return SideCheck(
        side=side,
        how="photograph" if isinstance(measured.sides[side], PhotoReading) else "ruler",
        seen=sight,
        planned=planned,
        offset_mm=offset,
        wanted_mm=context.wanted_mm[side],
        moment_n_mm=moment,
        tip_n_mm=None if bow is None else -float(bow.solution.worn_before.moment_n_mm[side][0]),
        correction_deg=correction,
        correction_by_slope_deg=by_slope,
        bend_off_deg=None if bow is None else bow.bend_off_deg[side],
        offset=spread_of(mine.offsets_mm, mine.sd_by_slopes(0)).about(offset),
        moment=spread_of(mine.moments_n_mm, mine.sd_by_slopes(1)).about(moment),
        correction=band,
        verdict=verdict_of(correction, band, seen=sight, planned=planned),
        notes=side_notes(sight, planned, by_slope_deg=by_slope, correction_deg=correction),
    )


def _by_slope(context: CheckContext, read: Mapping[Side, _Read], degrees: Mapping[Side, float]) -> float:
    """The correction by the plan's slopes, for the line as it was read."""
    off = {
        t: float(offset_and_moment(r.seen, r.expected)[0][0]) - context.wanted_mm[t] for t, r in read.items()
    }
    return -sum(degrees[t] * off[t] for t in read)


def _correction_spread(read: Mapping[Side, _Read], degrees: Mapping[Side, float]) -> Spread:
    sampled = -np.sum([degrees[t] * r.offsets_mm for t, r in read.items()], axis=0)
    sd = float(np.linalg.norm([degrees[t] * r.sd_by_slopes(0) for t, r in read.items()]))
    return spread_of(sampled, sd)


def _as_planned(expected: Expected) -> Seen:
    return Seen(expected.hook_mm[None], expected.angle[None], expected.force_n[None])


def _sight(seen: Seen, expected: Expected) -> Sight:
    """The first row of ``seen`` in plain numbers; two straps as their resultant, which is the line of force."""
    force = seen.force_n[0] * expected.share
    back, up = float(force @ np.cos(seen.angle[0])), float(force @ np.sin(seen.angle[0]))
    whole = float(np.hypot(back, up)) / float(np.average(expected.share, weights=seen.force_n[0]))
    hook = seen.hook_mm[0]
    return Sight(float(hook[1]), float(hook[0]), float(np.degrees(np.arctan2(up, back))), whole)
