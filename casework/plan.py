"""The plan: one frozen record of everything decided for a case. All coordinates are LPS mm, origin as in the scans."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from casework.centre import CentreReport
from casework.module_answer import ModuleAnswer
from mechanics.bow.passivity import TerminalFit
from mechanics.bow.wire import BowWire, WornBow
from mechanics.centres.movement import Movement
from mechanics.clearance.along import Clearance
from mechanics.making.bend_schedule import BendSchedule
from mechanics.sides import Side
from mechanics.strap.path import StrapPath
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array, frozen
from mesh_tools.surface import Surface


@dataclass(frozen=True, eq=False)
class RuleMarks:
    """The rule of thumb as it is marked on the patient: from the tube's mesial end so far up and so far back."""

    tube_mesial_mm: Array
    tube_distal_mm: Array
    corner_mm: Array
    point_mm: Array
    up_mm: float
    back_mm: float


@dataclass(frozen=True, eq=False)
class CheekMarks:
    """What is marked on the cheek of one side, LPS mm; "up" and "back" are measured over the curved skin.

    ``mark_mm``: the tube's mesial end carried to the skin along x; ``dot_mm``: the target projected on the skin along
    x; ``rule_dot_mm``: the rule of thumb's point likewise; ``corner_mm``: on the skin above the mark, as high as the
    dot. ``up_mm``/``back_mm`` lead from mark to dot at right
    angles to, and along, the occlusal plane; ``rule_*`` from mark to the rule's dot. ``path_mm``/``rule_path_mm``
    (n, 3): those ways over the skin, up first. ``depth_mm``: from the target out to its dot.
    """

    mark_mm: Array
    dot_mm: Array
    rule_dot_mm: Array
    corner_mm: Array
    up_mm: float
    back_mm: float
    rule_up_mm: float
    rule_back_mm: float
    path_mm: Array
    rule_path_mm: Array
    depth_mm: float


@dataclass(frozen=True, eq=False)
class Wrench:
    """Force (3,) N and moment (3,) N mm that the bow puts on the molar, about its target, LPS axes."""

    force_n: Array
    moment_n_mm: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "force_n", frozen(self.force_n, (3,), name="force_n"))
        object.__setattr__(self, "moment_n_mm", frozen(self.moment_n_mm, (3,), name="moment_n_mm"))


@dataclass(frozen=True, eq=False)
class BenchWork:
    """How one arm is made: ``plier_deg`` is the angle to go to under the plier, which springs back to the bend.

    ``schedule`` leads from the fitted bow to the bent one, by length, rotation and angle; None when the arm is cut
    or lengthened, or stays as it is. ``told`` says why, or what to mind.
    """

    plier_deg: float
    beak_radius_mm: float
    schedule: BendSchedule | None
    told: tuple[str, ...] = ()


@dataclass(frozen=True)
class SideBands:
    """What the inputs' spread leaves open, each the middle 95 %: bend in degrees, residual moment in N mm.

    ``offset_sd_mm``: standard deviation of the target under the solved line.
    """

    bend_low_deg: float
    bend_high_deg: float
    moment_low_n_mm: float
    moment_high_n_mm: float
    offset_sd_mm: float
    samples: int


