"""What a force module does at every hole and posture: the records that plan, page and command show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from mechanics.force_module.equilibrium import Grip
from mechanics.force_module.posture import Posture
from mechanics.sides import SIDES, Side
from mechanics.strap.path import BandName

HoldState = Literal["holds", "slack", "beyond the table", "releases"]


@dataclass(frozen=True)
class ModuleSide:
    """One hook in one row.

    ``tension_n`` and ``extension_mm`` are those of the module whose hole varies; ``force_n`` is the resultant of all
    straps on the hook. ``angle_deg``: rise of the loaded line of force over the occlusal plane in the sagittal plane;
    ``offset_mm``: target to that line, positive apical. Both are None for a slack strap.
    """

    tension_n: float
    extension_mm: float
    force_n: float
    angle_deg: float | None
    offset_mm: float | None
    tipping_moment_n_mm: float
    state: HoldState


@dataclass(frozen=True)
class ModuleRow:
    """One hole in one posture with the strap free or held; ``sides`` is None when it was ``refused``, and why.

    ``yields``: the bow is stressed past its proof stress there and would take a set.
    """

    hole: int
    posture: Posture
    grip: Grip
    sides: Mapping[Side, ModuleSide] | None
    refused: str | None = None
    yields: bool = False


@dataclass(frozen=True)
class Envelope:
    """Lowest and highest over the postures of one hole on one side.

    Of the module's tension, the rise of the line of force and its offset, with the strap free (held, where the case
    asks for that alone), so that holes compare. ``known``: no row was refused, past the table's end or released.
    """

    hole: int
    side: Side
    tension_n: tuple[float, float]
    angle_deg: tuple[float, float]
    offset_mm: tuple[float, float]
    known: bool


@dataclass(frozen=True)
class ModuleAnswer:
    """What the module does at each hole and posture.

    ``hole``: the one the plan stands on; ``best_hole``: nearest the wanted force with the head straight.
    ``slack_wanted_mm``: strap length at rest that gives the wanted force exactly (hook to hook for a neck strap, hook
    to cap for a cap). ``relative``: holes are counted from that length, since the case gives none.
    """

    band: BandName
    wanted_n: Mapping[Side, float]
    hole: int
    best_hole: int
    relative: bool
    slack_wanted_mm: float
    neck_radius_mm: float | None
    rows: tuple[ModuleRow, ...]
    envelopes: tuple[Envelope, ...]
    assumptions: tuple[str, ...]
    warnings: tuple[str, ...]

    def row(self, hole: int, posture: str = "straight", grip: Grip | None = None) -> ModuleRow | None:
        """The row of ``hole`` in ``posture``, the first grip when none is named."""
        found = [
            r for r in self.rows if r.hole == hole and r.posture.name == posture and grip in (None, r.grip)
        ]
        return found[0] if found else None

    def envelope(self, hole: int, side: Side) -> Envelope | None:
        """The envelope of ``hole`` on ``side``; None when every row of it was refused or slack."""
        return next((e for e in self.envelopes if e.hole == hole and e.side == side), None)


def module_as_dict(answer: ModuleAnswer) -> dict[str, Any]:
    """The tree ``module`` of ``plan.json``; docs/plan-json.md describes every key."""
    return {
        "band": answer.band,
        "wanted_n": dict(answer.wanted_n),
        "hole": answer.hole,
        "best_hole": answer.best_hole,
        "relative": answer.relative,
        "slack_wanted_mm": answer.slack_wanted_mm,
        "neck_radius_mm": answer.neck_radius_mm,
        "rows": [_row_as_dict(r) for r in answer.rows],
        "envelopes": [
            {
                "hole": e.hole,
                "side": e.side,
                "tension_n": list(e.tension_n),
                "angle_deg": list(e.angle_deg),
                "offset_mm": list(e.offset_mm),
                "known": e.known,
            }
            for e in answer.envelopes
        ],
        "assumptions": list(answer.assumptions),
        "warnings": list(answer.warnings),
    }


def _row_as_dict(row: ModuleRow) -> dict[str, Any]:
    sides = None if row.sides is None else {s: dict(vars(row.sides[s])) for s in SIDES}
    return {
        "hole": row.hole,
        "posture": row.posture.name,
        "turn_deg": row.posture.turn_deg,
        "nod_deg": row.posture.nod_deg,
        "grip": row.grip,
        "sides": sides,
        "refused": row.refused,
        "yields": row.yields,
    }
