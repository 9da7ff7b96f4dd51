"""The module's answer for a case: force and line of force at every hole and posture, and the hole to choose.

Everything is computed on the bent bow of the plan. The neck is the cylinder that the straps touch at their landmarks.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from casework.case_file import CaseModel, SidePullModel
from casework.module_answer import Envelope, HoldState, ModuleAnswer, ModuleRow, ModuleSide
from casework.module_setup import ModuleSetup, bent_anew, module_setup, solved_row
from casework.posture import HINGES_SAID, postures_of
from casework.solving import SolvedBend
from mechanics.bend.goal import worn_lines
from mechanics.force_module.equilibrium import BandState, Grip, ModuleState
from mechanics.force_module.posture import STRAIGHT, Posture
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError, BowtrueError, NoAnswerError
from mesh_tools.surface import Surface

_SLACK_N = 1e-6
_SETTLED_N = 0.01
_ROUNDS = 8
_UNEVEN = 0.05
CAP_SAID = "A head cap moves with the head: turning and nodding change neither its force nor its line (our assumption)."
ROUND_SAID = (
    "The strap's length is that round a cylinder which both straps touch (our assumption): there is no scan or [head] "
    "to lay it on."
)
LENGTH_SAID = (
    "module.slack_mm is not given: holes count from the length that gives the wanted force, plus is tighter."
)
UNEVEN_SAID = (
    "The two sides ask for different forces of one neck strap, but a strap that slides carries one tension: the table "
    "is for the mean of the two."
)


def module_solved(
    case: CaseModel,
    solve: Callable[[CaseModel], SolvedBend],
    rotation: Array,
    *,
    face: Surface | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> tuple[CaseModel, SolvedBend, ModuleAnswer | None]:
    """The case with its forces known, its bend and what the module does; ``solve`` gives the bend of a case.

    ``face`` is the face scan in LPS.

    Where a strap takes its force ``from_module``, bend and module are solved in turn until the force stays within
    0.01 N. Raises BadValueError when the hole leaves that strap slack, beyond the table or released.
    """
    bend = solve(case)
    if case.module is None:
        return case, bend, None
    progress("the force module in every hole and posture")
    setup = module_setup(case, bend, rotation, face=face)
    hole = case.module.hole
    if hole is None:
        hole = 0 if case.module.slack_mm is None else best_hole(_straight_rows(setup), setup.wanted_n)
    if _asked(case):
        setup = _forced(setup, solve, hole)
    return setup.case, setup.bend, module_answer(setup, hole)


def module_answer(setup: ModuleSetup, hole: int) -> ModuleAnswer:
    """The whole table; ``hole`` is the one the plan stands on."""
    rows, wanted = _rows(setup, hole), setup.slack_wanted_mm()
    alike = [r for r in rows if r.grip == setup.first_grip]
    envelopes = (_envelope(alike, h, s) for h in setup.holes for s in SIDES)
    return ModuleAnswer(
        band=setup.band,
        wanted_n=setup.wanted_n,
        hole=hole,
        best_hole=best_hole(rows, setup.wanted_n),
        relative=setup.module.slack_mm is None,
        slack_wanted_mm=float(sum(wanted.values()) * (0.5 if setup.neck is None else 1.0)),
        neck_radius_mm=None if setup.neck is None else setup.neck.radius_mm,
        rows=tuple(rows),
        envelopes=tuple(e for e in envelopes if e is not None),
        assumptions=tuple(_assumptions(setup)),
        warnings=tuple(_warnings(setup, rows, hole)),
    )


def best_hole(rows: Sequence[ModuleRow], wanted_n: Mapping[Side, float]) -> int:
    """The hole whose tension with the head straight is nearest the wanted one, among those the table knows.

    Raises NoAnswerError when there is none.
    """
    miss: dict[int, float] = {}
    for row in rows:
        if row.posture != STRAIGHT or row.sides is None or row.hole in miss:
            continue
        if all(row.sides[s].state in ("holds", "slack") for s in SIDES):
            miss[row.hole] = sum(abs(row.sides[s].tension_n - wanted_n[s]) for s in SIDES)
    if not miss:
        raise NoAnswerError(
            "no hole gives a force that the module's table knows; check module.slack_mm, hole_pitch_mm and the table."
        )
    return min(miss, key=lambda h: (round(miss[h], 6), h))


def _asked(case: CaseModel) -> bool:
    pulls = [case.pull.side(s) for s in SIDES]
    return any(p.from_module or (p.high is not None and p.high.from_module) for p in pulls)


def _forced(setup: ModuleSetup, solve: Callable[[CaseModel], SolvedBend], hole: int) -> ModuleSetup:
    """The setup with the forces of ``hole`` in its case, and its bend; solved in turn."""
    for _ in range(_ROUNDS):
        state = solved_row(setup, hole, STRAIGHT, setup.first_grip)
        case, change = _with_forces(setup.case, state, hole)
        if change < _SETTLED_N:
            return setup
        setup = bent_anew(setup, case, solve(case))
    raise NoAnswerError(
        "bend and module do not settle on one force; give the force itself instead of from_module."
    )


def _with_forces(case: CaseModel, state: ModuleState, hole: int) -> tuple[CaseModel, float]:
    """``case`` with the force of every strap that takes it from its module, and the largest change in N."""
    change, sides = 0.0, {}
    for side in SIDES:
        model, new = case.pull.side(side), dict[str, object]()
        if model.from_module:
            force = _known_n(state.bands[0], side, hole)
            change = max(change, abs(force - model.newtons))
            new |= {"force_n": force, "force_gf": None}
        if model.high is not None and model.high.from_module:
            if len(state.bands) < 2:
                raise BadValueError(f"pull.{side}.high.from_module needs the table module.high; add it.")
            force = _known_n(state.bands[1], side, hole)
            change = max(change, abs(force - model.high.newtons))
            new["high"] = model.high.model_copy(update={"force_n": force, "force_gf": None})
        sides[side] = model.model_copy(update=new)
    return _with_sides(case, sides), change


def _with_sides(case: CaseModel, sides: Mapping[Side, SidePullModel]) -> CaseModel:
    pull = case.pull.model_copy(update={str(s): model for s, model in sides.items()})
    return case.model_copy(update={"pull": pull})


def _known_n(own: BandState, side: Side, hole: int) -> float:
    """Tension of one module; raises BadValueError where there is none to take."""
    found = hold_state(own, side)
    if found != "holds":
        words = "slack" if found == "slack" else f"{found} there" if found == "releases" else found
        raise BadValueError(
            f"module.hole {hole}: the {side} {own.band.name} strap's module is {words} "
            f"({own.extension_mm[side]:.1f} mm), so from_module has no force to take: choose another hole."
        )
    return float(own.tension_n[side])


def hold_state(own: BandState, side: Side) -> HoldState:
    """Whether one module holds, is slack, is past its table's end or has let go."""
    if own.releases(side):
        return "releases"
    if own.beyond(side):
        return "beyond the table"
    return "slack" if own.tension_n[side] < _SLACK_N else "holds"


