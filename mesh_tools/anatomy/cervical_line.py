"""The cervical line (cemento-enamel junction) from the shape alone.

Enamel ends in a thin edge on the root, so every meridian of the tooth bends inward just apical of the line:
a concave band that runs once around the neck. The band is followed on the unrolled tooth by the cheapest
closed
path, weighed against how tall a crown of this width usually is; the line is then set on the band's crown-side
flank, where the bend has reached most of its strength, and drawn smooth.

The scales, weights and flank were chosen once for all teeth on five open models with a known line and checked
by leaving each out; see tests/mesh_tools/test_anatomy_open_teeth.py for the error that is held.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from mesh_tools.anatomy.closed_path import cheapest_closed_path
from mesh_tools.anatomy.errors import NoCervicalLineError
from mesh_tools.anatomy.radial_map import radial_map, radii_at
from mesh_tools.arrays import Array, IntArray, frozen
from mesh_tools.fdi import ToothNumber

COLUMNS = 96
STEP_MM = 0.15
FOLLOW_SCALE_MM = 0.4  # blur along the meridian while the band is followed
PLACE_SCALE_MM = 0.25  # and while the line is set on it
FOLLOW_COLUMNS, PLACE_COLUMNS = 1.0, 1.0  # and around the tooth, in columns
FLANK = 0.8  # share of the band's strength at which the line lies, on the crown side
STRONG_PER_MM = 0.35  # bend at which a column's evidence counts as full
_SURPRISE_COST, _FULL_GAIN, _GAIN_PER_MM = 0.05, 0.4, 0.3
_CLIMB_COST, _WIGGLE_COST = 0.04, 0.2
_LEAST_SHARE, _MOST_SHARE, _DEEPEST_SHARE = 0.35, 2.2, 0.85  # of the usual crown height, twice; of the length
_NOISE_FROM_MEDIAN, _CLEAN_PER_MM, _NOISE_WEIGHT = 1.4826, 0.03, 4.0
_SMOOTH, _STIFF, _JUMP_MM, _REWEIGHTINGS = 1.0, 100.0, 0.25, 4
# Crown height over the mean of crown width and depth, upper and lower; averages of a common textbook (from
# memory).
_CROWN_RATIO = {
    (True, "incisor"): 1.40, (True, "canine"): 1.29, (True, "premolar"): 1.06, (True, "molar"): 0.71,
    (False, "incisor"): 1.60, (False, "canine"): 1.50, (False, "premolar"): 1.17, (False, "molar"): 0.70,
}  # fmt: skip
_MEAN_OF_LINE = 0.92  # the line's mean height over its greatest, which is what a crown height is
_RATIO_SCATTER = 0.22


@dataclass(frozen=True, eq=False)
class CervicalLine:
    """Heights (COLUMNS,) mm and distances from the axis, mm, of the line by angle in the tooth's frame."""

    heights_mm: Array
    radii_mm: Array
    confidence: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "heights_mm", frozen(self.heights_mm, (None,), name="heights_mm"))
        object.__setattr__(self, "radii_mm", frozen(self.radii_mm, (None,), name="radii_mm"))

    @property
    def points_tooth(self) -> Array:
        """The line's points (COLUMNS, 3) in the tooth's frame, ordered from buccal towards mesial."""
        angle = 2.0 * np.pi * np.arange(len(self.heights_mm)) / len(self.heights_mm)
        return np.stack(
            [self.radii_mm * np.cos(angle), self.radii_mm * np.sin(angle), self.heights_mm], axis=1
        )


def cervical_line(points_tooth: Array, faces: IntArray, tooth: ToothNumber) -> CervicalLine:
    """The cervical line of a tooth given in its own frame (buccal, mesial, apical; occlusal end at height 0).

    Raises NoCervicalLineError when no band can be followed all the way round.
    """
    length = float(points_tooth[:, 2].max())
    heights = np.arange(0.0, 0.92 * length, STEP_MM)
    distance = radial_map(points_tooth, faces, heights_mm=heights, columns=COLUMNS)
    expected = expected_crown_height(points_tooth, tooth)
    band = _window(heights, expected_mm=expected, length_mm=length)
    soft = bend(distance, along_mm=FOLLOW_SCALE_MM, around=FOLLOW_COLUMNS)
    sharp = bend(distance, along_mm=PLACE_SCALE_MM, around=PLACE_COLUMNS)
    path = band.start + _followed(soft[band], heights[band], expected_mm=expected)
    placed, strength = _placed(sharp, path)
    line = _smoothed(placed, np.clip(strength, 0.02, 1.0))
    radii = radii_at(points_tooth, faces, line)
    if np.isnan(radii).any():
        raise NoCervicalLineError(
            f"tooth {tooth.fdi}: the neck is not one closed wall around the long axis (holes or a break at "
            f"{np.isnan(radii).sum()} of {COLUMNS} angles), so no cervical line was found; give it as "
            "landmark cervical_line."
        )
    noise = _NOISE_FROM_MEDIAN * float(np.median(np.abs(sharp[band] - soft[band])))
    return CervicalLine(line, radii, _confidence(strength, line, noise=noise, expected_mm=expected))


def expected_crown_height(points_tooth: Array, tooth: ToothNumber) -> float:
    """Mean height in mm of the cervical line over the occlusal end, usual for a crown of this width and
    depth."""
    coronal = points_tooth[points_tooth[:, 2] < 0.6 * points_tooth[:, 2].max()]
    width = float(np.ptp(coronal[:, :2], axis=0).mean())
    return _MEAN_OF_LINE * crown_ratio(tooth) * width


def crown_ratio(tooth: ToothNumber) -> float:
    """Usual crown height over the mean of crown width and depth."""
    return _CROWN_RATIO[tooth.upper, tooth.kind]


