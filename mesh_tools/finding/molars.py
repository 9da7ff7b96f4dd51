"""The first molars of an upper arch: crown patch, its own directions, cusp tip, and where a tube would sit on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array, BoolArray, unit
from mesh_tools.finding.arch_form import ArchForm
from mesh_tools.finding.arch_frame import ArchFrame
from mesh_tools.finding.crown_patch import Patch, patch_between
from mesh_tools.finding.tooth_row import ToothRow
from mesh_tools.surface import Surface

_BESIDE_MM = 1.2  # past the boundary to the next tooth
_ASIDE_MM, _DEEP_MM = 9.0, 10.0
_CORE_SHARE, _CORE_DEEP_MM = 0.3, 4.0
_LEVEL = (
    0.5  # of the crown's height from its occlusal end: where a tube is bonded (common practice, no source)
)
_WIDE = 1.12  # buccolingual over mesiodistal width of an upper first molar's crown: 11 / 10, Ash/Nelson, and a little
_PROUD_MM, _LEAST_PROUD = 0.5, 6
TUBE_MM = 4.0  # length of a headgear tube (common practice, no source)
TUBE_OFF_MM = 1.2  # axis of the tube from the enamel (common practice, no source)


@dataclass(frozen=True, eq=False)
class Molar:
    """A first molar in the scan's frame. ``mesial``, ``buccal``, ``apical``: unit axes, square to one another.

    ``centre_mm``: middle of the crown's box; ``size_mm`` (3,): mesiodistal, buccolingual, height; ``mesiobuccal_mm``:
    the mesiobuccal cusp's tip; ``tube_mm`` (2, 3): mesial and distal end of the proposed tube's axis; ``tube_seen``:
    something sticks out of the crown there.
    """

    side: str
    patch: Patch
    mesial: Array
    buccal: Array
    apical: Array
    centre_mm: Array
    size_mm: Array
    mesiobuccal_mm: Array
    tube_mm: Array
    tube_seen: bool


def first_molar(surface: Surface, frame: ArchFrame, form: ArchForm, row: ToothRow, side: str) -> Molar:
    """The first molar of ``side`` ("right" or "left") whose place along the arch ``row`` tells."""
    sign = 1.0 if side == "left" else -1.0
    points = frame.to_arch(surface.face_centres_mm)
    along, out = form.unrolled(points[:, :2])
    start, end = row.molar_mm
    middle, half = 0.5 * (start + end), 0.5 * (end - start)
    beside = np.abs(sign * along - middle)
    core = _core(points, beside, out, half, frame, surface)
    outside = (beside > half + _BESIDE_MM) | (np.abs(out) > _ASIDE_MM) | (points[:, 2] > _DEEP_MM)
    patch = patch_between(surface, core, outside)
    crown = frame.to_arch(surface.points_mm[np.unique(surface.faces[patch.faces])])
    return _described(side, sign, patch, crown, surface, frame, form.tangent(sign * middle))


def _core(
    points: Array, beside: Array, out: Array, half: float, frame: ArchFrame, surface: Surface
) -> BoolArray:
    """Faces of the chewing surface well inside the crown."""
    up = (surface.area_vectors_mm2 @ frame.axes[2]) < 0.3 * surface.areas_mm2
    table = (points[:, 2] < _CORE_DEEP_MM) & up
    near = table & (beside < half) & (np.abs(out) < _ASIDE_MM)
    weight = surface.areas_mm2 * near * np.maximum(_CORE_DEEP_MM - points[:, 2], 0.0)
    centre = float((weight * out).sum() / max(weight.sum(), 1e-9))
    reach = np.hypot(beside / max(half, 1e-9), (out - centre) / max(half, 1e-9))
    return np.asarray(near & (reach < 2.0 * _CORE_SHARE))


def _described(
    side: str, sign: float, patch: Patch, crown: Array, surface: Surface, frame: ArchFrame, tangent: Array
) -> Molar:
    mesial = np.array([*(-sign * tangent), 0.0])
    up = np.array([0.0, 0.0, 1.0])
    mesial, buccal = _squared(crown, mesial, sign)
    along = crown @ np.stack([mesial, buccal, up]).T
    low, high = along.min(axis=0), along.max(axis=0)
    back = np.stack([mesial, buccal, up])
    tip = _mesiobuccal(along, low, high)
    tube, seen = _tube(along, low, high)
    return Molar(
        side, patch, mesial @ frame.axes, buccal @ frame.axes, up @ frame.axes,
        frame.to_scan((0.5 * (low + high))[None] @ back)[0], high - low,
        frame.to_scan(tip[None] @ back)[0], frame.to_scan(tube @ back), seen,
    )  # fmt: skip


def _squared(crown: Array, mesial: Array, sign: float) -> tuple[Array, Array]:
    """Mesial and buccal axes of the crown: the arch's there, turned up to 20 degrees so that its box is least."""
    turns = np.radians(np.arange(-20.0, 20.1, 1.0))
    buccal = np.array([-sign * mesial[1], sign * mesial[0], 0.0])
    buccal = buccal if buccal[0] * sign > 0.0 else -buccal
    axes = [np.cos(t) * mesial + np.sin(t) * buccal for t in turns]
    sides = [np.cos(t) * buccal - np.sin(t) * mesial for t in turns]
    area = [float(np.ptp(crown @ a) * np.ptp(crown @ b)) for a, b in zip(axes, sides, strict=True)]
    best = int(np.argmin(area))
    return unit(axes[best]), unit(sides[best])


