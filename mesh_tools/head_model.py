"""A neck and head from a few tape-measure numbers, for a strap without a scan that reaches round the neck.

The neck is a round column that leans forward on its way up, the skull an ellipsoid on it, both joined by a fillet. It
has no jaw and no ears. LPS-like axes: x left, y back, z up, mm; the origin is the edge of the upper incisors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array, IntArray
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface

# Snyder RG et al. 1977, UM-HSRI-77-17, individual records tabulated by age: medians of boys and girls, here their mean.
_AGES = np.array([2.5, 4.5, 6.5, 8.5, 10.5, 12.5, 14.5, 16.5, 18.5])
_HEAD_LENGTH = np.array([176.5, 180.0, 182.0, 185.5, 185.5, 188.0, 191.5, 193.0, 194.5])
_HEAD_BREADTH = np.array([133.5, 137.0, 139.5, 142.0, 144.0, 146.5, 148.5, 150.5, 151.5])
_HEAD_HEIGHT = np.array([173.0, 179.5, 186.5, 190.5, 197.0, 200.5, 206.5, 212.5, 211.0])  # vertex to menton
_TRAGION_VERTEX = np.array([113.0, 116.0, 118.0, 118.0, 121.0, 122.0, 123.5, 126.0, 127.0])
# Neck: primary-school boys 23.6 to 28.5 cm and girls 23.6 to 27.6 cm (Turkay E, Kabaran S 2022 BMC Pediatr); the
# adult end is from memory.
_NECK_AGES = np.array([6.0, 10.5, 18.0])
_NECK_ROUND = np.array([236.0, 280.5, 340.0])
MOUTH_TO_MENTON_MM = 41.0
"""Stomion to menton at ten years (from memory); with the height of the head it places the vertex."""
NAPE_HOLLOW_MM = 47.0
"""How far the nape lies in front of the back of the head (no source found; our invented head and open ones)."""
NECK_LEAN_DEG = 13.0
"""How far the neck leans forward on its way up (no source found; our invented head)."""
_FILLET_MM = 4.0
_SKULL_SHARE = 0.6
"""Half the skull's height as a share of tragion to vertex: it is widest that far below the vertex (our choice)."""


@dataclass(frozen=True)
class HeadMeasures:
    """What a tape and callipers give, mm.

    ``neck_circumference_mm`` at the nape, square to the neck; ``incisor_to_nape_mm``: level distance from the edge of
    the upper incisors to the hollow of the nape; ``nape_height_mm``: of that hollow over the occlusal plane, negative
    below it; ``head_length_mm``, ``head_breadth_mm`` of the skull; ``vertex_height_mm`` over the occlusal plane;
    ``tragion_vertex_mm``.
    """

    neck_circumference_mm: float
    incisor_to_nape_mm: float
    nape_height_mm: float
    head_length_mm: float
    head_breadth_mm: float
    vertex_height_mm: float
    tragion_vertex_mm: float

    def __post_init__(self) -> None:
        deep = self.neck_circumference_mm / np.pi
        if not 0.4 * self.incisor_to_nape_mm < deep < 0.9 * self.incisor_to_nape_mm:
            raise BadValueError(
                f"a neck of {self.neck_circumference_mm:g} mm round is {deep:.0f} mm deep, which does not suit "
                f"{self.incisor_to_nape_mm:g} mm from the incisors to the nape; measure both again."
            )


def child_measures(age_years: float | None) -> HeadMeasures:
    """Usual measures at ``age_years`` (ten and a half where it is not known), mean of boys and girls."""
    age = 10.5 if age_years is None else age_years

    def at(values: Array) -> float:
        return float(np.interp(age, _AGES, values))

    return HeadMeasures(
        neck_circumference_mm=float(np.interp(age, _NECK_AGES, _NECK_ROUND)),
        incisor_to_nape_mm=at(_HEAD_LENGTH) - NAPE_HOLLOW_MM,
        nape_height_mm=0.0,
        head_length_mm=at(_HEAD_LENGTH),
        head_breadth_mm=at(_HEAD_BREADTH),
        vertex_height_mm=at(_HEAD_HEIGHT) - MOUTH_TO_MENTON_MM,
        tragion_vertex_mm=at(_TRAGION_VERTEX),
    )


def head_length_of(circumference_mm: float, breadth_mm: float) -> float:
    """Length (mm) of a head of that circumference and breadth, taken as an ellipse.

    Ramanujan's second formula for its circumference (1914; from memory), solved by halving. Raises BadValueError
    when no length from half to twice the breadth gives it.
    """
    low, high = 0.5 * breadth_mm, 2.0 * breadth_mm
    if not _ellipse_round(low, breadth_mm) < circumference_mm < _ellipse_round(high, breadth_mm):
        raise BadValueError(
            f"a head {circumference_mm:g} mm round and {breadth_mm:g} mm broad has no likely length; measure again."
        )
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _ellipse_round(middle, breadth_mm) < circumference_mm else (low, middle)
    return 0.5 * (low + high)


