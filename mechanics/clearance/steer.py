"""A bow kept just clear of the face as it is worn: bend and load, look, carry an arm sideways, bend again.

The clearance is a constraint on the worn shape: the least gap between each worn outer arm and the cheek, the lesser of
the two with the bend and before it, is brought to the wanted one by widening or narrowing the arm as it is made
(``mechanics.bow.widen``). Load and bend carry an arm by a shift that hardly depends on how wide the bow is, so the gap
of a wider bow is foretold from the arm as worn now; a further round goes by what the last one brought.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from mechanics.bend.solve import BendSolution
from mechanics.bend.trial import Trial
from mechanics.bow.fit import LIPS_MM
from mechanics.bow.skin import PAST_LIPS_MM, Skin
from mechanics.bow.widen import SPREAD_MM, Widening, widened
from mechanics.bow.wire import BowWire, WornBow
from mechanics.clearance.along import passing_mm
from mechanics.sides import SIDES, Side, outward_sign
from mesh_tools.arrays import Array
from mesh_tools.errors import BowtrueError

SHORT_MM, OVER_MM = 0.2, 1.0  # gap that may be missing or left over: our choice
MOST_MM = (-6.0, 15.0)  # narrowed and widened by no more than this: our choice
LEVER_MM = 25.0  # between the two turns of a widening
STEP_MM = 1.0
LIPS_PARTS = (
    2.0  # the gap is asked for from so many LIPS_MM outward of the mouth corner: up to there the wire rises
)
Solve = Callable[[BowWire, Trial], BendSolution]


@dataclass(frozen=True, eq=False)
class Steered:
    """The bow whose worn arms keep clear, or come nearest to it, its bend, and what was done to it.

    ``least_mm``: least gap of each worn arm to the cheek, the lesser of the two with the bend and before it.
    """

    bow: BowWire
    solution: BendSolution
    least_mm: Mapping[Side, float]
    widened_mm: Mapping[Side, float] = field(default_factory=dict)
    rounds: int = 0


@dataclass(frozen=True, eq=False)
class _Arm:
    """One arm from the cheek's beginning to the hook, worn with the bend and before it: lengths (n,) from the joint's
    middle, places (2, n, 3) and wire radii (n,)."""

    s_mm: Array
    places_mm: Array
    radius_mm: Array


def kept_clear(
    bow: BowWire,
    solution: BendSolution,
    solve: Solve,
    *,
    skin: Skin,
    corner_mm: Mapping[Side, Array],
    wanted_mm: float,
    most: int = 3,
) -> Steered:
    """``bow`` widened or narrowed until its worn arms keep ``wanted_mm`` from the cheeks; ``solve`` bends a bow,
    beginning from a trial, ``solution`` is the bend of ``bow`` itself.

    It ends when both sides are between ``SHORT_MM`` below and ``OVER_MM`` above, after ``most`` rounds, or where a bow
    cannot be made or bent; the best round counts.
    """
    begin = cheek_from_mm(bow, corner_mm, lips=LIPS_PARTS)
    arms = _arms(bow, solution, begin)
    ways = {s: _turns(bow, s, arms[s], begin[s], skin, wanted_mm) for s in SIDES}
    first = Steered(bow, solution, _least(arms, skin), dict.fromkeys(SIDES, 0.0))
    best = now = first
    while now.rounds < most and any(not _met(now.least_mm[s], wanted_mm) for s in SIDES):
        try:
            now = _round(first, now, solve, begin, ways, skin, wanted_mm)
        except BowtrueError:
            break
        best = min(best, now, key=lambda one: _worth(one, wanted_mm))
    return best


def cheek_from_mm(bow: BowWire, corner_mm: Mapping[Side, Array], *, lips: float = 1.0) -> dict[Side, float]:
    """Where the cheek begins along each outer arm, from the joint's middle: ``lips`` times ``LIPS_MM`` outward of the
    mouth corner."""
    found: dict[Side, float] = {}
    for side in SIDES:
        s = passing_mm(bow.outer, bow.joint, side, corner_mm[side], beyond_mm=lips * LIPS_MM)
        found[side] = PAST_LIPS_MM if s is None else s
    return found


def _round(
    first: Steered,
    now: Steered,
    solve: Solve,
    begin: Mapping[Side, float],
    ways: Mapping[Side, tuple[float, float]],
    skin: Skin,
    wanted_mm: float,
) -> Steered:
    """The first bow widened anew, by what it was before and what is still missing, and its bend."""
    arms = _arms(now.bow, now.solution, begin)
    changes: dict[Side, Widening] = {}
    for side in SIDES:
        missing = _missing(arms[side], side, ways[side], skin, wanted_mm)
        out = now.widened_mm[side] + missing / _gain(first, now, side)
        changes[side] = Widening(float(np.clip(out, *MOST_MM)), *ways[side])
    made = widened(first.bow, changes)
    solution = solve(made, now.solution.trial)
    amounts = {s: changes[s].outward_mm for s in SIDES}
    return Steered(made, solution, _least(_arms(made, solution, begin), skin), amounts, now.rounds + 1)


def _gain(first: Steered, now: Steered, side: Side) -> float:
    """How much the worn gap has grown for each millimetre the arm was carried out; 1 before anything was."""
    if abs(now.widened_mm[side]) < 0.1:
        return 1.0
    grown = (now.least_mm[side] - first.least_mm[side]) / now.widened_mm[side]
    return float(np.clip(grown, 0.5, 2.0))


def _arms(bow: BowWire, solution: BendSolution, begin: Mapping[Side, float]) -> dict[Side, _Arm]:
    return {s: _arm(bow, solution, s, begin[s]) for s in SIDES}


def _arm(bow: BowWire, solution: BendSolution, side: Side, begin_mm: float) -> _Arm:
    states: list[tuple[BowWire, WornBow]] = [
        (solution.bench, solution.worn_after),
        (bow, solution.worn_before),
    ]
    reach = min(b.arm_length_mm(side) for b, _ in states)
    s = np.linspace(min(begin_mm, reach), reach, max(2, int((reach - begin_mm) / STEP_MM) + 1))
    sign = outward_sign(side)
    places = np.stack([w.outer.at(b.joint.outer_middle_mm + sign * s) for b, w in states])
    radius = 0.5 * bow.outer.diameter_at(bow.joint.outer_middle_mm + sign * s)
    return _Arm(s, places, radius)


def _gaps(arm: _Arm, skin: Skin, outward: Array) -> Array:
    """Gap (n,) at each place, the lesser of the two states, with the arm carried by ``outward`` (n,) along x."""
    moved = arm.places_mm + outward[:, None] * np.array([1.0, 0.0, 0.0])
    return np.asarray(skin.distance_mm(moved.reshape(-1, 3)).reshape(2, -1).min(axis=0) - arm.radius_mm)


def _least(arms: Mapping[Side, _Arm], skin: Skin) -> dict[Side, float]:
    return {s: float(_gaps(arm, skin, np.zeros(len(arm.s_mm))).min()) for s, arm in arms.items()}


def _turns(
    bow: BowWire, side: Side, arm: _Arm, begin_mm: float, skin: Skin, wanted_mm: float
) -> tuple[float, float]:
    """Where the wire is turned out and back: ahead of the first place that comes too near, behind joint and lips."""
    gaps = _gaps(arm, skin, np.zeros(len(arm.s_mm)))
    first = float(arm.s_mm[np.argmax(gaps < max(wanted_mm, float(gaps.min()) + 0.5))])
    back = min(first, bow.bend_place_mm[side] - SPREAD_MM)
    half = 0.5 * (bow.joint.outer_to_mm - bow.joint.outer_from_mm) + 0.5 * SPREAD_MM
    front = max(half, begin_mm - SPREAD_MM, back - LEVER_MM)
    return front, max(back, front + LEVER_MM)


def _missing(arm: _Arm, side: Side, way: tuple[float, float], skin: Skin, wanted_mm: float) -> float:
    """How much farther out the arm should lie for the least gap to be the wanted one, foretold from the arm as worn.

    The gap grows by nearly as much as the arm is carried out, so adding what is missing soon settles.
    """
    share = np.clip((arm.s_mm - way[0]) / (way[1] - way[0]), 0.0, 1.0) * outward_sign(side)
    out = 0.0
    for _ in range(6):
        short = wanted_mm - float(_gaps(arm, skin, out * share).min())
        out = float(np.clip(out + short, *MOST_MM))
        if abs(short) < 0.05:
            break
    return out


def _met(least_mm: float, wanted_mm: float) -> bool:
    return wanted_mm - SHORT_MM <= least_mm <= wanted_mm + OVER_MM


def _worth(one: Steered, wanted_mm: float) -> tuple[bool, float]:
    """The less, the better: solved first, then gap missing, or left over, beyond what may be."""
    off = [max(wanted_mm - SHORT_MM - g, g - wanted_mm - OVER_MM, 0.0) for g in one.least_mm.values()]
    return not one.solution.solved, max(off)
