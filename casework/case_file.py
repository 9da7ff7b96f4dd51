"""The case file ``case.toml``: its model, its defaults with their sources, and reading it.

Coordinates are LPS mm: the frame all scans share once their axes and unit are applied. Every key that carries a
unit names it. Unknown keys are refused with the nearest known key; every error names its key path.
"""

from __future__ import annotations

import difflib
import os
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

from pydantic import BaseModel, Field, ValidationError, model_validator

from casework.module_model import ModuleModel
from casework.strict import N_PER_GF as N_PER_GF
from casework.strict import Pair as Pair
from casework.strict import Point as Point
from casework.strict import Strict as Strict
from mechanics.sides import SIDES, Side
from mesh_tools.errors import BadFileError, BadValueError, MissingFileError, one_line

PullKind = Literal["cervical", "high_pull", "combination"]
TargetMethod = Literal[
    "elastic_foundation", "thin_layer", "finite_elements", "rule_of_thumb", "furcation", "root_fraction",
    "root_centroid",
]  # fmt: skip


MOST_FORCE_N = 30.0  # of one strap on one side, far above any use: our choice
_EXACT = 2**53  # whole numbers beyond it are no coordinates, and may not even fit a float


class CaseError(BadValueError):
    """The case file breaks a rule; ``problems`` holds one line for each."""

    def __init__(self, problems: list[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems = tuple(problems)


class RegisterModel(Strict):
    """How a scan with a frame of its own is laid on the others.

    ``to``: the scan, or the scans of one frame, that its surface is laid on; left out, the landmark pairs alone lay it.
    ``moving_mm`` are points of this scan (its axes and unit applied), ``fixed_mm`` the same points in the case's frame.
    """

    to: str | list[str] = Field(default_factory=list[str])
    moving_mm: list[Point] = Field(default_factory=list[list[float]])
    fixed_mm: list[Point] = Field(default_factory=list[list[float]])
    same_mm: float | None = Field(default=None, gt=0.0, le=5.0)
    landmark_limit_mm: float = Field(default=3.0, gt=0.0, le=10.0)

    @model_validator(mode="after")
    def _pairs_or_a_scan(self) -> RegisterModel:
        if len(self.moving_mm) != len(self.fixed_mm):
            raise ValueError(
                f"moving_mm and fixed_mm are pairs and must be equally many; got {len(self.moving_mm)} and "
                f"{len(self.fixed_mm)}"
            )
        if not self.targets and not self.moving_mm:
            raise ValueError("give the scan to lay this one on (to), or landmark pairs (moving_mm, fixed_mm)")
        return self

    @property
    def targets(self) -> tuple[str, ...]:
        """Keys of the scans in ``to``."""
        return (self.to,) if isinstance(self.to, str) else tuple(self.to)


class ScanModel(Strict):
    """One surface file: where it is, which way its axes point, its unit, and landmarks that override what is found.

    ``seed_mm``: of a molar, a point on its chewing surface in a file that holds the whole arch.
    """

    file: str
    tooth: int | None = None
    axes: str = "LPS"
    unit: Literal["mm", "cm", "dm", "m", "um", "in"] | None = None
    seed_mm: Point | None = None
    landmarks: dict[str, Point] = Field(default_factory=dict)
    register_on: RegisterModel | None = Field(default=None, alias="register")


class ScansModel(Strict):
    """The scans of a case; every one may be missing, each missing one costs a step of the estimate."""

    right_molar: ScanModel | None = None
    left_molar: ScanModel | None = None
    right_bone: ScanModel | None = None
    left_bone: ScanModel | None = None
    arch: ScanModel | None = None
    bow: ScanModel | None = None
    face: ScanModel | None = None


class LandmarksModel(Strict):
    """Points in LPS mm."""

    tube_right_mesial_mm: Point | None = None
    tube_right_distal_mm: Point | None = None
    tube_left_mesial_mm: Point | None = None
    tube_left_distal_mm: Point | None = None
    occlusal_plane_mm: list[Point] | None = Field(default=None, min_length=3)
    incisor_contact_mm: Point | None = None
    mouth_corner_right_mm: Point | None = None
    mouth_corner_left_mm: Point | None = None
    strap_right_mm: Point | None = None
    strap_left_mm: Point | None = None
    high_strap_right_mm: Point | None = None
    high_strap_left_mm: Point | None = None
    nape_mm: Point | None = None
    crown_mm: Point | None = None


class LandmarksInModel(Strict):
    """Landmarks by the scan they were picked on, mm in that scan's own frame, its axes and unit applied."""

    arch: LandmarksModel | None = None
    face: LandmarksModel | None = None
    right_molar: LandmarksModel | None = None
    left_molar: LandmarksModel | None = None


class ActivationModel(Strict):
    """An inner bow that is not passive: each terminal's mesial end carried outward, its distal end turned inward."""

    expansion_right_mm: float = Field(default=0.0, ge=-15.0, le=15.0)
    expansion_left_mm: float = Field(default=0.0, ge=-15.0, le=15.0)
    toe_in_right_deg: float = Field(default=0.0, ge=-30.0, le=30.0)
    toe_in_left_deg: float = Field(default=0.0, ge=-30.0, le=30.0)

    @property
    def passive(self) -> bool:
        """Whether nothing is activated."""
        return not any(
            (self.expansion_right_mm, self.expansion_left_mm, self.toe_in_right_deg, self.toe_in_left_deg)
        )


class BowModel(Strict):
    """The bow in hand, in mm. Supplier labels such as "short" or "long" are not standardised (common practice)."""

    inner_diameter_mm: float = Field(default=1.143, gt=0.3, lt=3.0)
    outer_diameter_mm: float = Field(default=1.83, gt=0.3, lt=4.0)
    arm_length_mm: float = Field(default=110.0, gt=0.0, le=250.0)
    arm_length_right_mm: float | None = Field(default=None, gt=0.0, le=250.0)
    arm_length_left_mm: float | None = Field(default=None, gt=0.0, le=250.0)
    anterior_clearance_mm: float = Field(default=4.0, ge=0.0, le=30.0)
    cheek_clearance_mm: float = Field(default=5.0, ge=0.0, le=40.0)
    joint_length_mm: float = Field(default=20.0, gt=0.0, le=60.0)
    tube_bore_mm: float = Field(default=1.15, gt=0.3, lt=3.0)
    e_gpa: float = Field(default=160.0, gt=20.0, lt=300.0)
    proof_mpa: float = Field(default=1400.0, gt=100.0, lt=3000.0)
    bend_place_mm: float | None = Field(default=None, gt=0.0, le=250.0)
    activation: ActivationModel = Field(default_factory=ActivationModel)

    def arm_mm(self, side: Side) -> float:
        """Length of one outer arm from the middle of the joint along the wire to the hook."""
        own = self.arm_length_right_mm if side == "right" else self.arm_length_left_mm
        return self.arm_length_mm if own is None else own


class StrapModel(Strict):
    """One strap of one side: its force, and its line when it is not given by a strap landmark.

    ``from_module``: the plan takes the force that the module gives at its hole; the force here is the wanted one.
    ``angle_deg`` is measured from the occlusal plane, positive up; ``midline_deg`` from the mid-sagittal plane,
    positive towards the middle of the neck.
    """

    force_n: float | None = Field(default=None, gt=0.0, le=MOST_FORCE_N)
    force_gf: float | None = Field(default=None, gt=0.0, le=3000.0)
    from_module: bool = False
    angle_deg: float | None = Field(default=None, gt=-90.0, lt=90.0)
    midline_deg: float = Field(default=0.0, gt=-60.0, lt=60.0)

    @model_validator(mode="after")
    def _one_force(self) -> StrapModel:
        if (self.force_n is None) == (self.force_gf is None):
            raise ValueError("give the force once, as force_n or as force_gf")
        return self

    @property
    def newtons(self) -> float:
        """The force in N; with ``from_module`` the wanted one, until the module's own is known."""
        return self.force_n if self.force_n is not None else float(self.force_gf or 0.0) * N_PER_GF


class SidePullModel(StrapModel):
    """The pull of one side; in combination pull the neck strap is this one and ``high`` the head cap's."""

    high: StrapModel | None = None


class HeadModel(Strict):
    """Neck and head by tape measure, for a taut strap without a scan that reaches round the neck; what is left out
    takes usual values for the age (``mesh_tools.head_model``). Heights count from the occlusal plane, positive up."""

    neck_circumference_mm: float | None = Field(default=None, ge=180.0, le=600.0)
    incisor_to_nape_mm: float | None = Field(default=None, ge=80.0, le=220.0)
    nape_height_mm: float | None = Field(default=None, ge=-80.0, le=60.0)
    head_circumference_mm: float | None = Field(default=None, ge=400.0, le=700.0)
    head_breadth_mm: float | None = Field(default=None, ge=100.0, le=200.0)
    vertex_height_mm: float | None = Field(default=None, ge=100.0, le=220.0)


class PullModel(Strict):
    """Kind of pull and force per side.

    ``strap``: "taut" lays it over the skin, "as_given" runs it to its landmark or along its angle; left out, it is taut
    where neither is given and there is a face scan or [head].
    """

    kind: PullKind = "cervical"
    strap: Literal["as_given", "taut"] | None = None
    strap_width_mm: float = Field(default=22.0, ge=5.0, le=60.0)
    right: SidePullModel
    left: SidePullModel

    @model_validator(mode="after")
    def _combination_has_two(self) -> PullModel:
        for side in SIDES:
            has_high = self.side(side).high is not None
            if has_high != (self.kind == "combination"):
                raise ValueError(
                    f'{side}.high belongs to kind = "combination" and only there; got kind = "{self.kind}"'
                )
        return self

    def side(self, side: Side) -> SidePullModel:
        """The pull of ``side``."""
        return self.right if side == "right" else self.left


class LigamentModel(Strict):
    """Periodontal ligament. The centre depends weakly on it, the absolute mobility strongly."""

    e_mpa: float = Field(default=0.68, gt=0.0, le=100.0)
    nu: float = Field(default=0.45, ge=0.0, lt=0.5)
    thickness_mm: float = Field(default=0.2, gt=0.0, le=1.0)


Unknown = Literal["bend_deg", "place_mm", "length_mm", "rise_mm"]


class ChoicesModel(Strict):
    """What the clinician decides.

    ``aim``: "line" brings the loaded line of force to the target, ``wanted_offset_mm`` apical of it (0: through it);
    "no_tip" makes each molar's predicted tip zero. ``unknowns``: what the solver may change. Limits per side.
    """

    target: TargetMethod = "elastic_foundation"
    aim: Literal["line", "no_tip"] = "line"
    wanted_offset_mm: float = Field(default=0.0, ge=-15.0, le=15.0)
    unknowns: list[Unknown] = Field(
        default_factory=lambda: list[Unknown](["bend_deg"]), min_length=1, max_length=4
    )
    bend_limit_deg: float = Field(default=60.0, gt=0.0, le=90.0)
    arm_limits_mm: Annotated[list[float], Field(min_length=2, max_length=2)] = Field(
        default_factory=lambda: [50.0, 160.0]
    )
    crest_below_cej_mm: float = Field(default=0.75, ge=-2.0, le=15.0)
    bow: Literal["elastic", "rigid"] = "elastic"
    ideal_tubes: bool = False
    samples: int = Field(default=256, ge=0, le=65536)


class CaseModel(Strict):
    """The whole case file."""

    schema_version: Literal[1] = Field(default=1, alias="schema")
    case_id: str = Field(min_length=1, max_length=80, pattern=r"^[A-Za-z0-9][A-Za-z0-9 ._-]*$")
    age_years: float | None = Field(default=None, ge=3.0, le=99.0)
    scans: ScansModel = Field(default_factory=ScansModel)
    landmarks: LandmarksModel = Field(default_factory=LandmarksModel)
    landmarks_in: LandmarksInModel = Field(default_factory=LandmarksInModel)
    bow: BowModel = Field(default_factory=BowModel)
    pull: PullModel
    head: HeadModel | None = None
    module: ModuleModel | None = None
    ligament: LigamentModel = Field(default_factory=LigamentModel)
    choices: ChoicesModel = Field(default_factory=ChoicesModel)

    @model_validator(mode="after")
    def _each_landmark_once(self) -> CaseModel:
        seen = dict.fromkeys(self.landmarks.model_dump(exclude_none=True), "landmarks")
        for name in type(self.landmarks_in).model_fields:
            table: LandmarksModel | None = getattr(self.landmarks_in, name)
            if table is None:
                continue
            if getattr(self.scans, name) is None:
                raise ValueError(f"landmarks_in.{name} needs the scan it lies on; add scans.{name}")
            for key in table.model_dump(exclude_none=True):
                if key in seen:
                    raise ValueError(
                        f"landmarks_in.{name}.{key} is given in {seen[key]} too; keep one of the two"
                    )
                seen[key] = f"landmarks_in.{name}"
        return self

    @model_validator(mode="after")
    def _module_fits_the_pull(self) -> CaseModel:
        asked = [p for s in SIDES for p in (self.pull.side(s), self.pull.side(s).high) if p is not None]
        if self.module is None and any(p.from_module for p in asked):
            raise ValueError("from_module needs the [module] table: add it, or leave from_module out")
        if self.module is not None and self.module.high is not None and self.pull.kind != "combination":
            raise ValueError(
                f'module.high belongs to kind = "combination" and only there; got kind = "{self.pull.kind}"'
            )
        return self


def read_case(path: str | os.PathLike[str]) -> CaseModel:
    """The case in the TOML file at ``path``.

    Raises MissingFileError, BadFileError when the text is not TOML, and CaseError with one line a problem.
    """
    where = Path(path)
    return parsed_case(case_values(case_bytes(where), where))


def case_bytes(where: Path) -> bytes:
    """What the case file at ``where`` holds; raises MissingFileError or BadFileError."""
    try:
        return where.read_bytes()
    except (FileNotFoundError, NotADirectoryError) as err:
        raise MissingFileError(f"case file {where} does not exist; give the path of a case.toml.") from err
    except IsADirectoryError as err:
        raise BadFileError(f"case file {where} is a folder; give the case.toml inside it.") from err
    except (OSError, ValueError) as err:  # a name that the system does not take, a disk that fails
        raise BadFileError(f"case file {str(where)!r} cannot be read ({_one_line(err):.80}).") from err


def case_values(data: bytes, where: Path) -> dict[str, Any]:
    """The plain values in the TOML text ``data`` of the case file at ``where``; raises BadFileError."""
    try:
        return tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as err:
        raise BadFileError(
            f"case file {where} is not UTF-8 text (byte {err.start}); save it as UTF-8."
        ) from err
    except (ValueError, RecursionError) as err:  # TOMLDecodeError, and numbers of thousands of digits
        raise BadFileError(f"case file {where} is not valid TOML: {_one_line(err)}.") from err


def parsed_case(values: dict[str, Any]) -> CaseModel:
    """The case in ``values``; raises CaseError with one line a problem, each with its key path."""
    try:
        return CaseModel.model_validate(_floats(values))
    except ValidationError as err:
        raise CaseError([_problem(e) for e in err.errors(include_url=False)]) from err


@dataclass(frozen=True)
class Problem:
    """One rule that values break: the key path, pydantic's word for the kind of error, and the line told."""

    path: tuple[str | int, ...]
    kind: str
    text: str


def problems_in(values: dict[str, Any]) -> tuple[Problem, ...]:
    """Every rule of the case's model that ``values`` break, without raising; empty for a whole case."""
    try:
        CaseModel.model_validate(_floats(values))
    except ValidationError as err:
        return tuple(Problem(e["loc"], e["type"], _problem(e)) for e in err.errors(include_url=False))
    return ()


def _floats(value: Any) -> Any:
    """Whole numbers in point lists become floats; anything else is left for the model to judge."""
    if isinstance(value, dict):
        return {k: _floats(v) for k, v in value.items()}
    if isinstance(value, list):
        return [float(v) if type(v) is int and abs(v) < _EXACT else _floats(v) for v in value]
    return value


def _problem(error: Any) -> str:
    path = one_line(".".join(str(part) for part in error["loc"]))
    if error["type"] == "extra_forbidden":
        told = f"{path}: unknown key{_nearest(error['loc'])}"
        return told if told.endswith("?") else f"{told}."
    if error["type"] == "missing":
        return f"{path}: is missing; add it to the case file."
    if error["type"] == "less_than_equal" and error["loc"][-1] == "force_n":
        return f"{path}: {too_strong(float(error['input']), write='force_gf = {:g}')}"
    got = "" if isinstance(error["input"], dict) else f"; got {_short(error['input'])}"
    return f"{path or 'case'}: {_plain(error['msg'])}{got}."


def too_strong(force_n: float, *, write: str) -> str:
    """What is told of a force above ``MOST_FORCE_N``; ``write`` is how the same number is entered in gf."""
    rule = f"must be at most {MOST_FORCE_N:g} N; got {force_n:g}"
    as_n = force_n * N_PER_GF
    return (
        f"{rule}: {force_n:g} gf is {as_n:.2f} N, write {write.format(force_n)}."
        if as_n <= MOST_FORCE_N
        else f"{rule}."
    )


def _plain(message: str) -> str:
    return message.removeprefix("Value error, ").replace("Input should be", "must be").rstrip(".")


def _short(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _one_line(err: BaseException) -> str:
    return " ".join(str(err).split()).rstrip(".")


def _nearest(path: tuple[Any, ...]) -> str:
    known = sorted(_known_keys(path[:-1]))
    close = difflib.get_close_matches(str(path[-1]), known, n=1, cutoff=0.5)
    if close:
        return f"; did you mean {close[0]}?"
    return f"; known here: {', '.join(known)}" if known else ""


def _known_keys(path: tuple[Any, ...]) -> set[str]:
    model: type[BaseModel] | None = CaseModel
    for part in path:
        model = None if model is None else _model_of(model, str(part))
    return set() if model is None else {f.alias or name for name, f in model.model_fields.items()}


def _model_of(model: type[BaseModel], key: str) -> type[BaseModel] | None:
    field = next((f for name, f in model.model_fields.items() if key in (name, f.alias)), None)
    return None if field is None else next(_models_in(field.annotation), None)


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for arg in get_args(annotation):
        yield from _models_in(arg)
