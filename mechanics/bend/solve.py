"""Solving the bend on the worn bow, both sides together, and reporting what was reached."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from mechanics.bend.goal import Goal, line_goal, worn_lines
from mechanics.bend.newton import Reached, bounded_newton
from mechanics.bend.trial import SCALE, Limits, Name, Trial, Values, as_it_is, trial_bow, trial_straps
from mechanics.bow.rigid_wear import rigid_wear
from mechanics.bow.skin import Skin, arms_from_skin_mm
from mechanics.bow.wire import BowWire, TubeSupport, Wear, WornBow
from mechanics.line_of_force import ForceLine
from mechanics.sides import SIDES, Side
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface

Unknowns = Mapping[Side, tuple[Name, ...]]
BEND_ONLY: dict[Side, tuple[Name, ...]] = {"right": ("bend_deg",), "left": ("bend_deg",)}
AT_BOUND = 1e-6


@dataclass(frozen=True, eq=False)
class BendCase:
    """What stays the same while a bend is sought: bow, pulls, how the molars stand, what is aimed at, who
    wears it. ``cheek_from_mm``: where on each outer arm the cheek begins, from the joint's middle."""

    bow: BowWire
    straps: Mapping[Side, StrapPull]
    supports: Mapping[Side, TubeSupport]
    targets_mm: Mapping[Side, Array]
    goal: Goal
    wear: Wear = rigid_wear
    limits: Limits = field(default_factory=Limits)
    apical_sign: int = 1
    skin: Skin | None = None
    cheek_from_mm: Mapping[Side, float] | None = None

    @classmethod
    def through(
        cls,
        targets_mm: Mapping[Side, Array],
        *,
        bow: BowWire,
        straps: Mapping[Side, StrapPull],
        supports: Mapping[Side, TubeSupport] | None = None,
        wanted_offset_mm: Mapping[Side, float] | None = None,
        wear: Wear = rigid_wear,
        limits: Limits | None = None,
        apical_sign: int = 1,
        face: Surface | None = None,
    ) -> BendCase:
        """The usual case: the loaded line passes each target, or ``wanted_offset_mm`` apical of it."""
        goal = line_goal(targets_mm, wanted_offset_mm=wanted_offset_mm, apical_sign=apical_sign)
        held = {s: TubeSupport(targets_mm[s]) for s in SIDES} if supports is None else supports
        kept = Limits() if limits is None else limits
        skin = None if face is None else Skin(face)
        return cls(bow, straps, held, targets_mm, goal, wear, kept, apical_sign, skin)

    def worn(self, trial: Trial, *, wear: Wear | None = None) -> WornBow:
        """The trial's bow under the trial's pulls."""
        chosen = self.wear if wear is None else wear
        return chosen(trial_bow(self.bow, trial), trial_straps(self.straps, trial), self.supports)

    def lines(self, worn: WornBow) -> dict[Side, ForceLine]:
        """Line of force of each side past its target."""
        return worn_lines(worn, self.targets_mm, apical_sign=self.apical_sign)


@dataclass(frozen=True, eq=False)
class BendSolution:
    """What a bend reached, read off the worn bow and not from the search.

    ``trial``: every number of each side as it ends; ``bench``: the bow bent, without load; ``left_over``:
    the goal's measure per side before and after, in ``unit``; ``at_bound``: numbers that stand at a limit,
    as "side name".
    """

    trial: Trial
    bench: BowWire
    worn_before: WornBow
    worn_after: WornBow
    line_before: Mapping[Side, ForceLine]
    line_after: Mapping[Side, ForceLine]
    left_over_before: Mapping[Side, float]
    left_over: Mapping[Side, float]
    tolerance: float
    unit: str
    at_bound: tuple[str, ...]
    evaluations: int
    refusals: tuple[str, ...]
    skin_mm: Mapping[Side, float] | None

    def solved_side(self, side: Side) -> bool:
        """Whether the goal of one side is met."""
        return abs(self.left_over[side]) <= self.tolerance

    @property
    def solved(self) -> bool:
        """Whether both goals are met by a bow whose statics converged and whose arms stay out of the face."""
        clear = self.skin_mm is None or min(self.skin_mm.values()) > 0.0
        return self.worn_after.converged and clear and all(self.solved_side(s) for s in SIDES)

    def bend_deg(self, side: Side) -> float:
        """The bend of one side, positive up."""
        return self.trial[side]["bend_deg"]

    def hook_travel_mm(self, side: Side) -> float:
        """How far the load carries one hook from its bench place."""
        return float(np.linalg.norm(self.worn_after.hook_mm[side] - self.bench.hook_mm[side]))

    def report(self) -> str:
        """One line a side."""
        rows = []
        for s in SIDES:
            state = "reached" if self.solved_side(s) else "NOT reached"
            left = f"{self.left_over[s]:+.2f} {self.unit} left"
            row = f"{s}: bend {self.bend_deg(s):+.1f} deg, {state}, {left}"
            if self.skin_mm is not None and self.skin_mm[s] <= 0.0:
                row += f", arm {-self.skin_mm[s]:.1f} mm inside the face"
            rows.append(row)
        return "\n".join(rows)