def bend(distance: Array, *, along_mm: float, around: float) -> Array:
    """Curvature (rows, columns) per mm of every meridian, blurred over ``along_mm`` and ``around`` columns;
    positive where concave.

    ``distance`` (rows, columns) is a radial map with rows ``STEP_MM`` apart. Zero where most of the
    neighbourhood is missing.
    """
    there = ~np.isnan(distance)
    weight = _blurred(there.astype(np.float64), along_mm, around)
    smooth = _blurred(np.where(there, distance, 0.0), along_mm, around) / np.maximum(weight, 1e-9)
    slope = np.gradient(smooth, STEP_MM, axis=0)
    curvature = np.gradient(slope, STEP_MM, axis=0) / (1.0 + slope**2) ** 1.5
    return np.asarray(np.where(weight > 0.6, curvature, 0.0))


def _blurred(values: Array, along_mm: float, around: float) -> Array:
    rows, columns = values.shape
    down = _gauss(rows, along_mm / STEP_MM, lambda k: np.clip(k, 0, rows - 1))
    across = _gauss(columns, around, lambda k: k % columns)
    return np.asarray(down @ values @ across.T)


def _gauss(size: int, sigma: float, place: Callable[[IntArray], IntArray]) -> Array:
    """Matrix (size, size) of a Gaussian blur cut at four ``sigma``; ``place`` brings what lies off the ends back."""
    reach = int(4.0 * sigma + 0.5)
    offsets = np.arange(-reach, reach + 1)
    weight = np.exp(-0.5 * (offsets / sigma) ** 2)
    blur = np.zeros((size, size))
    rows = np.repeat(np.arange(size), len(offsets))
    columns = place((np.arange(size)[:, None] + offsets).ravel())
    np.add.at(blur, (rows, columns), np.tile(weight / weight.sum(), size))
    return blur


def _window(heights: Array, *, expected_mm: float, length_mm: float) -> slice:
    """Rows among which the line is looked for."""
    low = int(np.searchsorted(heights, _LEAST_SHARE * expected_mm))
    high = int(np.searchsorted(heights, min(_MOST_SHARE * expected_mm, _DEEPEST_SHARE * length_mm)))
    return slice(low, high)


def _followed(soft: Array, heights: Array, *, expected_mm: float) -> IntArray:
    """Row (columns,) of the band of ``soft`` (rows, columns), the bend at those ``heights``."""
    surprise = 0.5 * ((heights - expected_mm) / (_RATIO_SCATTER * expected_mm)) ** 2
    cost = _SURPRISE_COST * surprise[:, None] - _FULL_GAIN * np.tanh(soft / _GAIN_PER_MM)
    return cheapest_closed_path(cost, climb_cost=_CLIMB_COST, wiggle_cost=_WIGGLE_COST)


def _placed(sharp: Array, path: IntArray) -> tuple[Array, Array]:
    """Height of the band's crown-side flank and the band's strength per column, near ``path``."""
    columns = np.arange(sharp.shape[1])
    reach = int(1.0 / STEP_MM)
    offsets = np.arange(-reach, reach + 1)
    rows = np.clip(path + offsets[:, None], 0, len(sharp) - 1)
    nearness = np.exp(-0.5 * (offsets * STEP_MM / 0.5) ** 2)[:, None]
    peak = rows[(np.maximum(sharp[rows, columns], 0.0) * nearness).argmax(axis=0), columns]
    strength = sharp[peak, columns]
    return _flank(sharp, peak, FLANK * strength) * STEP_MM, strength


def _flank(values: Array, peak: IntArray, level: Array) -> Array:
    """Fractional row (columns,) below ``peak`` where ``values`` first falls to ``level``."""
    columns = np.arange(values.shape[1])
    above = values > level
    rows = np.arange(len(values))[:, None]
    under = np.where(~above & (rows < peak), rows, -1).max(axis=0)
    lower = np.maximum(under, 0)
    a, b = values[lower, columns], values[np.minimum(lower + 1, len(values) - 1), columns]
    share = np.divide(level - a, b - a, out=np.zeros_like(a), where=b > a)
    return np.where(under < 0, peak, lower + np.clip(share, 0.0, 1.0))


def _smoothed(heights: Array, weight: Array) -> Array:
    """Closed curve (k,) near ``heights``, smooth and little moved by runs that jump off to another bend.

    Penalised least squares on the second difference, reweighted with the weights of Geman and McClure (from
    memory) about a stiffer curve.
    """
    trusted = weight
    for _ in range(_REWEIGHTINGS):
        away = heights - _fitted(heights, trusted, _STIFF)
        trusted = weight / (1.0 + (away / _JUMP_MM) ** 2) ** 2
    return _fitted(heights, trusted, _SMOOTH)


def _fitted(heights: Array, weight: Array, stiffness: float) -> Array:
    eye = np.eye(len(heights))
    second = np.roll(eye, 1, axis=0) - 2.0 * eye + np.roll(eye, -1, axis=0)
    system = np.diag(weight) + stiffness * second.T @ second
    return np.asarray(np.linalg.solve(system, weight * heights))


def _confidence(strength: Array, line: Array, *, noise: float, expected_mm: float) -> float:
    """Share of the circumference where the bend stands out from the surface's roughness, less for odd crowns."""
    standing_out = strength - _NOISE_WEIGHT * max(0.0, noise - _CLEAN_PER_MM)
    evidence = float(np.clip(standing_out / STRONG_PER_MM, 0.0, 1.0).mean())
    surprise = (float(line.mean()) / expected_mm - 1.0) / _RATIO_SCATTER
    return float(evidence * np.exp(-0.5 * max(0.0, abs(surprise) - 1.0) ** 2))
