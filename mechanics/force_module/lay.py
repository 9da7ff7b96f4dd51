"""How a strap lies for given hooks: where it leaves the skin and how long each half is.

``StrapLay`` is a function, so that a strap laid on a scanned neck, one round a cylinder and one that runs straight to
a cap serve the module alike. Frame: the treatment frame, head still; posture moves the neck (``posed``).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mechanics.sides import SIDES, Side, outward_sign
from mechanics.strap.direction import tangent_point
from mechanics.strap.path import StrapPath
from mesh_tools.arrays import Array, frozen
from mesh_tools.errors import BadValueError
from mesh_tools.registration.motion import RigidMotion

_LEAST_TILT = 0.05  # sine of the angle between two strap lines in plan below which no neck can be told

_RADII_MM = (25.0, 100.0)  # circumference 16-63 cm: wider than any child's or adult's neck, our choice


@dataclass(frozen=True, eq=False)
class Lain:
    """A strap as it lies: ``leaves_mm`` (3,) per side is the point the free strap runs to from the hook; ``half_mm``
    per side is the length from the hook to the strap's mark at the nape (or to the cap)."""

    leaves_mm: Mapping[Side, Array]
    half_mm: Mapping[Side, float]

    @property
    def length_mm(self) -> float:
        """Hook to hook along the strap."""
        return sum(self.half_mm[s] for s in SIDES)


StrapLay = Callable[[Mapping[Side, Array]], Lain]


@dataclass(frozen=True, eq=False)
class NeckCylinder:
    """A neck as an upright circular cylinder: ``centre_mm`` (3,) on its axis at the height where the strap crosses the
    nape, and its radius. A strap on it is a helix from each tangent point to the nape: straight once unrolled.
    """

    centre_mm: Array
    radius_mm: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "centre_mm", frozen(self.centre_mm, (3,), name="centre of the neck"))
        if not (np.isfinite(self.radius_mm) and self.radius_mm > 0.0):
            raise BadValueError(f"radius of the neck must be above zero; got {self.radius_mm}.")

    @classmethod
    def touched_at(
        cls, points_mm: Mapping[Side, ArrayLike], hooks_mm: Mapping[Side, ArrayLike]
    ) -> NeckCylinder:
        """The cylinder that the straps from ``hooks_mm`` touch at ``points_mm`` (where they leave the skin).

        In plan view its centre is where the normals of both straps at those points meet and its radius the mean of
        the two distances; the nape's height is where the strap arrives when it keeps the rise it has on the way to
        each point (mean of the sides). Raises BadValueError for straps that run side by
        side and for a radius that no neck has.
        """
        p = {s: np.asarray(points_mm[s], dtype=np.float64) for s in SIDES}
        h = {s: np.asarray(hooks_mm[s], dtype=np.float64) for s in SIDES}
        way = {s: (p[s] - h[s])[:2] / np.linalg.norm((p[s] - h[s])[:2]) for s in SIDES}
        rows = np.array([way[s] for s in SIDES])  # (c - p) . way = 0 on both sides
        if abs(float(np.linalg.det(rows))) < _LEAST_TILT:
            raise BadValueError(
                "the two straps run side by side, so no neck between them can be told; check landmarks.strap_right_mm "
                "and strap_left_mm: each is where the strap leaves the side of the neck."
            )
        centre = np.linalg.solve(rows, [float(way[s] @ p[s][:2]) for s in SIDES])
        radius = float(np.mean([np.linalg.norm(p[s][:2] - centre) for s in SIDES]))
        outward = all(outward_sign(s) * float((p[s][:2] - centre)[0]) > 0.0 for s in SIDES)
        if not outward or not _RADII_MM[0] <= radius <= _RADII_MM[1]:
            raise BadValueError(
                f"the straps would go round a neck of {radius:.0f} mm radius; {_RADII_MM[0]:.0f}-{_RADII_MM[1]:.0f} mm "
                "can be: check landmarks.strap_right_mm, strap_left_mm and the bow's hooks."
            )
        flat = cls(np.array([*centre, 0.0]), radius)
        nape = []
        for s in SIDES:
            free, arc = flat._unrolled(h[s], s)
            nape.append(h[s][2] + (p[s][2] - h[s][2]) * (free + arc) / free)
        return cls(np.array([*centre, float(np.mean(nape))]), radius)

    def __call__(self, hooks_mm: Mapping[Side, Array]) -> Lain:
        """The strap from both hooks round the back. Raises BadValueError for a hook inside the neck or a strap that
        does not touch it."""
        leaves, half = {}, {}
        for side in SIDES:
            hook = np.asarray(hooks_mm[side], dtype=np.float64)
            free, arc = self._unrolled(hook, side)
            drop = self.centre_mm[2] - hook[2]
            touch = tangent_point(hook, centre_mm=self.centre_mm, radius_mm=self.radius_mm, side=side)
            leaves[side] = np.array([touch[0], touch[1], hook[2] + drop * free / (free + arc)])
            half[side] = float(np.hypot(free + arc, drop))
        return Lain(leaves, half)

    def _unrolled(self, hook: Array, side: Side) -> tuple[float, float]:
        """Length in plan of the free strap and of its arc from the tangent point to the nape, mm."""
        touch = tangent_point(hook, centre_mm=self.centre_mm, radius_mm=self.radius_mm, side=side)
        out = (touch - self.centre_mm)[:2]
        back_deg = float(np.arctan2(outward_sign(side) * out[0], out[1]))  # angle from the nape, outward
        if back_deg < 0.0:
            raise BadValueError(
                f"{side} strap passes the middle of the nape before it touches the neck; check the strap points."
            )
        return float(np.linalg.norm(touch[:2] - hook[:2])), self.radius_mm * back_deg


