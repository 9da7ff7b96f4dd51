"""When no bend within its limits meets the goal: which of arm length, hook place or pull would."""

from __future__ import annotations

from dataclasses import dataclass

from mechanics.bend.solve import BEND_ONLY, BendCase, BendSolution, solve_bend
from mechanics.bend.trial import Name
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
    found = [h for name in OPTIONS if (h := _tried(case, solution, name, short)) is not None]
    return tuple(sorted(found, key=lambda h: not h.works))


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
    bend = {s: trial.bend_deg(s) for s in sides}
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
