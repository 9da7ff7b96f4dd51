"""The face-bow as smooth curves with few parameters: two pieces of inner bow, two front curves, two
straight arms.

All curvature is continuous: the inner bow leaves each tube along the tube's axis without curvature; the
outer wire follows the inner one side by side over the joint, and runs into each arm without curvature.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from mechanics.bow.quintic import CurveEnd, Quintic
from mechanics.bow.wire import Tube
from mechanics.sides import Side, outward_sign
from mesh_tools.arrays import Array

UP = np.array([0.0, 0.0, 1.0])
DENSE = 1501
INNER_PARAMETERS = 11
OUTER_PARAMETERS = 7


@dataclass(frozen=True, eq=False)
class InnerShape:
    """Inner bow between the mesial ends of the tubes: from the right end to the front, and on to the left
    end."""

    right: Quintic
    left: Quintic

    @classmethod
    def from_parameters(cls, x: Array, *, right: Tube, left: Tube) -> InnerShape:
        """Shape of parameters ``x`` (11,).

        Front point (3), yaw and pitch of the front's direction (rad), log curvature toward the back and
        curvature upward (1/mm), logs of the four speeds (mm): right tube, front from the right, front to
        the left, left tube.
        """
        yaw, pitch = x[3], x[4]
        ahead = np.array([np.cos(yaw) * np.cos(pitch), np.sin(yaw) * np.cos(pitch), np.sin(pitch)])
        back = np.array([-np.sin(yaw), np.cos(yaw), 0.0])
        up = np.cross(ahead, back)
        front = CurveEnd(x[:3], ahead, np.exp(x[5]) * back + x[6] * up)
        speed = np.exp(x[7:11])
        flat = np.zeros(3)
        start = CurveEnd(right.mesial_mm, -right.axis, flat)
        end = CurveEnd(left.mesial_mm, left.axis, flat)
        return cls(
            Quintic.between(start, front, start_speed=speed[0], end_speed=speed[1]),
            Quintic.between(front, end, start_speed=speed[2], end_speed=speed[3]),
        )

    def joint_half(self, side: Side, *, half_mm: float, offset_mm: float) -> JointHalf:
        """The outer wire's course over half the joint toward ``side``."""
        return JointHalf(self.left if side == "left" else self.right, side, half_mm, offset_mm)


@dataclass(frozen=True, eq=False)
class JointHalf:
    """Outer wire from the joint's middle to its end on one side: the inner bow moved ``offset_mm`` to the
    front."""

    piece: Quintic
    side: Side
    half_mm: float
    offset_mm: float

    def at(self, t: Array) -> Array:
        """Points (n, 3) at parameters ``t`` (n,) counted from the front (0) toward the tube (1)."""
        u = self._own(t)
        across = np.cross(self.piece.at(u, derivative=1), UP)
        across /= np.linalg.norm(across, axis=-1, keepdims=True)
        return np.asarray(self.piece.at(u) + self.offset_mm * across)

    @cached_property
    def end_t(self) -> float:
        """Parameter where the outer wire has run ``half_mm`` from the middle."""
        t = np.linspace(0.0, 1.0, DENSE)
        steps = np.linalg.norm(np.diff(self.at(t), axis=0), axis=1)
        return float(np.interp(self.half_mm, np.concatenate([[0.0], np.cumsum(steps)]), t))

    @cached_property
    def end(self) -> CurveEnd:
        """Place, direction and curvature at the joint's end, by central differences (truncation about
        1e-7)."""
        h = 1e-3
        before, here, after = self.at(np.array([self.end_t - h, self.end_t, self.end_t + h]))
        first, second = (after - before) / (2.0 * h), (after - 2.0 * here + before) / h**2
        speed2 = float(first @ first)
        direction = first / np.sqrt(speed2)
        return CurveEnd(here, direction, (second - direction * float(direction @ second)) / speed2)

    @property
    def points_mm(self) -> Array:
        """Dense points (n, 3) from the middle to the end."""
        return self.at(np.linspace(0.0, self.end_t, 301))

    @property
    def inner_length_mm(self) -> float:
        """Length of inner bow under this half of the joint."""
        u = self._own(np.linspace(0.0, self.end_t, 301))
        return float(np.linalg.norm(np.diff(self.piece.at(u), axis=0), axis=1).sum())

    def _own(self, t: Array) -> Array:
        """The piece's own parameter: both pieces run from right to left, the right one toward the front."""
        return t if self.side == "left" else 1.0 - t


@dataclass(frozen=True, eq=False)
class OuterHalf:
    """Outer wire of one side past the joint: a front curve, then a straight arm to the hook."""

    curve: Quintic
    hook_mm: Array

    @classmethod
    def from_parameters(cls, x: Array, *, start: CurveEnd, side: Side, rest_mm: float) -> OuterHalf:
        """Shape of parameters ``x`` (7,): where the arm begins (3), its splay outward and rise (rad), logs
        of the speeds.

        ``rest_mm`` is the wire's length from the joint's end to the hook.
        """
        splay, rise = x[3], x[4]
        sign = outward_sign(side)
        arm = np.array([sign * np.sin(splay) * np.cos(rise), np.cos(splay) * np.cos(rise), np.sin(rise)])
        end = CurveEnd(x[:3], arm, np.zeros(3))
        curve = Quintic.between(start, end, start_speed=float(np.exp(x[5])), end_speed=float(np.exp(x[6])))
        return cls(curve, x[:3] + (rest_mm - curve.length_mm) * arm)

    @property
    def arm_start_mm(self) -> Array:
        """Where the curve runs into the straight arm (3,)."""
        return self.curve.at(1.0)

    @property
    def points_mm(self) -> Array:
        """Dense points (n, 3) from the joint's end to the hook."""
        curve = self.curve.at(np.linspace(0.0, 1.0, DENSE))
        arm = np.linspace(self.arm_start_mm, self.hook_mm, 301)
        return np.concatenate([curve, arm[1:]])


def evenly(points_mm: Array, *, spacing_mm: float) -> Array:
    """A dense polyline (n, 3) at even arc length, about ``spacing_mm`` apart, ends kept.

    Straight interpolation between the dense points; with those 0.05 mm apart the error stays near 1e-5 mm.
    """
    steps = np.linalg.norm(np.diff(points_mm, axis=0), axis=1)
    s = np.concatenate([[0.0], np.cumsum(steps)])
    wanted = np.linspace(0.0, s[-1], int(np.ceil(s[-1] / spacing_mm)) + 1)
    return np.stack([np.interp(wanted, s, points_mm[:, k]) for k in range(3)], axis=-1)
