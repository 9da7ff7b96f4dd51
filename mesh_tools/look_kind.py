"""A guess of what a scan shows, from its proportions, closure and size, always with its reasons.

Rules of thumb of this program (common practice, no source): a tooth with its root is at least 1.45 times as long as it
is wide; crowns are rounder; a dental arch is wide and deep but low and much more folded than a head.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array
from mesh_tools.surface import Surface
from mesh_tools.topology import boundary_loops, loop_length
from mesh_tools.units import MM_PER_UNIT, Kind, longest_extent, units_that_fit

LONG = 1.45
CROWN_MM = (5.0, 13.5)
_UNIT_ORDER: tuple[str, ...] = ("mm", "cm", "m", "dm", "um", "in")


@dataclass(frozen=True)
class KindGuess:
    """Whole tooth, crown only, arch, head or unknown; why; and the units in which it would fit, likeliest first."""

    kind: str
    reasons: tuple[str, ...]
    units: tuple[str, ...]


def guessed(surface: Surface) -> KindGuess:
    """What ``surface`` (any unit, any axes) looks like. The likeliest unit first: mm before cm before the others."""
    extent = longest_extent(surface)
    for unit in _UNIT_ORDER:
        found = _at(surface, extent, unit)
        if found is not None:
            kind, reasons = found
            return KindGuess(kind, reasons, _units(extent, kind, unit))
    reason = f"longest extent {extent:.4g} fits a tooth, an arch or a head in no unit"
    return KindGuess("unknown", (reason,), ())


def proportions(surface: Surface) -> Array:
    """Spreads (3,) of the surface along its own principal axes, largest first: free of the file's axes."""
    weights = surface.areas_mm2 / surface.areas_mm2.sum()
    centred = surface.face_centres_mm - weights @ surface.face_centres_mm
    values = np.linalg.eigvalsh((centred * weights[:, None]).T @ centred)
    return np.sqrt(np.maximum(values[::-1], 0.0))


def _at(surface: Surface, extent: float, unit: str) -> tuple[str, tuple[str, ...]] | None:
    """Kind and reasons if the scan were in ``unit``; None where no kind fits."""
    size = extent * MM_PER_UNIT[unit]
    told = f"longest extent {size:.4g} mm read as {unit}"
    if 120.0 <= size <= 550.0:
        return "head", (told, "size of a head")
    if 35.0 <= size <= 90.0:
        return "arch", (told, "size of a dental arch")
    if CROWN_MM[0] <= size <= 30.0:
        return _tooth_or_crown(surface, size, told)
    return None


def _tooth_or_crown(surface: Surface, size: float, told: str) -> tuple[str, tuple[str, ...]] | None:
    """Whole tooth or crown only, by slenderness and by an open neck."""
    first, second, _ = proportions(surface)
    slender = float(first / max(second, 1e-300))
    shape = f"{slender:.2f} times as long as wide by its spread"
    loops = boundary_loops(surface)
    share = loop_length(surface.points_mm, loops[0]) / longest_extent(surface) if loops else 0.0
    wide_neck = share > 1.2
    border = f"open border of {share:.1f} times its length" if loops else "closed"
    if size >= 12.0 and not wide_neck and slender >= LONG:
        return "whole tooth", (told, shape, border)
    if wide_neck or size <= CROWN_MM[1]:
        return "crown only", (told, shape, border)
    return ("whole tooth" if slender >= 1.2 else "unknown"), (told, shape, border)


def _units(extent: float, kind: str, first: str) -> tuple[str, ...]:
    """Units that fit the kind, the one found first in front."""
    sized: dict[str, Kind] = {"whole tooth": "tooth", "arch": "arch", "head": "head"}
    fits = units_that_fit(extent, sized[kind]) if kind in sized else ()
    return (first, *(u for u in fits if u != first))