def _ellipse_round(length: float, breadth: float) -> float:
    a, b = 0.5 * length, 0.5 * breadth
    h = ((a - b) / (a + b)) ** 2
    return float(np.pi * (a + b) * (1.0 + 3.0 * h / (10.0 + np.sqrt(4.0 - 3.0 * h))))


def head_model(measures: HeadMeasures, *, step_mm: float = 2.0, around: int = 240) -> Surface:
    """The neck and head, closed below and above, from 80 mm under the nape to the vertex.

    ``around``: points on each level ring; ``step_mm``: between rings.
    """
    m = measures
    low, top = m.nape_height_mm - 80.0, m.vertex_height_mm - 0.5
    levels = np.linspace(low, top, int(np.ceil((top - low) / step_mm)) + 1)
    angles = np.linspace(0.0, 2.0 * np.pi, around, endpoint=False)
    centre = _axis(m, levels)
    reach = _FILLET_MM * np.logaddexp(
        _neck_reach(m, levels, angles, centre) / _FILLET_MM,
        _skull_reach(m, levels, angles, centre) / _FILLET_MM,
    )
    x, y = reach * np.sin(angles), centre[:, None] + reach * np.cos(angles)
    rings = np.stack([x, y, np.broadcast_to(levels[:, None], x.shape)], axis=2).reshape(-1, 3)
    caps = np.array([[0.0, centre[0], low], [0.0, centre[-1], top + 0.5]])
    return Surface(np.concatenate([rings, caps]), _lofted(len(levels), around))


def _skull(m: HeadMeasures) -> tuple[float, float, float]:
    """Middle of the skull along y and z, and half its height."""
    half = _SKULL_SHARE * m.tragion_vertex_mm
    back = m.incisor_to_nape_mm + NAPE_HOLLOW_MM
    return back - 0.5 * m.head_length_mm, m.vertex_height_mm - half, half


def _axis(m: HeadMeasures, levels: Array) -> Array:
    """A line inside neck and skull: y at every level."""
    y, z, _ = _skull(m)
    neck = m.incisor_to_nape_mm - 0.5 * m.neck_circumference_mm / np.pi
    lean = np.tan(np.radians(NECK_LEAN_DEG)) * np.maximum(m.nape_height_mm - levels, 0.0)
    share = np.clip((levels - m.nape_height_mm) / max(z - m.nape_height_mm, 1.0), 0.0, 1.0)
    return np.asarray((neck + lean) * (1.0 - share) + y * share)


def _neck_reach(m: HeadMeasures, levels: Array, angles: Array, centre: Array) -> Array:
    """The leaning column's reach (h, a) from the axis; it ends a little above the nape inside the skull."""
    radius = 0.5 * m.neck_circumference_mm / np.pi
    deep = radius / np.cos(
        np.radians(NECK_LEAN_DEG)
    )  # a level cut of a leaning column is longer back to front
    lean = np.tan(np.radians(NECK_LEAN_DEG)) * (m.nape_height_mm - levels)
    middle = m.incisor_to_nape_mm - deep + lean
    reach = _ellipse_reach(angles, (middle - centre)[:, None], radius, deep)
    _, z, _ = _skull(m)
    return np.where((levels <= z)[:, None], reach, 0.0)


def _skull_reach(m: HeadMeasures, levels: Array, angles: Array, centre: Array) -> Array:
    y, z, half = _skull(m)
    size = np.sqrt(np.maximum(1.0 - ((levels - z) / half) ** 2, 0.0))[:, None]
    across, along = 0.5 * m.head_breadth_mm * size, 0.5 * m.head_length_mm * size
    return _ellipse_reach(angles, (y - centre)[:, None], across, along)


def _ellipse_reach(angles: Array, offset: Array, across: Array | float, along: Array | float) -> Array:
    """Reach (h, a) of an ellipse whose middle lies ``offset`` back from the axis; 0 where the axis is outside it."""
    s, c = np.sin(angles), np.cos(angles)
    wide, long = np.maximum(across, 1e-9), np.maximum(along, 1e-9)
    square = (s / wide) ** 2 + (c / long) ** 2
    half = c * offset / long**2
    rest = (offset / long) ** 2 - 1.0
    root = half**2 - square * rest
    inside = rest < 0.0
    return np.asarray(np.where(inside, (half + np.sqrt(np.maximum(root, 0.0))) / square, 0.0))


def _lofted(rings: int, around: int) -> IntArray:
    """Faces between rings of points, and of both end caps, wound outward."""
    a = np.arange(around)
    b = (a + 1) % around
    start = around * np.arange(rings - 1)[:, None]
    here, there = start + a, start + b
    walls = np.concatenate(
        [
            np.stack([here, there + around, there], axis=2),
            np.stack([here, here + around, there + around], axis=2),
        ]
    ).reshape(-1, 3)
    foot, crown = rings * around, rings * around + 1
    last = around * (rings - 1)
    below = np.stack([np.full(around, foot), a, b], axis=1)
    above = np.stack([np.full(around, crown), last + b, last + a], axis=1)
    return np.concatenate([walls, below, above])
