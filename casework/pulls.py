"""Neck strap, high pull and both together for one case, side by side: the same scans and centres, three bends."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from casework.bow_needs import landmark
from casework.case_file import CaseModel, PullKind, SidePullModel, StrapModel
from casework.cautions import CAUTIONS
from casework.frame import treatment_rotation
from casework.plan import Plan, SidePlan
from casework.planning import bow_in_hand, told_plan
from casework.proposals import ready_case
from casework.pull_context import KeyRidge, key_ridge
from casework.pull_words import Comfort, comfort_of
from casework.scans import Scan, read_scans
from casework.side_centre import SideCentre, side_centre
from casework.solving import SolvedBend, solved_bend
from mechanics.bend.trial import Trial
from mechanics.line_of_force import force_line
from mechanics.sides import SIDES, Side, outward_sign
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError, BowtrueError

KINDS: tuple[PullKind, ...] = ("cervical", "high_pull", "combination")
CAP_SHARE = 0.5  # of the force of both straps together: our choice
_BACK_OFF = (1.0, 0.75, 0.5, 0.25)


@dataclass(frozen=True)
class GivenForces:
    """Forces per side in N that replace the case's; ``both`` is neck strap and cap of the combination."""

    neck: float | None = None
    cap: float | None = None
    both: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        for value in (self.neck, self.cap, *(self.both or ())):
            if value is not None and not 0.0 < value <= 30.0:
                raise BadValueError(f"a strap's force must lie above 0 and up to 30 N; got {value:g}.")


@dataclass(frozen=True)
class Reach:
    """Offset of the loaded line from the target (mm, positive apical) at a bend (degrees, positive up)."""

    bend_deg: float
    offset_mm: float


@dataclass(frozen=True)
class PullSide:
    """One side under one pull. ``bendable``: whether anything may be bent from that plan.

    ``down`` and ``up``: the farthest bends within the limit that the bow bears.

    ``hook_*_mm``: the worn hook from the tube's mesial end, treatment frame. ``strap_rise_mm``: how far above the hook
    each strap leaves the skin, None where only an angle is given. ``ridge_offset_mm``: offset of the line from the key
    ridge, positive when it passes above: context only.
    """

    before: Reach
    after: Reach
    down: Reach | None
    up: Reach | None
    solved: bool
    bendable: bool
    line_deg: float
    distal_n: float
    vertical_n: float
    lateral_n: float
    strap_n: float
    hook_back_mm: float
    hook_up_mm: float
    hook_out_mm: float
    hook_travel_mm: float
    strap_rise_mm: tuple[float | None, ...]
    skin_mm: float | None
    movement: str | None
    movement_words: str
    ridge_offset_mm: float | None
    comfort: Comfort


@dataclass(frozen=True, eq=False)
class PulledKind:
    """One kind of pull: its plan and what is read off it, or why there is none. ``assumed``: what is not the case's."""

    kind: PullKind
    forces_n: Mapping[Side, tuple[float, ...]]
    plan: Plan | None
    sides: Mapping[Side, PullSide]
    assumed: tuple[str, ...]
    refused: str | None = None


@dataclass(frozen=True, eq=False)
class PullComparison:
    """Every kind in the order of ``KINDS``; ``own``: the case's."""

    case_id: str
    own: PullKind
    kinds: tuple[PulledKind, ...]
    ridge: Mapping[Side, KeyRidge]

    def of(self, kind: PullKind) -> PulledKind:
        """The entry of ``kind``."""
        return next(k for k in self.kinds if k.kind == kind)


@dataclass(frozen=True, eq=False)
class _Shared:
    """What the three plans have in common; ``rotation`` takes LPS to the treatment frame.

    ``warnings`` and ``findings``: of the landmarks, for every plan.
    """

    scans: dict[str, Scan]
    centres: dict[Side, SideCentre]
    rotation: Array
    warnings: tuple[str, ...]
    findings: tuple[str, ...]


