"""A mirror-symmetric face-bow given by formulas, and its equilibrium by shooting: an independent route.

The shooting solution integrates the Cosserat rod equations of half the bow (scipy's Runge-Kutta, not the
product's elements) and uses none of its code but the records.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import root
from scipy.spatial.transform import Rotation

from mechanics.bow.wire import BowWire, JointRegion, StockMaterial, Tube, TubeSupport, WirePart
from mechanics.sides import SIDES, Side, outward_sign
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array

HALF_WIDTH, DEPTH, TUBE_MM, LEG_MM = 26.0, 38.0, 4.0, 6.0
STRAP_MM = np.array([60.0, 110.0, -40.0])
ABOUT_MM = np.array([23.0, LEG_MM + 2.0, 10.0])


@dataclass(frozen=True)
class Curve:
    """A plane U as functions of arc length from the middle to the left: half an ellipse (0 to its end), then
    a straight leg rising by ``rise``."""

    half: float
    depth: float
    leg: float
    rise: float = 0.0

    def dense(self) -> Array:
        """Points (n, 3) of the left half, 0.02 mm apart or closer."""
        a = np.linspace(0.0, np.pi / 2, 6001)
        arc = np.stack([self.half * np.sin(a), -self.depth * np.cos(a), 0.0 * a], axis=1)
        t = np.linspace(0.0, self.leg, 3001)[1:]
        along = np.array([0.0, np.cos(self.rise), np.sin(self.rise)])
        return np.concatenate([arc, np.array([self.half, 0.0, 0.0]) + t[:, None] * along])

    def both_sides(self, spacing: float) -> Array:
        """Points (n, 3) of the whole, from right to left, evenly spaced along the wire."""
        dense = self.dense()
        s = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(dense, axis=0), axis=1))]
        even = np.linspace(0.0, s[-1], int(s[-1] / spacing) + 1)
        left = np.stack([np.interp(even, s, dense[:, k]) for k in range(3)], axis=1)
        return np.concatenate([left[:0:-1] * [-1.0, 1.0, 1.0], left])

    def tangent(self) -> Callable[[float], Array]:
        """Unit tangent as a function of arc length from the middle."""
        a = np.linspace(0.0, np.pi / 2, 6001)
        speed = np.hypot(self.half * np.cos(a), self.depth * np.sin(a))
        s = np.r_[0.0, np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(a))]
        leg = np.array([0.0, np.cos(self.rise), np.sin(self.rise)])

        def at(arc: float) -> Array:
            if arc >= s[-1]:
                return leg
            angle = np.interp(arc, s, a)
            way = np.array([self.half * np.cos(angle), self.depth * np.sin(angle), 0.0])
            return way / np.linalg.norm(way)

        return at


INNER = Curve(HALF_WIDTH, DEPTH, LEG_MM + TUBE_MM)
OUTER = Curve(65.0, DEPTH + 1.4865, 30.0)


def symmetric_bow(
    *,
    spacing: float = 0.5,
    e_gpa: float = 180.0,
    bore_mm: float = 1.2,
    outer: Curve = OUTER,
    proof_mpa: float = 1400.0,
) -> BowWire:
    """Inner 1.143, outer 1.83 mm, tubes along +y with mesial ends at (+-26, 6, 0)."""
    inner = WirePart.uniform(INNER.both_sides(spacing), 1.143, part="inner")
    wire = WirePart.uniform(outer.both_sides(spacing), 1.83, part="outer")
    i, o = inner.length_mm / 2, wire.length_mm / 2
    tubes: dict[Side, Tube] = {}
    for side in SIDES:
        mesial = np.array([outward_sign(side) * HALF_WIDTH, LEG_MM, 0.0])
        tubes[side] = Tube(mesial, mesial + np.array([0.0, TUBE_MM, 0.0]), bore_mm)
    return BowWire(
        inner,
        wire,
        JointRegion(i - 10.0, i + 10.0, o - 10.0, o + 10.0, 2.3),
        StockMaterial(e_gpa=e_gpa, proof_mpa=proof_mpa),
        tubes,
        {"right": TUBE_MM, "left": inner.length_mm - TUBE_MM},
        {"right": 45.0, "left": 45.0},
    )


def pulls(force_n: float, *, left_n: float | None = None) -> dict[Side, StrapPull]:
    """Straps toward points behind the neck, mirrored."""
    size = {"right": force_n, "left": force_n if left_n is None else left_n}
    mirror = np.array([-1.0, 1.0, 1.0])
    at = {"right": STRAP_MM * mirror, "left": STRAP_MM}
    return {s: StrapPull.toward(at[s], force_n=size[s]) for s in SIDES}


def supports(stiffness: Array | None = None) -> dict[Side, TubeSupport]:
    """Wrenches about mirrored points; ``stiffness`` (6, 6) for both."""
    return {s: TubeSupport(ABOUT_MM * [outward_sign(s), 1.0, 1.0], stiffness) for s in SIDES}


def shot_hook(bow: BowWire, force_n: float, outer: Curve = OUTER) -> Array:
    """Left hook (3,) of ``symmetric_bow`` in ideal tubes by shooting.

    Unknown: force and moment in the wire at the tube (no moment about its axis) with the turn about it, and
    force and moment at the start of the outer arm. Known: the strap's force and no moment at the hook, and
    mirror symmetry at the middle.
    """
    material, joint = bow.material, bow.joint
    second = {d: np.pi * d**4 / 64.0 for d in (1.143, 1.83, joint.diameter_mm)}
    inner_end = bow.inner.length_mm / 2 - TUBE_MM
    arm = bow.outer.length_mm / 2
    inner_way, outer_way = INNER.tangent(), outer.tangent()
    link = bow.outer.at(joint.outer_to_mm) - bow.inner.at(joint.inner_to_mm)

    def run(start: Array, span: tuple[float, float], way: Callable[[float], Array], d: float) -> Array:
        """Integrates place, rotation (quaternion), force and moment (13,) over arc length from the middle."""
        bend, twist = material.e_mpa * second[d], 2.0 * material.g_mpa * second[d]
        stretch = material.e_mpa * np.pi * d**2 / 4.0

        def slope(s: float, y: Array) -> Array:
            q, n, m = y[3:7], y[7:10], y[10:13]
            t = Rotation.from_quat(q / np.linalg.norm(q)).apply(way(s))
            omega = m / bend + t * (t @ m) * (1.0 / twist - 1.0 / bend)
            dq = 0.5 * np.r_[q[3] * omega + np.cross(omega, q[:3]), -omega @ q[:3]]
            dx = t * (1.0 + n @ t / stretch)
            return np.r_[dx, dq, np.zeros(3), -np.cross(dx, n)]

        return solve_ivp(slope, span, start, rtol=1e-7, atol=1e-8, max_step=4.0).y[:, -1]

    scale = np.r_[1.0, 1.0, 1.0, 100.0, 100.0, 0.1, 1.0, 1.0, 1.0, 100.0, 100.0, 100.0]

    def shoot(values: Array) -> tuple[Array, Array]:
        x = values * scale
        turn = Rotation.from_rotvec([0.0, x[5], 0.0]).as_quat()
        # Force and moment that the tube's side of the cut exerts on the side toward the middle is -(n, m).
        tube = np.r_[bow.tubes["left"].mesial_mm, turn, x[0:3], x[3], 0.0, x[4]]
        at_joint = run(tube, (inner_end, 10.0), inner_way, 1.143)
        turned = Rotation.from_quat(at_joint[3:7])
        place = at_joint[:3] + turned.apply(link)
        hook = run(np.r_[place, at_joint[3:7], x[6:9], x[9:12]], (10.0, arm), outer_way, 1.83)
        # The bar carries both arms: n, m of the inner wire (moved to the bar's line) plus those of the outer.
        n = at_joint[7:10] + x[6:9]
        m = at_joint[10:13] + np.cross(at_joint[:3] - place, at_joint[7:10]) + x[9:12]
        middle = run(np.r_[place, at_joint[3:7], n, m], (10.0, 0.0), outer_way, joint.diameter_mm)
        away = STRAP_MM - hook[:3]
        strap = force_n * away / np.linalg.norm(away)
        spin = Rotation.from_quat(middle[3:7]).as_rotvec()
        ends = [hook[7:10] - strap, hook[10:13] / 100.0]
        mirror = [[middle[0] / 10.0], spin[1:] * 10.0, middle[8:10], [middle[10] / 100.0]]
        return np.concatenate([*ends, *mirror]), hook[:3]

    values = np.zeros(12)
    values[6:9] = force_n * np.array([0.0, 0.95, -0.25])
    found = root(lambda v: shoot(v)[0], values, method="hybr", tol=1e-9)
    assert np.abs(shoot(found.x)[0]).max() < 1e-5, found.message
    return shoot(found.x)[1]