def solve_bend(
    case: BendCase, *, unknowns: Unknowns | None = None, start: Trial | None = None
) -> BendSolution:
    """The smallest change of the ``unknowns`` that meets the goal on both sides at once.

    The first slopes come from the rigid bow, which costs nothing beside an elastic one; the elastic values
    mend them. A goal out of reach is no error: the solution says how much is left and which limit stands in
    the way. Raises BadValueError for no unknown at all, and whatever the bow or the straps refuse.
    """
    chosen = [(s, n) for s in SIDES for n in (BEND_ONLY if unknowns is None else unknowns).get(s, ())]
    if not chosen:
        raise BadValueError("the bend needs at least one unknown on one side; name one, such as bend_deg.")
    base = as_it_is(case.bow) if start is None else {s: dict(start[s]) for s in SIDES}
    scale = np.array([SCALE[n] for _, n in chosen])
    low, high = _bounds(case, base, chosen)
    given = np.array([base[s][n] for s, n in chosen])
    x0 = np.clip(given, low, high) / scale
    seen: dict[bytes, WornBow] = {}

    def left_over(x: Array, wear: Wear | None = None) -> Array:
        last = next(reversed(seen.values()), None) if wear is None else None
        worn = case.worn(with_values(base, chosen, x * scale), wear=last.near if last else wear)
        if wear is None:
            seen[x.tobytes()] = worn
        left = case.goal.measure(worn)
        return np.array([left[s] for s in sides])

    sides = [s for s in SIDES if any(side == s for side, _ in chosen)]
    slopes = _rigid_slopes(left_over, x0, low=low / scale, high=high / scale)
    tolerance = 0.5 * case.goal.tolerance
    found = bounded_newton(
        left_over, x0, low=low / scale, high=high / scale, jacobian=slopes, tolerance=tolerance
    )
    untouched = start is None and np.array_equal(x0 * scale, given)
    before = seen[x0.tobytes()] if untouched else case.worn(as_it_is(case.bow))
    trial = with_values(base, chosen, found.x * scale)
    at_bound = _at_bound(chosen, found.x * scale, low, high)
    return _solution(case, trial, (before, seen[found.x.tobytes()]), at_bound, found)


def with_values(base: Trial, chosen: list[tuple[Side, Name]], values: Array) -> dict[Side, Values]:
    """``base`` with the ``chosen`` numbers set to ``values``."""
    trial: dict[Side, Values] = {s: dict(base[s]) for s in SIDES}
    for (side, name), value in zip(chosen, values, strict=True):
        trial[side][name] = float(value)
    return trial


def _bounds(case: BendCase, base: Trial, chosen: list[tuple[Side, Name]]) -> tuple[Array, Array]:
    ranges = np.array([case.limits.of(n, case.bow, s, base[s]) for s, n in chosen])
    for k, (side, name) in enumerate(chosen):
        if name == "pull_n":
            ranges[k, 0] = max(ranges[k, 0], -0.75 * sum(strap.force_n for strap in case.straps[side].straps))
    return ranges[:, 0], ranges[:, 1]


def _rigid_slopes(
    left_over: Callable[[Array, Wear | None], Array], x: Array, *, low: Array, high: Array
) -> Array:
    """Slopes (n, m) of the rigid bow by one-sided differences of half a unit, away from the nearer bound."""
    here = left_over(x, rigid_wear)
    columns = []
    for k in range(len(x)):
        h = 0.5 if high[k] - x[k] >= x[k] - low[k] else -0.5
        ahead = x.copy()
        ahead[k] += h
        columns.append((left_over(ahead, rigid_wear) - here) / h)
    return np.stack(columns, axis=1)


def _at_bound(chosen: list[tuple[Side, Name]], values: Array, low: Array, high: Array) -> tuple[str, ...]:
    near = (values - low < AT_BOUND) | (high - values < AT_BOUND)
    return tuple(f"{s} {n}" for (s, n), at in zip(chosen, near, strict=True) if at)


def _solution(
    case: BendCase, trial: Trial, worn: tuple[WornBow, WornBow], at_bound: tuple[str, ...], found: Reached
) -> BendSolution:
    before, after = worn
    bench = trial_bow(case.bow, trial)
    return BendSolution(
        trial=trial,
        bench=bench,
        worn_before=before,
        worn_after=after,
        line_before=case.lines(before),
        line_after=case.lines(after),
        left_over_before=case.goal.measure(before),
        left_over=case.goal.measure(after),
        tolerance=case.goal.tolerance,
        unit=case.goal.unit,
        at_bound=at_bound,
        evaluations=found.evaluations,
        refusals=found.refusals,
        skin_mm=None
        if case.skin is None
        else arms_from_skin_mm(after.outer, bench.joint, case.skin, from_mm=case.cheek_from_mm),
    )
