"""How much the loaded line of force moves for a small change of what the bench and the chair can set."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mechanics.bend.solve import BendCase, with_values
from mechanics.bend.trial import Name, Trial
from mechanics.bow.wire import WornBow
from mechanics.sides import SIDES, Side

STEP: dict[Name, float] = {
    "bend_deg": 0.5, "length_mm": 0.5, "pull_n": 0.1, "pull_up_mm": 1.0, "pull_back_mm": 1.0, "pull_deg": 0.5,
}  # fmt: skip


@dataclass(frozen=True)
class Sensitivity:
    """Change of one side's offset (mm, positive apical) for one unit of that side's own number, the rest
    kept.

    ``per_degree_other``: for one degree of bend on the *other* side, through the bow both share. A pull
    toward a point has no ``per_pull_degree`` and one along a direction no ``per_pull_mm_*``: those stand at
    0.
    """

    per_degree: float
    per_degree_other: float
    per_mm_arm: float
    per_newton: float
    per_pull_mm_up: float
    per_pull_mm_back: float
    per_pull_degree: float


def sensitivities(case: BendCase, trial: Trial, *, worn: WornBow | None = None) -> dict[Side, Sensitivity]:
    """Slopes at ``trial`` by one-sided differences on the worn bow (``worn`` is the trial's own, worn anew
    if None).

    One evaluation for each number of each side that the pulls have.
    """
    known = case.worn(trial) if worn is None else worn
    here = {s: line.offset_mm for s, line in case.lines(known).items()}
    slopes: dict[Side, dict[tuple[Name, Side], float]] = {s: {} for s in SIDES}
    for side in SIDES:
        for name in STEP:
            if not _has(case, side, name):
                slopes[side][name, side] = 0.0
                continue
            there = case.lines(case.worn(_stepped(case, trial, side, name), wear=known.near))
            step = _step(case, trial, side, name)
            for s in SIDES:
                slopes[s][name, side] = (there[s].offset_mm - here[s]) / step
    return {s: _record(slopes[s], s) for s in SIDES}


def _has(case: BendCase, side: Side, name: Name) -> bool:
    straps = case.straps[side].straps
    if name in ("pull_up_mm", "pull_back_mm"):
        return any(s.turns for s in straps)
    if name == "pull_deg":
        return any(s.direction is not None for s in straps)
    return name != "pull_n" or sum(s.force_n for s in straps) > 0.0


def _step(case: BendCase, trial: Trial, side: Side, name: Name) -> float:
    """The step, turned round where it would pass a limit."""
    step = STEP[name]
    high = case.limits.of(name, case.bow, side, dict(trial[side]))[1]
    return -step if trial[side][name] + step > high else step


def _stepped(case: BendCase, trial: Trial, side: Side, name: Name) -> Trial:
    value = trial[side][name] + _step(case, trial, side, name)
    return with_values(trial, [(side, name)], np.array([value]))


def _record(slopes: dict[tuple[Name, Side], float], side: Side) -> Sensitivity:
    other: Side = "left" if side == "right" else "right"
    return Sensitivity(
        per_degree=slopes["bend_deg", side],
        per_degree_other=slopes["bend_deg", other],
        per_mm_arm=slopes["length_mm", side],
        per_newton=slopes["pull_n", side],
        per_pull_mm_up=slopes["pull_up_mm", side],
        per_pull_mm_back=slopes["pull_back_mm", side],
        per_pull_degree=slopes["pull_deg", side],
    )
