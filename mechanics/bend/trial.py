"""One trial: an arm setting and a pull per side, written as named numbers that a solver may change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from mechanics.bow.bend import SPREAD_MM, STEP_MM, ArmSetting, bent_bow
from mechanics.bow.wire import BowWire
from mechanics.sides import SIDES, Side
from mechanics.strap.pull import Strap, StrapPull
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError

Name = Literal[
    "bend_deg", "place_mm", "length_mm", "rise_mm", "pull_up_mm", "pull_back_mm", "pull_deg", "pull_n"
]
NAMES: tuple[Name, ...] = (
    "bend_deg", "place_mm", "length_mm", "rise_mm", "pull_up_mm", "pull_back_mm", "pull_deg", "pull_n",
)  # fmt: skip
Values = dict[Name, float]
Trial = Mapping[Side, Values]
Range = tuple[float, float]
# A change of this size in each moves the line by the order of a millimetre: it sets the solver's scales and steps.
SCALE: dict[Name, float] = {
    "bend_deg": 1.0, "place_mm": 2.0, "length_mm": 2.0, "rise_mm": 1.0,
    "pull_up_mm": 2.0, "pull_back_mm": 5.0, "pull_deg": 1.0, "pull_n": 0.2,
}  # fmt: skip


@dataclass(frozen=True)
class Limits:
    """How far each number may go. Places and lengths are also kept to what the arm has room for."""

    bend_deg: Range = (-60.0, 60.0)
    rise_mm: Range = (-8.0, 8.0)
    length_mm: Range = (50.0, 160.0)
    pull_up_mm: Range = (-60.0, 60.0)
    pull_back_mm: Range = (-40.0, 40.0)
    pull_deg: Range = (-40.0, 40.0)
    pull_n: Range = (-4.0, 6.0)

    def of(self, name: Name, bow: BowWire, side: Side, values: Values) -> Range:
        """Range of ``name`` on one arm, the other numbers standing at ``values``."""
        half = 0.5 * (bow.joint.outer_to_mm - bow.joint.outer_from_mm)
        tail = 0.5 * SPREAD_MM + (SPREAD_MM + STEP_MM if values["rise_mm"] else 0.0) + 1.0
        if name == "place_mm":
            return (half + 4.0, values["length_mm"] - tail)
        low, high = getattr(self, name)
        if name == "length_mm":
            least = max(values["place_mm"] + tail, bow.bend_place_mm[side] + 0.5 * SPREAD_MM + 0.5)
            return (max(low, least), max(high, bow.arm_length_mm(side)))
        return (low, high)


def as_it_is(bow: BowWire) -> dict[Side, Values]:
    """The trial that changes nothing."""
    return {
        s: {
            "bend_deg": 0.0,
            "place_mm": bow.bend_place_mm[s],
            "length_mm": bow.arm_length_mm(s),
            "rise_mm": 0.0,
            "pull_up_mm": 0.0,
            "pull_back_mm": 0.0,
            "pull_deg": 0.0,
            "pull_n": 0.0,
        }
        for s in SIDES
    }


def arm_settings(trial: Trial) -> dict[Side, ArmSetting]:
    """The arms' part of a trial."""
    return {
        s: ArmSetting(
            bend_deg=trial[s]["bend_deg"],
            place_mm=trial[s]["place_mm"],
            rise_mm=trial[s]["rise_mm"],
            length_mm=trial[s]["length_mm"],
        )
        for s in SIDES
    }


def trial_bow(bow: BowWire, trial: Trial) -> BowWire:
    """``bow`` with both arms set as the trial says."""
    return bent_bow(bow, arm_settings(trial))


def trial_straps(straps: Mapping[Side, StrapPull], trial: Trial) -> dict[Side, StrapPull]:
    """The pulls as the trial changes them: points moved, directions turned up, force added in proportion."""
    return {s: _changed(straps[s], s, trial[s]) for s in SIDES}


def _changed(pull: StrapPull, side: Side, values: Values) -> StrapPull:
    total = sum(strap.force_n for strap in pull.straps)
    if total + values["pull_n"] < 0.0:
        raise BadValueError(
            f"{side} pull cannot fall below zero; {total:.2f} N changed by {values['pull_n']:.2f} N."
        )
    factor = 1.0 if total == 0.0 else (total + values["pull_n"]) / total
    shift = np.array([0.0, values["pull_back_mm"], values["pull_up_mm"]])
    straps = []
    for strap in pull.straps:
        if strap.toward_mm is not None:
            straps.append(Strap(strap.force_n * factor, toward_mm=strap.toward_mm + shift))
        elif strap.band is not None:
            straps.append(Strap(strap.force_n * factor, band=strap.band.shifted(shift)))
        else:
            assert strap.direction is not None
            straps.append(
                Strap(strap.force_n * factor, direction=_tilted(strap.direction, values["pull_deg"]))
            )
    return StrapPull(tuple(straps))


def _tilted(direction: Array, degrees: float) -> Array:
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    x, y, z = direction
    return np.array([x, c * y - s * z, s * y + c * z])
