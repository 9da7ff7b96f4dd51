"""When no bend within its limits meets the goal: which of arm length, hook place or pull would."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from mechanics.bend.solve import BEND_ONLY, BendCase, BendSolution, solve_bend
from mechanics.bend.trial import Name, Trial, Values, as_it_is, trial_straps
from mechanics.sides import SIDES, Side
from mesh_tools.errors import BowtrueError

OPTIONS: dict[Name, tuple[str, str]] = {
    "length_mm": ("the outer arm", "mm longer|mm shorter"),
    "rise_mm": ("the hook", "mm higher|mm lower"),
    "place_mm": ("the bend", "mm farther back|mm farther forward"),
    "pull_up_mm": ("the strap point", "mm higher|mm lower"),
    "pull_deg": ("the strap's line", "degrees more upward|degrees more downward"),
    "pull_n": ("the pull", "N more|N less"),
}
PULL_PARTS = (
    0.9,
    0.8,
    0.7,
    0.6,
    0.5,
    0.35,
    0.25,
    0.15,
)  # of the given pull, tried from the strongest: our choice
PROOF_PART = 0.95  # of the proof stress that a pull which is advised may bring: our choice
CLOSE_N = 0.6  # a pull that is advised may lie so far below the strongest that would do: our choice
LEAST_CHANGE = 0.05  # mm, N or degrees: less is told as 0.0 and helps nobody


@dataclass(frozen=True)
class LessPull:
    """A weaker pull that meets the goal with a sound bow: N of each side, and the bends it takes."""

    pull_n: Mapping[Side, float]
    bend_deg: Mapping[Side, float]

    @property
    def words(self) -> str:
        """ "at most about 8.0 N a side", or each side's own."""
        right, left = (f"{self.pull_n[s]:.1f} N" for s in SIDES)
        return (
            f"at most about {right} a side"
            if right == left
            else f"at most about {right} (right), {left} (left)"
        )


@dataclass(frozen=True)
class Help:
    """One thing that was tried beside the bend: whether it meets the goal, and how far it goes on each
    short side."""

    name: Name
    works: bool
    change: dict[Side, float]
    bend_deg: dict[Side, float]
    text: str


def what_would_help(case: BendCase, solution: BendSolution) -> tuple[Help, ...]:
    """Every option tried in turn on the sides that fall short, the bend still free; those that work come
    first.

    Empty when the bend alone does it.
    """
    short = [s for s in SIDES if not solution.solved_side(s)]
    if not short:
        return ()
    less = less_pull(case, start=solution.trial)
    found = [] if less is None else [_weaker(case, less)]
    names = [n for n in OPTIONS if less is None or n != "pull_n"]
    found += [h for name in names if (h := _tried(case, solution, name, short)) is not None]
    return tuple(sorted(found, key=lambda h: not h.works))


def less_pull(case: BendCase, *, start: Trial | None = None) -> LessPull | None:
    """The strongest of the weaker pulls, both sides lessened alike, under which the bend alone meets the goal and no
    wire comes near its proof stress; None when none does.

    Each is begun from the unbent bow with the places of ``start``: a search that stood still under too strong a pull
    is no good beginning.
    """
    above = 1.0
    for part in PULL_PARTS:
        found = _under(case, part, start)
        if found is not None:
            return _nearer(case, found, (part, above), start)
        above = part
    return None


def _nearer(case: BendCase, found: LessPull, between: tuple[float, float], start: Trial | None) -> LessPull:
    """The strongest pull that does between two parts of the given one, the weaker of which does: by halving."""
    low, high = between
    given = max(sum(strap.force_n for strap in case.straps[s].straps) for s in SIDES)
    while (high - low) * given > CLOSE_N:
        middle = 0.5 * (low + high)
        better = _under(case, middle, start)
        if better is None:
            high = middle
        else:
            low, found = middle, better
    return found


def _under(case: BendCase, part: float, start: Trial | None) -> LessPull | None:
    given = {s: sum(strap.force_n for strap in case.straps[s].straps) for s in SIDES}
    change = as_it_is(case.bow)
    for s in SIDES:
        change[s]["pull_n"] = (part - 1.0) * given[s]
    weaker = replace(case, straps=trial_straps(case.straps, change))
    begin: Trial | None = None if start is None else {s: _unbent(start[s]) for s in SIDES}
    try:
        found = solve_bend(weaker, start=begin)
    except BowtrueError:
        return None
    stress, proof = found.worn_after.max_stress_mpa, case.bow.material.proof_mpa
    if not found.solved or stress > PROOF_PART * proof:
        return None
    return LessPull({s: part * given[s] for s in SIDES}, {s: found.bend_deg(s) for s in SIDES})


def _unbent(values: Values) -> Values:
    return {**values, "bend_deg": 0.0, "pull_n": 0.0}


def _weaker(case: BendCase, less: LessPull) -> Help:
    given = {s: sum(strap.force_n for strap in case.straps[s].straps) for s in SIDES}
    change = {s: less.pull_n[s] - given[s] for s in SIDES}
    bends = "; ".join(f"{s}: a bend of {less.bend_deg[s]:+.1f} deg" for s in SIDES)
    text = f"less pull would do it: {less.words} ({bends})"
    return Help("pull_n", True, change, dict(less.bend_deg), text)


def _tried(case: BendCase, solution: BendSolution, name: Name, short: list[Side]) -> Help | None:
    sides = [s for s in short if _applies(case, s, name)]
    if not sides:
        return None
    unknowns = {s: (*BEND_ONLY[s], name) if s in sides else BEND_ONLY[s] for s in SIDES}
    try:
        trial = solve_bend(case, unknowns=unknowns, start=solution.trial)
    except BowtrueError:
        return None
    change = {s: trial.trial[s][name] - solution.trial[s][name] for s in sides}
    change = {s: d for s, d in change.items() if abs(d) >= LEAST_CHANGE}
    if not change:
        return None
    bend = {s: trial.bend_deg(s) for s in change}
    return Help(name, trial.solved, change, bend, _text(name, trial.solved, change, bend))


def _applies(case: BendCase, side: Side, name: Name) -> bool:
    straps = case.straps[side].straps
    if name == "pull_up_mm":
        return any(s.turns for s in straps)
    return name != "pull_deg" or any(s.direction is not None for s in straps)


def _text(name: Name, works: bool, change: dict[Side, float], bend: dict[Side, float]) -> str:
    thing, words = OPTIONS[name]
    more, less = words.split("|")
    parts = [
        f"{s}: {abs(d):.1f} {more if d >= 0.0 else less} with a bend of {bend[s]:+.1f} deg"
        for s, d in change.items()
    ]
    verdict = "would do it" if works else "would not be enough"
    verb = "moving" if name in ("place_mm", "rise_mm", "pull_up_mm") else "changing"
    return f"{verb} {thing} {verdict} ({'; '.join(parts)})"