@dataclass(frozen=True, eq=False)
class SidePlan:
    """One side: what to bend, and what the molar feels before and after.

    ``offset_*`` is the signed distance in mm from the target to the loaded line of force in the sagittal plane,
    positive when the line passes apical of it; ``tipping_moment_*`` is the force in that plane times the offset.
    ``tip_*_n_mm`` is the tipping moment that really reaches the molar about the target through the shared bow,
    positive when it carries the roots back; it differs from the line's on an asymmetric bow.
    ``bend_place_mm`` is measured along the outer wire from the middle of the joint; ``bend_deg`` is positive up.
    ``widened_mm``: how much farther out the arm is made, before any bend, than it was fitted, so that it keeps clear
    of the cheek as worn; below zero farther in, 0 for a bow in hand.
    """

    side: Side
    tooth: int
    centre: CentreReport
    target_method: str
    target_mm: Array
    rule: RuleMarks
    arm_length_mm: float
    bend_deg: float
    bend_place_mm: float
    bend_point_mm: Array
    hook_before_mm: Array
    hook_bench_mm: Array
    hook_mm: Array
    strap_toward_mm: Array | None
    strap_direction: Array
    strap_direction_before: Array
    strap_force_n: float
    offset_before_mm: float
    offset_after_mm: float
    tipping_moment_before_n_mm: float
    tipping_moment_after_n_mm: float
    tip_before_n_mm: float
    tip_after_n_mm: float
    wrench_at_centre: Wrench
    distal_n: float
    vertical_n: float
    lateral_n: float
    solved: bool
    movement: Movement | None
    movement_before: Movement | None
    bench: BenchWork
    fit: TerminalFit
    widened_mm: float = 0.0
    skin_mm: float | None = None
    cheek: CheekMarks | None = None
    bands: SideBands | None = None
    advice: tuple[str, ...] = ()
    sensitivities: dict[str, float] = field(default_factory=dict)

    @property
    def hook_travel_mm(self) -> float:
        """How far the load carries the hook of the bent bow from its bench place."""
        return float(np.linalg.norm(self.hook_mm - self.hook_bench_mm))


@dataclass(frozen=True)
class InputFile:
    """A file the plan was made from, with its fingerprint."""

    name: str
    file: str
    sha256: str


@dataclass(frozen=True, eq=False)
class Plan:
    """The whole plan. ``bow_before`` is the fitted bow, ``bow_bench`` the bent one, ``worn_*`` the same under load.

    ``straps`` are the pulls as given, in LPS. ``strap_paths``: every taut strap that was laid on the skin, LPS.
    ``clearance``: how far the worn bent bow lies from lips, cheeks, teeth and gums, LPS.
    """

    case_id: str
    version: str
    age_years: float | None
    pull_kind: str
    bow_model: str
    treatment_rotation: Array
    sides: dict[Side, SidePlan]
    straps: dict[Side, StrapPull]
    bow_before: BowWire
    bow_bench: BowWire
    worn_before: WornBow
    worn_after: WornBow
    inserted: WornBow | None
    insertion_force_n: dict[Side, float]
    molars: dict[Side, Surface]
    face: Surface | None
    arch: Surface | None
    warnings: tuple[str, ...]
    findings: tuple[str, ...]
    inputs: tuple[InputFile, ...]
    strap_paths: tuple[StrapPath, ...] = ()
    module: ModuleAnswer | None = None
    clearance: Clearance | None = None

    @property
    def bendable(self) -> bool:
        """Whether anything may be bent at the bench from this plan: both arms are one bow, so both or neither."""
        return not self.refusals

    @property
    def refusals(self) -> tuple[str, ...]:
        """Why nothing may be bent from this plan, one sentence each; empty for a sound one."""
        found = []
        if self.bow_model == "rigid":
            found.append(
                "The bow was taken as RIGID in this plan: a real bow gives way under the strap, so nothing may be bent "
                "at the bench from it."
            )
        if not self.worn_after.converged:
            found.append(
                "The bent bow under its straps was NOT solved to balance: its forces are not known, so neither arm may "
                "be bent from this plan."
            )
        missed = [side for side, s in self.sides.items() if not s.solved]
        if missed:
            found.append(
                f"The bend was NOT reached on the {' and the '.join(missed)} side. Both sides share one bow, and the "
                "bend of either moves the other: neither arm may be bent from this plan."
            )
        inside = [side for side, s in self.sides.items() if s.skin_mm is not None and s.skin_mm <= 0.0]
        if inside:
            found.append(
                f"The worn outer arm lies in the skin on the {' and the '.join(inside)} side, which would push it "
                "aside: neither arm may be bent from this plan."
            )
        return tuple(found)