def straight_lay(points_mm: Mapping[Side, ArrayLike], *, beyond_mm: float = 0.0) -> StrapLay:
    """A strap from each hook straight to a fixed point: the straps of a head cap, or a strap whose way beyond the point
    (``beyond_mm`` on each side) does not change."""
    points: dict[Side, Array] = {s: frozen(points_mm[s], (3,), name=f"{s} strap point") for s in SIDES}

    def lay(hooks_mm: Mapping[Side, Array]) -> Lain:
        half = {s: float(np.linalg.norm(points[s] - hooks_mm[s])) + beyond_mm for s in SIDES}
        return Lain(points, half)

    return lay


def path_lay(path_from: Callable[[Mapping[Side, Array]], StrapPath]) -> StrapLay:
    """The lay of a strap whose whole line is computed from the hooks; its halves meet where it crosses the middle (the
    longest way of the strap that lies behind both hooks' mean x)."""

    def lay(hooks_mm: Mapping[Side, Array]) -> Lain:
        path = path_from(hooks_mm)
        return Lain(dict(path.leaves_mm), halves_of(path))

    return lay


def adjusted(lay: StrapLay, *, add_mm: Mapping[Side, float], shift_mm: Mapping[Side, Array]) -> StrapLay:
    """``lay`` with a constant length added to each half and a constant shift (3,) of where it leaves the skin: what a
    simple shape of the neck leaves out."""

    def better(hooks_mm: Mapping[Side, Array]) -> Lain:
        lain = lay(hooks_mm)
        return Lain(
            {s: lain.leaves_mm[s] + shift_mm[s] for s in SIDES},
            {s: lain.half_mm[s] + add_mm[s] for s in SIDES},
        )

    return better


def halves_of(path: StrapPath) -> dict[Side, float]:
    """Length of each half of ``path``, right hook to the place where the strap crosses the plane midway between the
    points where it leaves the skin, and from there to the left hook; both add to its length."""
    points = path.points_mm
    middle = 0.5 * float(path.leaves_mm["right"][0] + path.leaves_mm["left"][0])
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    s = np.concatenate([[0.0], np.cumsum(steps)])
    x = points[:, 0] - middle
    crossing = np.flatnonzero((x[:-1] <= 0.0) & (x[1:] > 0.0))
    if not len(crossing):
        raise BadValueError(f"the {path.band} strap does not cross the middle of the body; check its hooks.")
    k = int(crossing[-1])
    share = float(-x[k] / (x[k + 1] - x[k]))
    right = float(s[k] + share * steps[k]) * path.length_mm / float(s[-1])
    return {"right": right, "left": path.length_mm - right}


def posed(lay: StrapLay, motion: RigidMotion) -> StrapLay:
    """``lay`` with what it lies on moved by ``motion``, hooks still."""
    back = motion.inverse

    def moved(hooks_mm: Mapping[Side, Array]) -> Lain:
        lain = lay({s: back.applied(hooks_mm[s]) for s in SIDES})
        return Lain({s: motion.applied(lain.leaves_mm[s]) for s in SIDES}, lain.half_mm)

    return moved
