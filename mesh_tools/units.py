"""Units of a scan: declared or assumed, always checked against the size of the thing, never silently scaled.

Plausible longest extents in mm: whole tooth or crown 12-30 and dental arch 35-90 (rule of the project: common
practice, no source); head with or without neck 120-550 and face-bow 60-250 (common practice, no source).
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface

Kind = Literal["tooth", "arch", "head", "bow"]

MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "dm": 100.0, "m": 1000.0, "um": 0.001, "in": 25.4}
PLAUSIBLE_MM: dict[str, tuple[float, float]] = {
    "tooth": (12.0, 30.0),
    "arch": (35.0, 90.0),
    "head": (120.0, 550.0),
    "bow": (60.0, 250.0),
}
_ALIASES = {"µm": "um", "μm": "um", "inch": "in", '"': "in"}


class UnitError(BadValueError):
    """A scan's size does not fit the unit it was declared in, or the unit assumed for it."""


def in_mm(surface: Surface, unit: str | None, kind: Kind) -> Surface:
    """``surface`` in mm, its longest extent checked against what a ``kind`` can be.

    ``unit`` None means mm is assumed. Raises UnitError naming the unit that would fit, BadValueError for an unknown
    unit or kind.
    """
    low, high = _range(kind)
    scale = mm_per(unit or "mm")
    extent = longest_extent(surface)
    if not low <= extent * scale <= high:
        raise UnitError(_refusal(extent, unit, kind))
    return surface if scale == 1.0 else surface.mapped(lambda points: points * scale)


def mm_per(unit: str) -> float:
    """Length of one ``unit`` in mm; raises BadValueError for a unit it does not know."""
    name = unit.strip()
    name = _ALIASES.get(name.lower(), name.lower())
    if name not in MM_PER_UNIT:
        raise BadValueError(f"unit must be one of {', '.join(MM_PER_UNIT)}; got {unit!r}.")
    return MM_PER_UNIT[name]


def units_that_fit(extent: float, kind: Kind) -> tuple[str, ...]:
    """Units in which a longest ``extent`` is plausible for a ``kind``, the likeliest first."""
    low, high = _range(kind)
    middle = np.sqrt(low * high)
    fits = [u for u, scale in MM_PER_UNIT.items() if low <= extent * scale <= high]
    return tuple(
        sorted(fits, key=lambda u: abs(np.log(extent * MM_PER_UNIT[u] / middle)) + 10.0 * (u == "in"))
    )


def longest_extent(surface: Surface) -> float:
    """Longest edge of the box around the points in use, in the surface's own unit.

    Raises BadValueError for a surface without faces.
    """
    if not len(surface.faces):
        raise BadValueError("the surface has no faces, so it has no size.")
    extent: Array = surface.extent_mm
    return float(extent.max())


def _range(kind: str) -> tuple[float, float]:
    """Plausible longest extents (low, high) of a kind, mm."""
    if kind not in PLAUSIBLE_MM:
        raise BadValueError(f"kind must be one of {', '.join(PLAUSIBLE_MM)}; got {kind!r}.")
    return PLAUSIBLE_MM[kind]


def _refusal(extent: float, unit: str | None, kind: Kind) -> str:
    """The line that refuses an extent and names the unit that would fit."""
    low, high = _range(kind)
    declared = f" {unit}" if unit else ""
    rule = f"a {kind} is {low:g}-{high:g} mm long"
    fits = units_that_fit(extent, kind)
    if not fits:
        return f"extent {extent:.4g}{declared}: fits a {kind} in no unit ({rule}); check that the file is a {kind}."
    others = f" (or {', '.join(fits[1:])})" if fits[1:] else ""
    return f"extent {extent:.4g}{declared}: looks like {fits[0]}{others}; pass --unit {fits[0]} ({rule})."
