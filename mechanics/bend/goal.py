"""What the bend is to reach, as one number a side that should be zero."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from mechanics.bow.wire import TubeSupport, WornBow
from mechanics.line_of_force import ForceLine, force_line
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError

Lines = Mapping[Side, ForceLine]


@dataclass(frozen=True, eq=False)
class Goal:
    """A measure of the worn bow, per side, that the bend brings within ``tolerance`` of zero (both in
    ``unit``)."""

    measure: Callable[[WornBow], dict[Side, float]]
    tolerance: float
    unit: str


def worn_lines(
    worn: WornBow, targets_mm: Mapping[Side, Array], *, apical_sign: int = 1
) -> dict[Side, ForceLine]:
    """The loaded line of force of each side past its target."""
    return {
        s: force_line(
            worn.hook_mm[s],
            worn.strap_force_n[s] * worn.strap_direction[s],
            target_mm=targets_mm[s],
            side=s,
            apical_sign=apical_sign,
        )
        for s in SIDES
    }


def line_goal(
    targets_mm: Mapping[Side, Array],
    *,
    wanted_offset_mm: Mapping[Side, float] | None = None,
    apical_sign: int = 1,
    tolerance_mm: float = 0.02,
) -> Goal:
    """The loaded line passes each target at the wanted offset (0: through it; positive: apical, roots go
    back first)."""
    wanted = {s: 0.0 if wanted_offset_mm is None else float(wanted_offset_mm.get(s, 0.0)) for s in SIDES}

    def measure(worn: WornBow) -> dict[Side, float]:
        lines = worn_lines(worn, targets_mm, apical_sign=apical_sign)
        return {s: lines[s].offset_mm - wanted[s] for s in SIDES}

    return Goal(measure, tolerance_mm, "mm")


def tip_goal(supports: Mapping[Side, TubeSupport], *, tolerance_deg: float = 1e-3) -> Goal:
    """Each molar is predicted not to tip: no rotation about x under its whole wrench, from its full
    compliance.

    Positive when the roots go back. Raises BadValueError for a support without a ligament stiffness.
    """
    give: dict[Side, Array] = {}
    for side in SIDES:
        k = supports[side].stiffness
        if k is None:
            raise BadValueError(
                f"{side} molar has no ligament stiffness, so its tip is unknown; give it, or aim the line."
            )
        give[side] = np.linalg.inv(k)[3]

    def measure(worn: WornBow) -> dict[Side, float]:
        return {
            s: -float(np.degrees(give[s] @ np.concatenate([worn.force_n[s], worn.moment_n_mm[s]])))
            for s in SIDES
        }

    return Goal(measure, tolerance_deg, "deg")
