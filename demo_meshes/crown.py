"""The crown of a posterior tooth as an implicit surface.

Tooth's own frame, mm: +x buccal, -y mesial, +z apical, z = 0 at the cervical line on the buccal side. A left
upper tooth has this frame's directions in LPS; a right one is drawn mirrored in x.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.interpolate import PchipInterpolator

from demo_meshes.implicit import ramp, smooth_max
from mesh_tools.arrays import Array

# Height from the cervical line (of a crown 7.5 mm high) and half width as a fraction of the widest, crown side
# and root side; the step at 0 is the edge of the enamel. Drawn by eye; the widths themselves are the caller's.
_CROWN_KNOTS = np.array([-9.0, -7.8, -6.2, -4.4, -2.6, -1.1, -0.4])
_BUCCAL = np.array([0.66, 0.76, 0.87, 0.965, 1.0, 0.985, 0.963])
_MESIAL = np.array([0.76, 0.86, 0.965, 1.0, 0.965, 0.90, 0.868])
_ROOT_KNOTS = np.array([0.0, 0.25, 0.7, 2.0, 4.0, 8.0])
_NECK = np.array([1.0, 0.99, 0.982, 0.965, 0.96, 0.97])


@dataclass(frozen=True)
class Cusp:
    """A cusp's tip: place and height over the cervical line, mm, and how steeply it falls."""

    x_mm: float
    y_mm: float
    height_mm: float
    slope: float = 0.75


@dataclass(frozen=True)
class Ridge:
    """A ridge between two cusps or along a margin: ends, height, slope."""

    start_mm: tuple[float, float]
    stop_mm: tuple[float, float]
    height_mm: float
    slope: float = 0.9


@dataclass(frozen=True)
class CrownShape:
    """Sizes and relief of a posterior crown; see the module for the frame."""

    crown_height_mm: float
    mesiodistal_mm: float
    buccolingual_mm: float
    cervical_mesiodistal_mm: float
    cervical_buccolingual_mm: float
    cusps: tuple[Cusp, ...]
    ridges: tuple[Ridge, ...] = ()
    cervical_dip_mesial_mm: float = 1.0
    cervical_dip_distal_mm: float = 0.2
    skew: float = 0.12
    squareness: float = 2.6
    grooves: tuple[tuple[float, float, float], ...] = ()
    """Furrows of the outline: angle (rad, 0 buccal, pi/2 distal), depth as a fraction, width (rad)."""


def cervical_height(shape: CrownShape, angle: Array) -> Array:
    """Height z (n,) of the cervical line at ``angle``: it dips to the occlusal on the mesial and distal sides."""
    s = np.sin(angle)
    return np.asarray(
        -shape.cervical_dip_mesial_mm * np.maximum(-s, 0.0) ** 2.5
        - shape.cervical_dip_distal_mm * np.maximum(s, 0.0) ** 2.5
    )


def side_field(shape: CrownShape, p: Array) -> Array:
    """Field (n,) of the crown's and trunk's side walls, without roof or occlusal face."""
    x, y = p[:, 0], p[:, 1] + shape.skew * p[:, 0]
    angle = np.arctan2(y, x)
    height = p[:, 2] - cervical_height(shape, angle)
    a, b = (f(np.clip(height, -9.0 * shape.crown_height_mm / 7.5, 8.0)) for f in _profiles(shape))
    n = shape.squareness - 0.3 * ramp(height, -3.0, 2.0)
    rho = (np.abs(x / a) ** n + np.abs(y / b) ** n) ** (1.0 / n)
    rho = rho * (1.0 + _grooves(shape, angle, height))
    return np.asarray((rho - 1.0) * np.sqrt(a * b))


def occlusal_height(shape: CrownShape, x: Array, y: Array) -> Array:
    """How far (n,) the occlusal face stands off the plane z = 0, mm: cusps and ridges over valleys between them."""
    parts = [c.height_mm - c.slope * (np.hypot(x - c.x_mm, y - c.y_mm) ** 2 / (0.7 + np.hypot(x - c.x_mm, y - c.y_mm)))
             for c in shape.cusps]  # fmt: skip
    parts += [r.height_mm - r.slope * _rounded(_segment_distance(r, x, y)) for r in shape.ridges]
    relief = parts[0]
    for part in parts[1:]:
        relief = smooth_max(relief, part, blend_mm=0.5)
    return relief


def crown_field(shape: CrownShape, p: Array) -> Array:
    """Field (n,) of the side walls cut by the occlusal face."""
    top = 0.8 * (-p[:, 2] - occlusal_height(shape, p[:, 0], p[:, 1]))
    return smooth_max(side_field(shape, p), top, blend_mm=1.3)


@lru_cache(maxsize=32)
def _profiles(shape: CrownShape) -> tuple[PchipInterpolator, PchipInterpolator]:
    scale = shape.crown_height_mm / 7.5
    knots = np.concatenate([_CROWN_KNOTS[:-1] * scale, _CROWN_KNOTS[-1:], _ROOT_KNOTS])
    buccal = np.concatenate(
        [0.5 * shape.buccolingual_mm * _BUCCAL, 0.5 * shape.cervical_buccolingual_mm * _NECK]
    )
    mesial = np.concatenate(
        [0.5 * shape.mesiodistal_mm * _MESIAL, 0.5 * shape.cervical_mesiodistal_mm * _NECK]
    )
    return PchipInterpolator(knots, buccal), PchipInterpolator(knots, mesial)


def _grooves(shape: CrownShape, angle: Array, height: Array) -> Array:
    deep = ramp(height, -1.0, -0.9 * shape.crown_height_mm)
    total = np.zeros(len(angle))
    for at, depth, width in shape.grooves:
        away = np.angle(np.exp(1j * (angle - at)))
        total += depth * deep * np.exp(-((away / width) ** 2))
    return total


def _rounded(distance: Array) -> Array:
    return distance**2 / (0.5 + distance)


def _segment_distance(ridge: Ridge, x: Array, y: Array) -> Array:
    a, b = np.array(ridge.start_mm), np.array(ridge.stop_mm)
    d = b - a
    t = np.clip(((x - a[0]) * d[0] + (y - a[1]) * d[1]) / (d @ d), 0.0, 1.0)
    return np.asarray(np.hypot(x - a[0] - t * d[0], y - a[1] - t * d[1]))