def _mesiobuccal(along: Array, low: Array, high: Array) -> Array:
    """The most occlusal point (3,) of the crown's mesiobuccal quarter, clear of its middle."""
    share = (along - low) / np.maximum(high - low, 1e-9)
    quarter = (share[:, 0] > 0.58) & (share[:, 1] > 0.5)
    found = along[quarter] if quarter.any() else along
    return np.asarray(found[int(found[:, 2].argmin())])


def _tube(along: Array, low: Array, high: Array) -> tuple[Array, bool]:
    """Ends (2, 3), mesial first, of a tube's axis on the crown's buccal face; and whether something sticks out there.

    What sticks out further than a bare crown of this length would reach is taken for the tube.
    """
    bare = low[1] + _WIDE * (high[0] - low[0])
    proud = along[along[:, 1] > bare + _PROUD_MM]
    if high[1] > bare + _PROUD_MM and len(proud) >= _LEAST_PROUD:
        return _tube_seen(proud), True
    middle, level = 0.5 * (low[0] + high[0]), low[2] + _LEVEL * (high[2] - low[2])
    band = along[(np.abs(along[:, 0] - middle) < 2.5) & (np.abs(along[:, 2] - level) < 1.5)]
    face = float(np.quantile(band[:, 1], 0.98)) if len(band) else float(high[1])
    ends = middle + 0.5 * TUBE_MM * np.array([1.0, -1.0])
    return np.stack([ends, np.full(2, face + TUBE_OFF_MM), np.full(2, level)], axis=1), False


def _tube_seen(proud: Array) -> Array:
    """Ends (2, 3), mesial first, of the axis of the tube whose outer points are ``proud`` (n, 3)."""
    low, high = proud.min(axis=0), proud.max(axis=0)
    span = high - low
    mesial = proud[proud[:, 0] > high[0] - 0.25 * span[0]]
    distal = proud[proud[:, 0] < low[0] + 0.25 * span[0]]
    ends = []
    for part, at in ((mesial, high[0]), (distal, low[0])):
        level = 0.5 * (part[:, 2].min() + part[:, 2].max())
        ends.append([at, part[:, 1].max() - 0.5 * float(np.ptp(part[:, 2])), level])
    return np.array(ends)
