"""Solving on the bench: the plan of the case, the bend that trues the line at a setting of the handles, and the curve
of offset against bend."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from casework.desk.bench import Say, Workbench, case_bend
from casework.desk.handles import Handles, handled, handles_at, trial_of
from casework.desk.live import Live, flexed_live, flexed_wear, rigid_live
from casework.plan import Plan
from casework.planning import told_plan
from mechanics.bend.solve import BEND_ONLY, solve_bend
from mechanics.sides import Side
from mesh_tools.arrays import Array, frozen
from mesh_tools.errors import BadValueError, BowtrueError


@dataclass(frozen=True, eq=False)
class OffsetCurve:
    """Offset of the line of force from the target (mm, positive apical) against the bend of ``side`` (degrees).

    ``rigid_mm`` and ``flexed_mm`` (n,): NaN where the bow or its straps refuse. ``wanted_mm``: the offset aimed at;
    ``rigid_meets_deg`` and ``flexed_meets_deg``: where each curve meets it, by a straight line between neighbours, or
    None within the bends given.
    """

    side: Side
    bends_deg: Array
    rigid_mm: Array
    flexed_mm: Array
    wanted_mm: float
    rigid_meets_deg: float | None
    flexed_meets_deg: float | None


def solved(bench: Workbench, *, progress: Say = lambda _: None) -> tuple[Handles, Plan]:
    """The plan of the bench's case, as ``casework.planning.plan_case`` makes it, and the handles at its solution.

    They stand for it on a bench that is cleared, as ``workbench`` makes it.

    Raises BowtrueError in one line.
    """
    progress("solving the bend")
    bend = bench.answer or case_bend(bench)
    plan = told_plan(bench.case, bench.scans, bench.centres, bend, bench.rotation)
    return handles_at(replace(bench, ready=bend.case), bend.solution.trial), plan


def trued(bench: Workbench, handles: Handles) -> tuple[Handles, Live]:
    """``handles`` with both bends such that the flexed line meets the goal, all other handles held; and its answer.

    The goal and the limits are the case's. A goal out of reach gives the nearest bend: read ``offset_mm``. Raises
    BowtrueError in one line.
    """
    wear = flexed_wear(bench)
    found = solve_bend(replace(bench.ready, wear=wear), unknowns=BEND_ONLY, start=trial_of(bench, handles))
    ends = handles_at(bench, found.trial, linked=handles.linked)
    return ends, flexed_live(bench, ends)


def offset_curve(
    bench: Workbench, handles: Handles, side: Side, bends_deg: Sequence[float], *, near: Live | None = None
) -> OffsetCurve:
    """Offset at each of ``bends_deg`` (ascending), rigid and flexed, all other handles held; linked sides go together.

    Raises BadValueError for bends that do not ascend.
    """
    bends = frozen(bends_deg, (None,), name="bends_deg")
    if len(bends) < 2 or bool((np.diff(bends) <= 0.0).any()):
        raise BadValueError("bends_deg must be two or more, each greater than the one before.")
    settings = [handled(handles, side, bend_deg=float(b)) for b in bends]
    rigid = np.array([_offset(_tried(bench, s, near=None, rigid=True), side) for s in settings])
    flexed = _flexed(bench, settings, side, near)
    wanted = bench.case.choices.wanted_offset_mm
    return OffsetCurve(
        side, bends, rigid, flexed, wanted, _meets(bends, rigid - wanted), _meets(bends, flexed - wanted)
    )


def _flexed(bench: Workbench, settings: list[Handles], side: Side, near: Live | None) -> Array:
    """Flexed offsets, each started from its neighbour, outward from where ``near`` stands."""
    bends = np.array([s.side(side).bend_deg for s in settings])
    at = bends[0] if near is None else near.handles.side(side).bend_deg
    first = int(np.argmin(np.abs(bends - at)))
    offsets = np.full(len(settings), np.nan)
    for order in (range(first, len(settings)), range(first - 1, -1, -1)):
        last = near
        for k in order:
            found = _tried(bench, settings[k], near=last, rigid=False)
            offsets[k] = _offset(found, side)
            last = found or last
    return offsets


def _tried(bench: Workbench, handles: Handles, *, near: Live | None, rigid: bool) -> Live | None:
    try:
        return rigid_live(bench, handles) if rigid else flexed_live(bench, handles, near=near)
    except BowtrueError:
        return None


def _offset(live: Live | None, side: Side) -> float:
    return float("nan") if live is None else live.sides[side].offset_mm


def _meets(bends: Array, left: Array) -> float | None:
    """Where ``left`` (n,) first changes sign along ``bends`` (n,), between the neighbours nearest to no bend."""
    with np.errstate(invalid="ignore"):
        crossing = np.flatnonzero(left[:-1] * left[1:] <= 0.0)
    if not len(crossing):
        return None
    k = int(crossing[np.argmin(np.abs(bends[crossing]))])
    a, b = float(left[k]), float(left[k + 1])
    share = 0.0 if a == b else a / (a - b)
    return float(bends[k] + share * (bends[k + 1] - bends[k]))