def compared_pulls(
    case: CaseModel,
    folder: Path,
    *,
    forces: GivenForces | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> PullComparison:
    """The three pulls of ``case``; scans and centres are read once. A pull that cannot be planned says why.

    The straps of a side together carry the case's force on every pull unless ``forces`` says otherwise. Raises
    BowtrueError when scans or centres fail, or no pull at all can be planned.
    """
    given = GivenForces() if forces is None else forces
    plain = case.model_copy(
        update={"module": None, "choices": case.choices.model_copy(update={"samples": 0})}
    )
    progress("reading the scans")
    scans = read_scans(plain, folder)
    located = ready_case(plain, scans)
    plain = located.case
    rotation = treatment_rotation(landmark(plain, "occlusal_plane_mm"))
    progress("centres of resistance")
    centres = {side: side_centre(plain, side, scans.get(f"{side}_molar"), rotation) for side in SIDES}
    shared = _Shared(scans, centres, rotation, located.warnings, located.findings)
    ridge = {s: key_ridge(s, centres[s].report.anatomy, plain, rotation) for s in SIDES}
    kinds = []
    for kind in KINDS:
        progress(f"planning the {kind.replace('_', ' ')}")
        kinds.append(_pulled(case_for(plain, kind, given), kind, shared, ridge))
    if all(k.plan is None for k in kinds):
        raise BadValueError(f"no pull can be planned: {kinds[KINDS.index(case.pull.kind)].refused}")
    return PullComparison(case.case_id, case.pull.kind, tuple(kinds), ridge)


def case_for(case: CaseModel, kind: PullKind, forces: GivenForces) -> CaseModel:
    """``case`` with another kind of pull; straps keep the angles that the case gives them."""
    sides = {s: _side_for(case.pull.side(s), case.pull.kind, kind, forces) for s in SIDES}
    pull = case.pull.model_copy(update={"kind": kind, "right": sides["right"], "left": sides["left"]})
    return case.model_copy(update={"pull": pull})


def _side_for(own: SidePullModel, was: PullKind, kind: PullKind, forces: GivenForces) -> SidePullModel:
    neck = own if was != "high_pull" else None
    cap = own if was == "high_pull" else own.high
    total = own.newtons + (own.high.newtons if own.high else 0.0)
    if kind == "cervical":
        return SidePullModel(force_n=forces.neck or total, **_line(neck))
    if kind == "high_pull":
        return SidePullModel(force_n=forces.cap or total, **_line(cap))
    if forces.both is not None:
        n_neck, n_cap = forces.both
    elif was == "combination" and own.high is not None:
        n_neck, n_cap = own.newtons, own.high.newtons
    else:
        n_neck, n_cap = (1.0 - CAP_SHARE) * total, CAP_SHARE * total
    return SidePullModel(force_n=n_neck, high=StrapModel(force_n=n_cap, **_line(cap)), **_line(neck))


def _line(model: StrapModel | None) -> dict[str, Any]:
    return {} if model is None else {"angle_deg": model.angle_deg, "midline_deg": model.midline_deg}


def _pulled(case: CaseModel, kind: PullKind, shared: _Shared, ridge: Mapping[Side, KeyRidge]) -> PulledKind:
    forces = {s: _forces(case.pull.side(s)) for s in SIDES}
    face = shared.scans["face"].surface if "face" in shared.scans else None
    try:
        bend = solved_bend(
            case, shared.centres, shared.rotation, face=face, own_bow=bow_in_hand(shared.scans)
        )
        told = told_plan(case, shared.scans, shared.centres, bend, shared.rotation)
        plan = replace(
            told, warnings=(*shared.warnings, *told.warnings), findings=(*shared.findings, *told.findings)
        )
        sides = {s: _side(s, plan, bend, case, shared.rotation, ridge[s]) for s in SIDES}
    except BowtrueError as err:
        return PulledKind(kind, forces, None, {}, assumed_lines(case), str(err))
    return PulledKind(kind, forces, plan, sides, assumed_lines(case))


def _forces(pull: SidePullModel) -> tuple[float, ...]:
    return (pull.newtons,) if pull.high is None else (pull.newtons, pull.high.newtons)


def assumed_lines(case: CaseModel) -> tuple[str, ...]:
    """Which straps' lines do not come from the case."""
    return tuple(
        f"The {word}'s place is not in the case (landmarks.{head}_right_mm, {head}_left_mm): it is laid over the face "
        "scan where that reaches, else along the usual angle."
        for word, head, angles in _straps_of(case)
        if not all(getattr(case.landmarks, f"{head}_{s}_mm") is not None for s in SIDES) and None in angles
    )


def _straps_of(case: CaseModel) -> list[tuple[str, str, list[float | None]]]:
    """Each strap's word, the stem of its landmarks, and the angle that each side gives it."""
    own: list[SidePullModel] = [case.pull.side(s) for s in SIDES]
    found = []
    if case.pull.kind != "high_pull":
        found.append(("neck strap", "strap", [m.angle_deg for m in own]))
    if case.pull.kind != "cervical":
        caps = own if case.pull.kind == "high_pull" else [m.high for m in own]
        found.append(("cap", "high_strap", [None if m is None else m.angle_deg for m in caps]))
    return found


def _side(
    side: Side, plan: Plan, bend: SolvedBend, case: CaseModel, rotation: Array, ridge: KeyRidge
) -> PullSide:
    s = plan.sides[side]
    line = bend.solution.line_after[side]
    hook = rotation @ s.hook_mm
    away = hook - rotation @ s.rule.tube_mesial_mm
    force = rotation @ (s.strap_force_n * s.strap_direction)
    limit = case.choices.bend_limit_deg
    rises = tuple(
        None if strap.toward_mm is None else float((rotation @ strap.toward_mm)[2] - hook[2])
        for strap in plan.straps[side].straps
    )
    return PullSide(
        before=Reach(0.0, s.offset_before_mm),
        after=Reach(s.bend_deg, s.offset_after_mm),
        down=_reach(bend, side, -limit),
        up=_reach(bend, side, limit),
        solved=s.solved,
        bendable=plan.bendable,
        line_deg=line.angle_deg,
        distal_n=s.distal_n,
        vertical_n=s.vertical_n,
        lateral_n=s.lateral_n,
        strap_n=s.strap_force_n,
        hook_back_mm=float(away[1]),
        hook_up_mm=float(away[2]),
        hook_out_mm=outward_sign(side) * float(away[0]),
        hook_travel_mm=s.hook_travel_mm,
        strap_rise_mm=rises,
        skin_mm=s.skin_mm,
        movement=None if s.movement is None else s.movement.kind,
        movement_words=_movement_words(s),
        ridge_offset_mm=force_line(hook, force, target_mm=rotation @ ridge.point_mm, side=side).offset_mm,
        comfort=comfort_of(skin_mm=s.skin_mm, bend_deg=s.bend_deg, straps=len(rises)),
    )


def _movement_words(s: SidePlan) -> str:
    return "not predicted: the roots are not seen" if s.movement is None else s.movement.words


def _reach(bend: SolvedBend, side: Side, most_deg: float) -> Reach | None:
    """The line at ``most_deg`` of bend on both sides, or at the farthest quarter of it that bow and straps bear."""
    for share in _BACK_OFF:
        trial: Trial = {s: {**bend.solution.trial[s], "bend_deg": share * most_deg} for s in SIDES}
        try:
            worn = bend.case.worn(trial, wear=bend.solution.worn_after.near)
            return Reach(share * most_deg, bend.case.lines(worn)[side].offset_mm)
        except BowtrueError:
            continue
    return None


def comparison_as_dict(found: PullComparison) -> dict[str, Any]:
    """The tree of ``pulls.json``; docs/pulls.md describes every key."""
    return {
        "schema": 1,
        "case_id": found.case_id,
        "own_pull": found.own,
        "key_ridge": {s: {"point_mm": r.point_mm.tolist(), "how": r.how} for s, r in found.ridge.items()},
        "pulls": [_kind_as_dict(k) for k in found.kinds],
        "cautions": [c.text for c in CAUTIONS],
    }


def _kind_as_dict(pulled: PulledKind) -> dict[str, Any]:
    return {
        "kind": pulled.kind,
        "strap_forces_n": {s: list(f) for s, f in pulled.forces_n.items()},
        "assumed": list(pulled.assumed),
        "refused": pulled.refused,
        "warnings": [] if pulled.plan is None else [*pulled.plan.refusals, *pulled.plan.warnings],
        "sides": {s: _side_as_dict(p) for s, p in pulled.sides.items()},
    }


def _side_as_dict(p: PullSide) -> dict[str, Any]:
    tree = {k: v for k, v in vars(p).items() if k not in ("before", "after", "down", "up", "comfort")}
    for name in ("before", "after", "down", "up"):
        reach: Reach | None = getattr(p, name)
        tree[name] = None if reach is None else {"bend_deg": reach.bend_deg, "offset_mm": reach.offset_mm}
    tree["strap_rise_mm"] = list(p.strap_rise_mm)
    tree["comfort"] = {"points": p.comfort.points, "most": p.comfort.most, "reasons": list(p.comfort.reasons)}
    return {k: (np.asarray(v).tolist() if isinstance(v, np.generic) else v) for k, v in tree.items()}
