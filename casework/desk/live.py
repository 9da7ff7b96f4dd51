"""Answers while a handle moves: the rigid bow within a frame, the flexed bow within the blink of an eye.

All that is given back is in LPS mm, N and N mm. Solving is ``solving.py``.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np

from casework.desk.bench import Workbench
from casework.desk.handles import Handles, trial_of
from casework.plan import Wrench
from casework.side_plan import movement_of
from mechanics.bend.trial import Trial, trial_bow
from mechanics.bow.rigid_wear import rigid_wear
from mechanics.bow.skin import arms_from_skin_mm
from mechanics.bow.wire import BowWire, PartName, Wear, WornBow
from mechanics.centres.movement import Movement
from mechanics.line_of_force import ForceLine
from mechanics.rod.wear import elastic_wear, ideal_tube_wear
from mechanics.sides import SIDES, Side, outward_sign
from mesh_tools.arrays import Array


@dataclass(frozen=True, eq=False)
class LiveSide:
    """One side under load. Points and directions (3,) in LPS.

    The line of force runs from ``hook_mm`` along ``direction``; ``foot_mm`` is where it passes the target in side
    view, ``offset_mm`` from it (positive: apical of it). ``tip_n_mm``: the tipping moment that reaches the molar
    through the shared bow, positive when the roots go back. ``lateral_n`` is outward, ``distal_n`` back,
    ``vertical_n`` up. ``skin_mm``: least distance of the flexed arm to the face
    (None of a rigid one, which the load does not press inward). ``movement``: what the molar does.
    """

    target_mm: Array
    hook_bench_mm: Array
    hook_mm: Array
    direction: Array
    foot_mm: Array
    strap_force_n: float
    offset_mm: float
    tipping_moment_n_mm: float
    tip_n_mm: float
    wrench: Wrench
    distal_n: float
    vertical_n: float
    lateral_n: float
    skin_mm: float | None
    movement: Movement | None


@dataclass(frozen=True, eq=False)
class Live:
    """The bow on the bench and as worn, at one setting of the handles.

    ``bench_mm`` and ``worn_mm``: stations (n, 3) of the ``"inner"`` and ``"outer"`` wire in LPS; ``stress_mpa`` (n,)
    at each; ``max_stress_place``: wire and mm from its right end. ``worn`` is the same in the treatment frame, from
    which the next answer may start.
    """

    rigid: bool
    handles: Handles
    bench_mm: Mapping[PartName, Array]
    worn_mm: Mapping[PartName, Array]
    stress_mpa: Mapping[PartName, Array]
    sides: Mapping[Side, LiveSide]
    max_stress_mpa: float
    max_stress_place: tuple[PartName, float]
    proof_mpa: float
    notes: tuple[str, ...]
    seconds: float
    worn: WornBow


def rigid_live(bench: Workbench, handles: Handles) -> Live:
    """The answer as if the bow did not flex: within milliseconds, for a hand that is still moving.

    Raises BowtrueError in one line for a bend the arm has no room for, or a strap point in front of its hook.
    """
    return _live(bench, handles, rigid_wear)


def flexed_live(bench: Workbench, handles: Handles, *, near: Live | None = None) -> Live:
    """The answer of the flexed bow; quicker from ``near``, a flexed answer of about the same handles.

    A bow stressed beyond its proof stress is answered, with a note. Raises BowtrueError as ``rigid_live`` does, and
    when the bow buckles or slips out of its tubes.
    """
    return _live(bench, handles, flexed_wear(bench, None if near is None else near.worn))


def flexed_wear(bench: Workbench, near: WornBow | None = None) -> Wear:
    """How the bow flexes while handles move: as in the plan, but a bow that yields is noted, not refused."""
    if near is not None and near.near is not None:
        return near.near
    if bench.case.choices.ideal_tubes:
        return ideal_tube_wear
    return partial(elastic_wear, yielding="note")


def _live(bench: Workbench, handles: Handles, wear: Wear) -> Live:
    begin = time.perf_counter()
    trial = trial_of(bench, handles)
    bent = trial_bow(bench.ready.bow, trial)
    worn = worn_by(bench, trial, wear)
    lines = bench.ready.lines(worn)
    skin = dict.fromkeys(SIDES) if wear is rigid_wear else _skin(bench, worn, bent)
    return Live(
        rigid=wear is rigid_wear,
        handles=handles,
        bench_mm={"inner": bench.lps(bent.inner.points_mm), "outer": bench.lps(bent.outer.points_mm)},
        worn_mm={"inner": bench.lps(worn.inner.points_mm), "outer": bench.lps(worn.outer.points_mm)},
        stress_mpa=worn.stress_mpa,
        sides={s: _side(bench, s, bent, worn, lines[s], skin[s]) for s in SIDES},
        max_stress_mpa=worn.max_stress_mpa,
        max_stress_place=worn.max_stress_place,
        proof_mpa=bench.case.bow.proof_mpa,
        notes=worn.notes,
        seconds=time.perf_counter() - begin,
        worn=worn,
    )


def worn_by(bench: Workbench, trial: Trial, wear: Wear) -> WornBow:
    """The trial's bow under the trial's pulls, treatment frame."""
    return bench.ready.worn(trial, wear=wear)


def _skin(bench: Workbench, worn: WornBow, bent: BowWire) -> dict[Side, float | None]:
    if bench.skin is None:
        return dict.fromkeys(SIDES)
    return dict(arms_from_skin_mm(worn.outer, bent.joint, bench.skin, from_mm=bench.ready.cheek_from_mm))


def _side(
    bench: Workbench, side: Side, bent: BowWire, worn: WornBow, line: ForceLine, skin_mm: float | None
) -> LiveSide:
    hook, way = worn.hook_mm[side], worn.strap_direction[side]
    force, moment = worn.force_n[side], worn.moment_n_mm[side]
    foot = foot_mm(hook, way, bench.ready.targets_mm[side])
    return LiveSide(
        target_mm=bench.centres[side].target_mm,
        hook_bench_mm=bench.lps(bent.hook_mm[side]),
        hook_mm=bench.lps(hook),
        direction=bench.lps(way),
        foot_mm=bench.lps(foot),
        strap_force_n=worn.strap_force_n[side],
        offset_mm=line.offset_mm,
        tipping_moment_n_mm=line.tipping_moment_n_mm,
        tip_n_mm=-float(moment[0]),
        wrench=Wrench(bench.lps(force), bench.lps(moment)),
        distal_n=float(force[1]),
        vertical_n=float(force[2]),
        lateral_n=outward_sign(side) * float(force[0]),
        skin_mm=skin_mm,
        movement=movement_of(bench.centres[side], worn, side, bench.rotation),
    )


def foot_mm(hook_mm: Array, direction: Array, target_mm: Array) -> Array:
    """Where the line from ``hook_mm`` along ``direction`` passes ``target_mm`` in side view; (3,), treatment frame."""
    flat = np.array([0.0, *direction[1:]])
    along = float((target_mm - hook_mm) @ flat) / float(flat @ flat)
    return np.asarray(hook_mm + along * direction)
