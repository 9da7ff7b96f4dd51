"""What can be measured on the bow at the bench with a ruler: before bending and after, with no strap.

A bow lies on the plane that carries its inner wire from below. Straight distances from a hook to both ends of the inner
bow and to the front fix the hook in space without any support; its height above the plane tells up from down.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from casework.plan import Plan
from mechanics.bow.wire import BowWire
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array, unit
from mesh_tools.errors import NoAnswerError

_BELOW_MM = 0.3  # an outer wire this far under the plane keeps the bow from lying on a table: our choice


@dataclass(frozen=True, eq=False)
class BenchFrame:
    """The bow as it lies: ``rotation`` (3, 3) takes LPS to the bench (x the patient's left, y back, z up from the
    plane) and ``origin_mm`` (3,), LPS, is the point of the plane under the middle of the joint.

    ``on_table``: whether it can lie on a table; else its arms hang below the plane and it needs a block between them.
    """

    rotation: Array
    origin_mm: Array
    on_table: bool

    def laid(self, points_mm: Array) -> Array:
        """Points (..., 3), LPS, in the bench frame."""
        return np.asarray((points_mm - self.origin_mm) @ self.rotation.T)


@dataclass(frozen=True)
class RulerDistance:
    """One distance in mm, on the bow as it is and on the bent one; ``side`` is None where it belongs to both."""

    name: str
    side: Side | None
    before_mm: float
    bench_mm: float


def bench_frame(bow: BowWire, treatment_rotation: Array) -> BenchFrame:
    """How ``bow`` (LPS) lies on its inner wire, upper side up.

    The plane under the wire with the greatest height at its middle, a linear programme: the wire's weight or a finger
    on its middle presses it there. Raises NoAnswerError for an inner wire that stands on edge.
    """
    turned = bow.moved(treatment_rotation)
    slope = _plane_under(turned.inner.points_mm, 0.5 * turned.inner.diameter_mm)
    up = unit(np.array([-slope[0], -slope[1], 1.0]))
    y = unit(np.cross(up, [1.0, 0.0, 0.0]))
    rotation = np.array([np.cross(y, up), y, up])
    front = turned.outer.at(turned.joint.outer_middle_mm)
    origin = front + float((np.array([0.0, 0.0, slope[2]]) - front) @ up) * up
    outer = (turned.outer.points_mm - origin) @ up - 0.5 * turned.outer.diameter_mm
    return BenchFrame(
        rotation @ treatment_rotation, treatment_rotation.T @ origin, bool(outer.min() > -_BELOW_MM)
    )


def _plane_under(points_mm: Array, radius_mm: Array) -> Array:
    """Slopes and height (3,) of the plane z = a x + b y + c that touches round wire from below."""
    from scipy.optimize import linprog  # slow to import

    x, y, z = points_mm.T
    rows = np.stack([x, y, np.ones_like(x)], axis=1)
    found = linprog(
        -rows.mean(axis=0), A_ub=rows, b_ub=z - radius_mm, bounds=[(-1.0, 1.0), (-1.0, 1.0), (None, None)]
    )
    if not found.success or np.abs(found.x[:2]).max() > 0.99:
        raise NoAnswerError("the inner bow stands on edge: it lies on no plane; check the tube landmarks.")
    return np.asarray(found.x)


def ruler_distances(plan: Plan, frame: BenchFrame) -> list[RulerDistance]:
    """What to measure, the hooks first; hooks are the middles of the outer wire's ends, in mm."""
    bows = plan.bow_before, plan.bow_bench
    found: list[RulerDistance] = []
    for side in SIDES:
        other: Side = "left" if side == "right" else "right"
        found += [
            _pair("Hook height above the plane", side, [float(frame.laid(b.hook_mm[side])[2]) for b in bows]),
            _pair(
                "Hook to the inner bow's end, same side",
                side,
                [_hook_to(b, side, _end(b, side)) for b in bows],
            ),
            _pair(
                "Hook to the inner bow's end, other side",
                side,
                [_hook_to(b, side, _end(b, other)) for b in bows],
            ),
            _pair("Hook to the middle of the front", side, [_hook_to(b, side, _front(b)) for b in bows]),
        ]
    found.append(_pair("Hook to hook", None, [_hook_to(b, "right", b.hook_mm["left"]) for b in bows]))
    apart = [float(np.linalg.norm(_end(b, "right") - _end(b, "left"))) for b in bows]
    return [*found, _pair("Inner bow, end to end", None, apart)]


def _pair(name: str, side: Side | None, values: list[float]) -> RulerDistance:
    return RulerDistance(name, side, *values)


def _end(bow: BowWire, side: Side) -> Array:
    return np.asarray(bow.inner.points_mm[0 if side == "right" else -1])


def _front(bow: BowWire) -> Array:
    return np.asarray(bow.outer.at(bow.joint.outer_middle_mm))


def _hook_to(bow: BowWire, side: Side, point: Array) -> float:
    return float(np.linalg.norm(bow.hook_mm[side] - point))
