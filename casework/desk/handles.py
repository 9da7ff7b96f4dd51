"""The handles of the bench: what a hand may move on each side, and how far."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from casework.desk.bench import Workbench
from casework.desk.draft import Draft, with_landmark, with_value
from mechanics.bend.solve import BendCase
from mechanics.bend.trial import Name, Range, Trial, Values, as_it_is
from mechanics.sides import SIDES, Side
from mesh_tools.errors import BadValueError

_TRIAL: dict[str, Name] = {
    "bend_deg": "bend_deg", "place_mm": "place_mm", "arm_mm": "length_mm", "rise_mm": "rise_mm",
    "force_n": "pull_n", "strap_up_mm": "pull_up_mm", "strap_back_mm": "pull_back_mm",
}  # fmt: skip
_FORCE_N = (0.5, 10.0)  # what a hand may try; the case itself takes up to 30 N: our choice


@dataclass(frozen=True)
class ArmHandles:
    """One side. ``bend_deg`` positive up, ``place_mm`` of the bend and ``arm_mm`` length of the arm along the outer
    wire from the joint's middle, ``rise_mm`` of a step that lifts the hook, ``force_n`` of all straps of the side
    together, and how far their landmarks are moved up and back in the treatment frame."""

    bend_deg: float
    place_mm: float
    arm_mm: float
    rise_mm: float
    force_n: float
    strap_up_mm: float = 0.0
    strap_back_mm: float = 0.0


@dataclass(frozen=True)
class Handles:
    """Both sides; ``linked``: a hand on one side moves the other by as much."""

    right: ArmHandles
    left: ArmHandles
    linked: bool = True

    def side(self, side: Side) -> ArmHandles:
        """The handles of ``side``."""
        return self.right if side == "right" else self.left


HANDLES = tuple(f.name for f in fields(ArmHandles))


def handles_of(bench: Workbench, *, linked: bool = True) -> Handles:
    """The handles as the case stands: unbent, arms, forces and straps as given."""
    start = as_it_is(bench.ready.bow)
    place = bench.case.bow.bend_place_mm
    arms = {
        s: ArmHandles(
            bend_deg=0.0,
            place_mm=start[s]["place_mm"] if place is None else place,
            arm_mm=start[s]["length_mm"],
            rise_mm=0.0,
            force_n=_given_n(bench.ready, s),
        )
        for s in SIDES
    }
    return Handles(arms["right"], arms["left"], linked)


def handled(handles: Handles, side: Side, **changes: float) -> Handles:
    """``handles`` with some of ``side`` set (``bend_deg=12.0``), and of the other side too when they are linked.

    Raises BadValueError for an unknown handle and a value that is not a finite number.
    """
    for name, value in changes.items():
        if name not in HANDLES:
            raise BadValueError(f"unknown handle {name!r}; known are {', '.join(HANDLES)}.")
        if not np.isfinite(value):
            raise BadValueError(f"{side} {name} must be a finite number; got {value}.")
    moved = {s: handles.linked or s == side for s in SIDES}
    arms = {s: replace(handles.side(s), **changes) if moved[s] else handles.side(s) for s in SIDES}
    return replace(handles, right=arms["right"], left=arms["left"])


def trial_of(bench: Workbench, handles: Handles) -> Trial:
    """The handles as the numbers of a trial of ``bench.ready``."""
    trial: dict[Side, Values] = as_it_is(bench.ready.bow)
    for side in SIDES:
        arm = handles.side(side)
        trial[side] |= {_TRIAL[name]: float(getattr(arm, name)) for name in HANDLES}
        trial[side]["pull_n"] = arm.force_n - _given_n(bench.ready, side)
    return trial


def handles_at(bench: Workbench, trial: Trial, *, linked: bool = False) -> Handles:
    """The handles that stand for ``trial``."""
    arms: dict[str, Any] = {}
    for side in SIDES:
        numbers = {name: trial[side][_TRIAL[name]] for name in HANDLES}
        numbers["force_n"] += _given_n(bench.ready, side)
        arms[side] = ArmHandles(**numbers)
    return Handles(arms["right"], arms["left"], linked)


def ranges(bench: Workbench, handles: Handles) -> dict[Side, Mapping[str, Range]]:
    """How far each handle may go, the others standing as they are; (0, 0) for what does nothing, such as the place of a
    strap that runs along an angle."""
    ready, trial = bench.ready, trial_of(bench, handles)
    found: dict[Side, Mapping[str, Range]] = {}
    for side in SIDES:
        one = {n: ready.limits.of(_TRIAL[n], ready.bow, side, dict(trial[side])) for n in HANDLES}
        fixed = any(strap.direction is not None for strap in ready.straps[side].straps)
        place: dict[str, Range] = dict.fromkeys(("strap_up_mm", "strap_back_mm"), (0.0, 0.0)) if fixed else {}
        found[side] = {**one, "force_n": _FORCE_N, **place}
    return found


def kept_handles(draft: Draft, bench: Workbench, handles: Handles) -> Draft:
    """``draft`` with what a case file holds of ``handles``, as one step: force, arm length, place of bend, strap
    landmarks. The bend and the step are what a plan solves for, so they are not kept.

    Raises BadValueError when the two sides' bends are at different places, for a case has one, and for a moved strap
    that has no landmark to move.
    """
    start, now = handles_of(bench), draft
    for side in SIDES:
        was, arm = start.side(side), handles.side(side)
        if arm.force_n != was.force_n:
            now = _with_force(now, side, arm.force_n / was.force_n)
        if arm.arm_mm != was.arm_mm:
            now = with_value(now, ("bow", f"arm_length_{side}_mm"), round(arm.arm_mm, 3))
        now = _with_strap(now, bench, side, arm)
    now = _with_place(now, start, handles)
    return now if now.values == draft.values else replace(now, past=(*draft.past, draft.values), future=())


def _with_place(draft: Draft, start: Handles, handles: Handles) -> Draft:
    moved = {s: handles.side(s).place_mm for s in SIDES if handles.side(s).place_mm != start.side(s).place_mm}
    if not moved:
        return draft
    if abs(handles.right.place_mm - handles.left.place_mm) > 1e-3:
        raise BadValueError(
            f"the bends stand at {handles.right.place_mm:.1f} and {handles.left.place_mm:.1f} mm; a case has one "
            "place for both sides: link the sides, or keep the bow's own places."
        )
    return with_value(draft, ("bow", "bend_place_mm"), round(handles.right.place_mm, 3))


def _with_force(draft: Draft, side: Side, factor: float) -> Draft:
    for path in (("pull", side), ("pull", side, "high")):
        table = draft.value(path)
        if isinstance(table, dict):
            key = "force_gf" if "force_gf" in table else "force_n"
            draft = with_value(draft, (*path, key), round(table[key] * factor, 4))
    return draft


def _with_strap(draft: Draft, bench: Workbench, side: Side, arm: ArmHandles) -> Draft:
    shift = bench.lps(np.array([0.0, arm.strap_back_mm, arm.strap_up_mm]))
    if not shift.any():
        return draft
    names = (f"strap_{side}_mm", f"high_strap_{side}_mm")
    points = {name: draft.value(("landmarks", name)) for name in names}
    if all(point is None for point in points.values()):
        raise BadValueError(
            f"the {side} strap was moved, but the case gives no landmark for it: place landmarks.{names[0]} first."
        )
    for name, point in points.items():
        if point is not None:
            draft = with_landmark(draft, name, np.asarray(point) + shift)
    return draft


def _given_n(ready: BendCase, side: Side) -> float:
    return float(sum(strap.force_n for strap in ready.straps[side].straps))
