"""The bow as it is in the mouth, found from where its hook was measured, and the bend that would true it.

The difference between the measured hook and the plan's is taken as a bend and a length other than the plan's: the two
that a hook's place up and back can tell apart. The bend is then solved anew on that bow under the measured straps.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from casework.check.context import CheckContext
from casework.check.line import Expected, Seen
from mechanics.bend.newton import bounded_newton
from mechanics.bend.solve import BendCase, BendSolution, solve_bend, with_values
from mechanics.bend.trial import SCALE, Name, Trial, as_it_is, trial_bow
from mechanics.bow.rigid_wear import rigid_wear
from mechanics.bow.wire import Wear
from mechanics.sides import SIDES, Side
from mechanics.strap.pull import Strap, StrapPull
from mesh_tools.arrays import Array
from mesh_tools.errors import BowtrueError

_TOLERANCE_MM = 0.02
_STEP = 0.5


@dataclass(frozen=True, eq=False)
class Retrued:
    """``bend_off_deg`` and ``length_off_mm``: how the bow in the mouth differs from the plan's; ``solution``: its
    trueing; ``left_mm``: how far its hooks still are from those measured."""

    bend_off_deg: dict[Side, float]
    length_off_mm: dict[Side, float]
    left_mm: float
    solution: BendSolution


def retrued(context: CheckContext, seen: Mapping[Side, Seen]) -> Retrued | str:
    """The measured bow and its new bend on the sides of ``seen`` (one row each), or why there is no such bow."""
    straps = {s: _pull(context, s, seen[s]) if s in seen else context.bend.straps[s] for s in SIDES}
    case = replace(context.bend, straps=straps)
    try:
        trial, left = _as_made(case, context.expected, seen)
        made = replace(case, bow=trial_bow(case.bow, trial))
        chosen: dict[Side, tuple[Name, ...]] = {s: ("bend_deg",) for s in SIDES if s in seen}
        solution = solve_bend(made, unknowns=chosen)
    except BowtrueError as err:
        return str(err)
    start = as_it_is(case.bow)
    return Retrued(
        {s: trial[s]["bend_deg"] for s in seen},
        {s: trial[s]["length_mm"] - start[s]["length_mm"] for s in seen},
        left,
        solution,
    )


def _as_made(
    case: BendCase, expected: Mapping[Side, Expected], seen: Mapping[Side, Seen]
) -> tuple[Trial, float]:
    """Bend and length of each measured arm that carry its worn hook to where it was measured."""
    base = as_it_is(case.bow)
    names: tuple[Name, Name] = ("bend_deg", "length_mm")
    chosen = [(s, n) for s in SIDES if s in seen for n in names]
    scale = np.array([SCALE[n] for _, n in chosen])
    x0 = np.array([base[s][n] for s, n in chosen]) / scale
    bounds = np.array([case.limits.of(n, case.bow, s, base[s]) for s, n in chosen]) / scale[:, None]
    low, high = np.minimum(bounds[:, 0], x0), np.maximum(bounds[:, 1], x0)
    marks = {s: case.bow.tubes[s].mesial_mm[1:] for s in SIDES}

    def off(x: Array, wear: Wear | None = None) -> Array:
        worn = case.worn(with_values(base, chosen, x * scale), wear=wear)
        return np.concatenate(
            [worn.hook_mm[s][1:] - marks[s] - seen[s].hook_mm[0] for s in SIDES if s in seen]
        )

    at = off(x0, rigid_wear)
    columns = [(off(x0 + _STEP * e, rigid_wear) - at) / _STEP for e in np.eye(len(x0))]
    found = bounded_newton(
        off, x0, low=low, high=high, jacobian=np.stack(columns, axis=1), tolerance=_TOLERANCE_MM
    )
    return with_values(base, chosen, found.x * scale), float(np.abs(found.r).max())


def _pull(context: CheckContext, side: Side, seen: Seen) -> StrapPull:
    """The straps as measured: each keeps how far out of the sagittal plane it runs."""
    expected, straps = context.expected[side], context.bend.straps[side].straps
    rotation = context.plan.treatment_rotation
    hook = rotation @ context.plan.sides[side].hook_mm
    mark = rotation @ context.plan.sides[side].rule.tube_mesial_mm
    at = np.array([hook[0], *(mark[1:] + seen.hook_mm[0])])
    made = []
    for k, strap in enumerate(straps):
        share, angle = float(expected.share[k]), float(seen.angle[0, k])
        way = np.array([strap.direction_at(hook)[0], share * np.cos(angle), share * np.sin(angle)])
        if strap.toward_mm is None:
            made.append(Strap(float(seen.force_n[0, k]), direction=way))
        else:
            far = float(np.linalg.norm(strap.toward_mm - at))
            made.append(Strap(float(seen.force_n[0, k]), toward_mm=at + far * way))
    return StrapPull(tuple(made))
