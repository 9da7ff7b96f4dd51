"""What every row of a module's table shares: the bent bow, the neck, the strap's length at each hole."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from casework.case_file import CaseModel
from casework.module_model import ModuleCurveModel, ModuleModel
from casework.posture import hinges_of, strap_points
from casework.solving import SolvedBend, chosen_wear
from casework.strap_paths import strap_paths
from mechanics.bow.wire import Wear
from mechanics.force_module.equilibrium import Band, Grip, ModuleState, module_equilibrium
from mechanics.force_module.lay import (
    NeckCylinder,
    StrapLay,
    adjusted,
    halves_of,
    posed,
    straight_lay,
)
from mechanics.force_module.posture import STRAIGHT, NeckHinges, Posture, neck_motion
from mechanics.rod.wear import elastic_wear
from mechanics.sides import SIDES, Side
from mechanics.strap.path import BandName
from mechanics.strap.pull import Strap
from mesh_tools.arrays import Array
from mesh_tools.surface import Surface

_RELATIVE = (-2, -1, 0, 1, 2)


@dataclass(frozen=True, eq=False)
class ModuleSetup:
    """The varying strap of a case on its bent bow, treatment frame.

    ``half_mm``: hook to nape (or cap) along the strap on the bow as first planned; ``wanted_n``: the force the case
    asks of each end; ``on_skin``: the strap's length is that of its way over the scan. Neck and strap length stay when
    the bow is bent anew.
    """

    case: CaseModel
    module: ModuleModel
    bend: SolvedBend
    rotation: Array
    neck: NeckCylinder | None
    hinges: NeckHinges | None
    lay: StrapLay
    half_mm: Mapping[Side, float]
    wanted_n: Mapping[Side, float]
    on_skin: bool = False

    @property
    def band(self) -> BandName:
        """The strap whose hole varies."""
        return "head" if self.neck is None else "neck"

    @property
    def first_grip(self) -> Grip:
        """How the strap is taken with the head straight, where both grips come to the same."""
        return "held" if self.neck is None or self.module.grip == "held" else "free"

    @property
    def holes(self) -> tuple[int, ...]:
        """Holes of the table: the strap's own, or steps from the length that gives the wanted force."""
        return _RELATIVE if self.module.slack_mm is None else tuple(range(1, self.module.holes + 1))

    def posed_lay(self, posture: Posture) -> StrapLay:
        """The varying strap's way in ``posture``."""
        if self.neck is None or self.hinges is None or posture == STRAIGHT:
            return self.lay
        return posed(self.lay, neck_motion(posture, self.hinges))

    def slack_wanted_mm(self) -> dict[Side, float]:
        """Length at rest of each half that gives the wanted force; the mean force for a strap both sides share."""
        curve = self.module.curve()
        mean = float(np.mean([self.wanted_n[s] for s in SIDES]))
        force = {s: mean if self.neck is not None else self.wanted_n[s] for s in SIDES}
        return {s: self.half_mm[s] - float(curve.extension_at(force[s])) for s in SIDES}

    def slack_mm(self, hole: int) -> dict[Side, float]:
        """Length at rest of each half at ``hole``."""
        first, steps = self.slack_wanted_mm(), hole
        if self.module.slack_mm is not None:
            first, steps = self._given_slack_mm(self.module.slack_mm), hole - 1
        return {s: first[s] - steps * self.module.hole_pitch_mm for s in SIDES}

    def _given_slack_mm(self, length_mm: float) -> dict[Side, float]:
        """Each half's length at rest at hole 1; a neck strap is laid so that both modules are drawn alike."""
        if self.neck is None:
            return dict.fromkeys(SIDES, length_mm)
        drawn = 0.5 * (self.half_mm["right"] + self.half_mm["left"] - length_mm)
        return {s: self.half_mm[s] - drawn for s in SIDES}


