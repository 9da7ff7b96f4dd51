"""The supported root of an average upper first molar, from published dimensions, stretched to a crown's size.

For scans that end at the gum. It is a guess: roots vary by millimetres between people, and their length and splay do
not follow from the crown. Dimensions: cervix 8 mm mesiodistally and 10 buccolingually, crown 10 by 11 by 7.5, roots 12
(buccal) and 13 mm (palatal) long: Ash/Nelson, Wheeler's Dental Anatomy; furcation entrances 3.6 mesial, 4.2 buccal and
4.8 mm distal of the cervical line: Gher ME, Dunlap RM 1985 J Periodontol 56:39-43; the splay and the widths of the
roots are from memory, set so that the area is that published (433 mm2 Jepsen 1963, 476 mm2 Gher and Dunlap, from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array, unit
from mesh_tools.errors import BadValueError
from mesh_tools.level_surface import level_surface
from mesh_tools.surface import Surface

CROWN_MM = {"mesiodistal": 10.0, "buccolingual": 11.0, "height": 7.5}
CERVIX_MM = {"mesiodistal": 8.0, "buccolingual": 10.0}
ROOT_MM = {"mesiobuccal": 12.0, "distobuccal": 12.0, "palatal": 13.0}
_STEP_MM = 0.5
_BLEND_MM = 1.2
_BLUNT = 1.6  # 1 is a paraboloid
_STRETCH = (0.7, 1.4)  # a crown outside this share of the average is no first molar's
_TALLEST = (0.85, 1.2)  # gum hides part of a crown, so heights say little


@dataclass(frozen=True)
class _RootCone:
    """Centre at the neck and at the apex, half widths at the neck: buccal and mesial, mm."""

    neck: tuple[float, float]
    apex: tuple[float, float]
    half: tuple[float, float]
    length: float


_ROOTS = (
    _RootCone((1.8, 1.7), (3.9, 2.2), (3.3, 2.2), ROOT_MM["mesiobuccal"]),
    _RootCone((2.2, -1.8), (3.9, -3.4), (2.8, 2.2), ROOT_MM["distobuccal"]),
    _RootCone((-2.4, 0.0), (-6.0, -0.6), (2.6, 3.3), ROOT_MM["palatal"]),
)


def average_root(
    *, mesiodistal_mm: float, buccolingual_mm: float, height_mm: float, crest_below_cej_mm: float = 0.75
) -> Surface:
    """Root surface below the crest in the tooth's own axes: buccal, mesial, apical from the middle of the neck, mm.

    Stretched from the average crown to the one given, along the root by the crown's height within 15 to 20 %. Open at
    the crest, wound outward. Raises BadValueError for a crown that is no upper first molar's, or a crest out of range.
    """
    sizes = {"mesiodistal": mesiodistal_mm, "buccolingual": buccolingual_mm, "height": height_mm}
    share = {key: value / CROWN_MM[key] for key, value in sizes.items()}
    for key in ("mesiodistal", "buccolingual"):
        if not _STRETCH[0] <= share[key] <= _STRETCH[1]:
            raise BadValueError(
                f"{key} width of the crown must be {_STRETCH[0] * CROWN_MM[key]:.1f} to "
                f"{_STRETCH[1] * CROWN_MM[key]:.1f} mm "
                f"for an average upper molar's root; got {sizes[key]:.1f}; cut the one crown out, or check the unit."
            )
    if not 0.0 <= crest_below_cej_mm <= 6.0:
        raise BadValueError(
            f"crest_below_cej_mm of a guessed root must lie in 0 to 6 mm; got {crest_below_cej_mm:g}."
        )
    stretch = np.array([share["buccolingual"], share["mesiodistal"], np.clip(share["height"], *_TALLEST)])
    return _supported(crest_below_cej_mm / float(stretch[2])).mapped(lambda p: p * stretch)


def placed_root(root: Surface, *, neck_mm: Array, buccal: Array, mesial: Array, apical: Array) -> Surface:
    """``root`` of the tooth's own axes set at the middle of the neck ``neck_mm`` (3,), LPS, axes made square."""
    down = unit(apical, name="apical")
    out = unit(buccal - (buccal @ down) * down, name="buccal")
    along = np.cross(down, out)
    along = along * np.sign(along @ mesial)
    return root.moved(np.stack([out, along, down], axis=1), neck_mm)


def _supported(crest_mm: float) -> Surface:
    """The average root on a grid whose box begins at the crest, so that the surface is open there."""
    low, high = np.array([-9.0, -6.5, crest_mm]), np.array([8.0, 6.5, 14.0])
    axes = [np.arange(a, b, _STEP_MM) for a, b in zip(low, high, strict=True)]
    x, y, z = np.meshgrid(*axes, indexing="ij")
    return level_surface(_field(x, y, z), origin_mm=low, step_mm=_STEP_MM)


def _field(x: Array, y: Array, z: Array) -> Array:
    """Negative inside the roots or the trunk, about the distance in mm near the surface."""
    value = _trunk(x, y, z)
    for root in _ROOTS:
        value = _blended(value, _cone(root, x, y, z))
    return value


def _cone(root: _RootCone, x: Array, y: Array, z: Array) -> Array:
    """A blunt elliptic paraboloid about the line from the neck to the apex."""
    share = z / root.length
    cx = root.neck[0] + (root.apex[0] - root.neck[0]) * share
    cy = root.neck[1] + (root.apex[1] - root.neck[1]) * share
    square = ((x - cx) / root.half[0]) ** 2 + ((y - cy) / root.half[1]) ** 2
    square = square - (1.0 - np.maximum(share, 0.0) ** _BLUNT)
    slope = 2.0 * np.hypot((x - cx) / root.half[0] ** 2, (y - cy) / root.half[1] ** 2)
    return np.asarray(square / np.maximum(slope, 0.3))


def _trunk(x: Array, y: Array, z: Array) -> Array:
    """The neck's ellipse down to where the roots part: deepest distally."""
    half = 0.5 * CERVIX_MM["buccolingual"], 0.5 * CERVIX_MM["mesiodistal"]
    q = np.hypot(x / half[0], y / half[1])
    wall = (q - 1.0) * min(half)
    floor = z - (4.2 - 0.15 * y)
    return -_blended(-wall, -floor)


def _blended(a: Array, b: Array) -> Array:
    """Union of two fields with a fillet: a quadratic blend, equal to the lesser off the seam."""
    h = np.maximum(_BLEND_MM - np.abs(a - b), 0.0) / _BLEND_MM
    return np.asarray(np.minimum(a, b) - 0.25 * _BLEND_MM * h * h)