def _straight_rows(setup: ModuleSetup) -> list[ModuleRow]:
    return _rows_of(setup, STRAIGHT, setup.first_grip, setup.holes)


def _rows(setup: ModuleSetup, hole: int) -> list[ModuleRow]:
    """Every hole in every posture; the ``hole`` of the plan with the strap held too, where that differs."""
    rows = list[ModuleRow]()
    for posture in postures_of(setup.case, neck=setup.neck is not None):
        rows += _rows_of(setup, posture, setup.first_grip, setup.holes)
        if setup.module.grip == "both" and setup.neck is not None and posture.turn_deg:
            rows += _rows_of(setup, posture, "held", (hole,))
    return rows


def _rows_of(setup: ModuleSetup, posture: Posture, grip: Grip, holes: Sequence[int]) -> list[ModuleRow]:
    """``holes`` in one posture, each solved from the one before."""
    rows = list[ModuleRow]()
    near: ModuleState | None = None
    for hole in holes:
        try:
            near = solved_row(setup, hole, posture, grip, near)
            sides = {s: _side(setup, near, s) for s in SIDES}
            yields = near.worn.max_stress_mpa > setup.case.bow.proof_mpa
            rows.append(ModuleRow(hole, posture, grip, sides, yields=yields))
        except BowtrueError as err:
            rows.append(ModuleRow(hole, posture, grip, None, str(err)))
    return rows


def _side(setup: ModuleSetup, state: ModuleState, side: Side) -> ModuleSide:
    own, force = state.bands[0], state.worn.strap_force_n[side]
    tension, extension, held = own.tension_n[side], own.extension_mm[side], hold_state(own, side)
    if force < _SLACK_N:
        return ModuleSide(tension, extension, 0.0, None, None, 0.0, held)
    line = worn_lines(state.worn, setup.bend.case.targets_mm)[side]
    return ModuleSide(
        tension, extension, force, line.angle_deg, line.offset_mm, line.tipping_moment_n_mm, held
    )


def _envelope(rows: Sequence[ModuleRow], hole: int, side: Side) -> Envelope | None:
    mine = [r for r in rows if r.hole == hole]
    seen = [r.sides[side] for r in mine if r.sides is not None]
    angles = [x.angle_deg for x in seen if x.angle_deg is not None]
    offsets = [x.offset_mm for x in seen if x.offset_mm is not None]
    if not angles:
        return None
    known = all(r.sides is not None and r.sides[side].state in ("holds", "slack") for r in mine)
    return Envelope(hole, side, _span([x.tension_n for x in seen]), _span(angles), _span(offsets), known)


def _span(values: Sequence[float]) -> tuple[float, float]:
    return float(np.min(values)), float(np.max(values))


def _assumptions(setup: ModuleSetup) -> list[str]:
    found = [] if setup.neck is None else [HINGES_SAID]
    if setup.neck is not None and not setup.on_skin:
        found.append(ROUND_SAID)
    found += [CAP_SAID] if setup.case.pull.kind != "cervical" else []
    return found + ([LENGTH_SAID] if setup.module.slack_mm is None else [])


def _warnings(setup: ModuleSetup, rows: Sequence[ModuleRow], hole: int) -> list[str]:
    found, (right, left) = [], (setup.wanted_n[s] for s in SIDES)
    if setup.neck is not None and abs(right - left) > _UNEVEN * max(right, left):
        found.append(UNEVEN_SAID)
    return found + [text for row in rows if row.hole == hole for text in _row_warnings(row)]


def _row_warnings(row: ModuleRow) -> list[str]:
    where = f"Module, hole {row.hole}, {row.posture.name}, strap {row.grip}"
    if row.sides is None:
        return [f"{where}: {row.refused}"]
    words = {
        "releases": "lets go", "beyond the table": "is drawn past its table's last row", "slack": "is slack",
    }  # fmt: skip
    told = [f"{where}: the bow is stressed past its proof stress and would take a set."] if row.yields else []
    return told + [
        f"{where}: the {side} one {words[seen.state]} at {seen.extension_mm:.1f} mm."
        for side, seen in row.sides.items()
        if seen.state in words
    ]
