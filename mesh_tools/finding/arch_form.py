"""The arch form: a smooth curve along the tops of the teeth, and the scan unrolled along it.

In the arch's frame (left, back, up) the tops of the teeth are read in polar angle about a point on the midline; a
short cosine and sine series through them is the curve. A point then has a place along it (``s``, mm from the midline,
positive on the patient's left), a distance to its cheek side (``t``) and a depth behind the occlusal plane.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from mesh_tools.arrays import Array, frozen
from mesh_tools.finding.record import NotFoundError

_TOP_MM = 3.5  # tops: nearer than this to the occlusal plane
_BIN_DEG = 3.0
_LEAST_BINS = 30
_ORDERS = (4, 1)  # cosines, sines
_STEP_MM = 0.1
_BEYOND_MM = 6.0  # the curve runs on straight this far past the last tops
_CENTRE = 0.62  # of the depth of the arch behind its front


@dataclass(frozen=True, eq=False)
class ArchForm:
    """``curve_mm`` (n, 2): left and back, from the right end to the left, at equal steps; ``along_mm`` (n,): arc length
    from the midline, negative on the right. ``spread_mm``: rms distance of the tops from the curve."""

    curve_mm: Array
    along_mm: Array
    spread_mm: float
    centre_mm: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "curve_mm", frozen(self.curve_mm, (None, 2), name="curve_mm"))
        object.__setattr__(self, "along_mm", frozen(self.along_mm, (len(self.curve_mm),), name="along_mm"))

    def at(self, along: float) -> Array:
        """Point (2,), left and back, at ``along`` mm from the midline."""
        return np.array([np.interp(along, self.along_mm, self.curve_mm[:, k]) for k in range(2)])

    def tangent(self, along: float) -> Array:
        """Unit tangent (2,) at ``along``, towards the patient's left end."""
        step = self.at(along + 1.0) - self.at(along - 1.0)
        return np.asarray(step / np.linalg.norm(step))

    def outward(self, along: float) -> Array:
        """Unit vector (2,) at ``along`` towards lip or cheek."""
        x, y = self.tangent(along)
        return np.array([y, -x])

    def unrolled(self, flat: Array) -> tuple[Array, Array]:
        """Place along the curve (n,) and distance to its cheek side (n,) of points (n, 2), left and back."""
        at = cKDTree(self.curve_mm).query(flat)[1]
        step = np.gradient(self.curve_mm, axis=0)
        step = step / np.linalg.norm(step, axis=1, keepdims=True)
        arm = flat - self.curve_mm[at]
        out = step[at, 1] * arm[:, 0] - step[at, 0] * arm[:, 1]
        along = self.along_mm[at] + (step[at] * arm).sum(axis=1)
        return along, out


def arch_form(points: Array) -> ArchForm:
    """The arch form of samples (n, 3) in the arch's frame. Raises NotFoundError when hardly an arch is there."""
    tops = points[points[:, 2] < _TOP_MM]
    if len(tops) < 100:
        raise NotFoundError("arch: hardly any tooth reaches the occlusal plane; give the landmarks by hand.")
    front, back = np.quantile(tops[:, 1], [0.002, 0.998])
    centre = np.array([0.0, front + _CENTRE * (back - front)])
    turn, reach = _ridge(tops, centre)
    if len(turn) < _LEAST_BINS:
        raise NotFoundError(
            f"arch: tops of teeth are seen in {len(turn)} of the {_LEAST_BINS} directions an arch form needs; a "
            "partial scan has no midline. Give the landmarks by hand."
        )
    series = np.linalg.lstsq(_basis(turn), reach, rcond=None)[0]
    for _ in range(3):
        off = reach - _basis(turn) @ series
        near = np.abs(off) < max(2.0 * float(np.sqrt(np.mean(off**2))), 1.0)
        series = np.linalg.lstsq(_basis(turn[near]), reach[near], rcond=None)[0]
    fine = np.radians(np.arange(np.degrees(turn.min()), np.degrees(turn.max()), 0.25))
    curve = _lengthened(_points(fine, _basis(fine) @ series, centre))
    return _evened(curve, float(np.sqrt(np.mean(off[near] ** 2))), centre)


def _ridge(tops: Array, centre: Array) -> tuple[Array, Array]:
    """Angles (k,) from straight ahead, positive left, and distances (k,) of the ridge from ``centre``."""
    arm = tops[:, :2] - centre
    turn, far = np.arctan2(arm[:, 0], -arm[:, 1]), np.linalg.norm(arm, axis=1)
    weight = np.maximum(_TOP_MM - tops[:, 2], 0.0) ** 2
    row = np.floor(np.degrees(turn) / _BIN_DEG).astype(int)
    low = row.min()
    total = np.bincount(row - low, weight)
    mean = np.bincount(row - low, weight * far) / np.maximum(total, 1e-9)
    angle = np.radians((np.arange(len(total)) + low + 0.5) * _BIN_DEG)
    full = total > 0.05 * np.median(total[total > 0.0])
    return angle[full], mean[full]


def _basis(turn: Array) -> Array:
    cosines = [np.cos(k * turn) for k in range(_ORDERS[0])]
    return np.stack([*cosines, *(np.sin(k * turn) for k in range(1, _ORDERS[1] + 1))], axis=1)


def _points(turn: Array, far: Array, centre: Array) -> Array:
    return np.asarray(centre + far[:, None] * np.stack([np.sin(turn), -np.cos(turn)], axis=1))


def _lengthened(curve: Array) -> Array:
    """``curve`` with a straight piece at both ends."""
    parts = [curve]
    for end, inner in ((curve[0], curve[8]), (curve[-1], curve[-9])):
        way = (end - inner) / np.linalg.norm(end - inner)
        parts.append(end + np.arange(0.5, _BEYOND_MM, 0.5)[:, None] * way)
    return np.concatenate([parts[1][::-1], parts[0], parts[2]])


def _evened(curve: Array, spread: float, centre: Array) -> ArchForm:
    """``curve`` at equal steps of arc length, which is zero where the curve crosses the midline."""
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(curve, axis=0), axis=1))])
    even = np.arange(0.0, length[-1], _STEP_MM)
    points = np.stack([np.interp(even, length, curve[:, k]) for k in range(2)], axis=1)
    front = points[:, 1] < centre[1]
    zero = float(np.interp(0.0, points[front, 0], even[front]))
    return ArchForm(points, even - zero, spread, centre)