def module_setup(
    case: CaseModel, bend: SolvedBend, rotation: Array, *, face: Surface | None = None
) -> ModuleSetup:
    """The setup of a case with a ``[module]`` on its planned bow; ``face`` in LPS gives the strap its true length.

    Raises CaseError for a strap whose place is not known.
    """
    assert case.module is not None
    hooks = bend.solution.worn_after.hook_mm
    wanted = {s: case.pull.side(s).newtons for s in SIDES}
    if case.pull.kind == "high_pull":
        lay = straight_lay(strap_points(bend, 0, stem="high_strap"))
        half = lay(hooks).half_mm
        return ModuleSetup(case, case.module, bend, rotation, None, None, lay, half, wanted)
    points = strap_points(bend, 0, stem="strap")
    neck = NeckCylinder.touched_at(points, hooks)
    hinges = hinges_of(case, rotation, neck, bend.case.bow.tubes)
    more = _more_than(neck, case, bend, rotation, face)
    round_it = neck(hooks).leaves_mm
    lay = adjusted(
        neck,
        add_mm=dict.fromkeys(SIDES, 0.0) if more is None else more,
        shift_mm={s: points[s] - round_it[s] for s in SIDES},
    )
    half = lay(hooks).half_mm
    return ModuleSetup(case, case.module, bend, rotation, neck, hinges, lay, half, wanted, more is not None)


def _more_than(
    neck: NeckCylinder, case: CaseModel, bend: SolvedBend, rotation: Array, face: Surface | None
) -> dict[Side, float] | None:
    """How much longer each half is over the scanned neck than round the cylinder; None without a path over skin."""
    hooks = bend.solution.worn_after.hook_mm
    laid = strap_paths(case, bend.case, hooks, rotation, face).paths
    path = next((p for p in laid if p.band == "neck"), None)
    if path is None:
        return None
    half, round_it = halves_of(path.moved(rotation)), neck(hooks).half_mm
    return {s: half[s] - round_it[s] for s in SIDES}


def bent_anew(setup: ModuleSetup, case: CaseModel, bend: SolvedBend) -> ModuleSetup:
    """The same strap on another bend."""
    return replace(setup, case=case, bend=bend)


def solved_row(
    setup: ModuleSetup, hole: int, posture: Posture, grip: Grip, near: ModuleState | None = None
) -> ModuleState:
    """Module, bow and straps in equilibrium at one hole in one posture; raises what ``module_equilibrium`` does."""
    band = Band(setup.band, setup.module.curve(), setup.posed_lay(posture), setup.slack_mm(hole), grip)
    cap, also = _cap(setup)
    return module_equilibrium(
        setup.bend.solution.bench,
        [band] if cap is None else [band, cap],
        setup.bend.case.supports,
        wear=_noting_wear(setup.case),
        also=also,
        near=near,
    )


def _noting_wear(case: CaseModel) -> Wear:
    """The case's wear; an elastic bow that yields is noted, not refused, since a posture may do that to it."""
    if case.choices.bow == "rigid":
        return chosen_wear(case)
    return partial(elastic_wear, ideal_tubes=case.choices.ideal_tubes, yielding="note")


def _cap(setup: ModuleSetup) -> tuple[Band | None, dict[Side, tuple[Strap, ...]]]:
    """In combination pull the cap's band with its own module, or its strap of constant force."""
    none: dict[Side, tuple[Strap, ...]] = dict.fromkeys(SIDES, ())
    if setup.case.pull.kind != "combination":
        return None, none
    if setup.module.high is None:
        return None, {s: setup.bend.case.straps[s].straps[1:] for s in SIDES}
    lay = straight_lay(strap_points(setup.bend, 1, stem="high_strap"))
    half = lay(setup.bend.solution.worn_after.hook_mm).half_mm
    slack = _cap_slack(setup.case, setup.module.high, half)
    return Band("head", setup.module.high.curve(), lay, slack, "held"), none


def _cap_slack(case: CaseModel, module: ModuleCurveModel, half_mm: Mapping[Side, float]) -> dict[Side, float]:
    """Length at rest of the cap's straps: at the hole given, else at that nearest the wanted force, else what gives
    it."""
    curve, wanted = module.curve(), {s: _high_n(case, s) for s in SIDES}
    if module.slack_mm is None:
        return {s: half_mm[s] - float(curve.extension_at(wanted[s])) for s in SIDES}
    lengths = {h: module.slack_mm - (h - 1) * module.hole_pitch_mm for h in range(1, module.holes + 1)}

    def miss(hole: int) -> float:
        return sum(abs(float(curve.force_at(half_mm[s] - lengths[hole])) - wanted[s]) for s in SIDES)

    return dict.fromkeys(SIDES, lengths[min(lengths, key=miss) if module.hole is None else module.hole])


def _high_n(case: CaseModel, side: Side) -> float:
    high = case.pull.side(side).high
    assert high is not None
    return high.newtons
