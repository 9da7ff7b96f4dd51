"""``bow.csv``: the bow as the statics see it, bench and worn, so that any other program can repeat them.

Columns: ``part`` (inner, joint, outer), ``side`` (right, left), ``s_mm`` along the wire from the joint's middle,
``diameter_mm``, bench place and worn place in LPS mm. The inner and outer wires are listed outside the joint only. Over
the joint both wires move as one bar: its rows lie on the outer wire's line and carry the diameter of a round bar as
stiff as the pair; the inner wire's joint ends are fixed to the bar's ends. The inner wire begins and ends at its stops,
the mesial ends of the tubes; inside a tube it runs on along its end's direction.
"""

from __future__ import annotations

import csv
import io

import numpy as np

from casework.plan import Plan
from mechanics.bow.wire import WirePart
from mesh_tools.arrays import Array

COLUMNS = (
    "part", "side", "s_mm", "diameter_mm",
    "bench_x_mm", "bench_y_mm", "bench_z_mm", "worn_x_mm", "worn_y_mm", "worn_z_mm",
)  # fmt: skip
_NEAR_MM = 1e-6
_SAME_MM = 1e-3  # a station this near to a joint's end or a stop is that place
Row = list[object]
Pair = tuple[float, float]


def bow_csv(plan: Plan) -> str:
    """The text of ``bow.csv``: inner right to left, joint, outer right to left."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(COLUMNS)
    bench, worn = plan.bow_bench, plan.worn_after
    joint = bench.joint
    marks = (joint.inner_from_mm, joint.inner_to_mm, *bench.stop_mm.values())
    inner = _stations(bench.inner, worn.inner, marks)
    outer = _stations(bench.outer, worn.outer, (joint.outer_from_mm, joint.outer_to_mm))
    stops = (bench.stop_mm["right"], bench.stop_mm["left"])
    rows.writerows(_rows("inner", *inner, span=(joint.inner_from_mm, joint.inner_to_mm), ends=stops))
    rows.writerows(_bar(*outer, span=(joint.outer_from_mm, joint.outer_to_mm), diameter_mm=joint.diameter_mm))
    whole = (0.0, bench.outer.length_mm)
    rows.writerows(_rows("outer", *outer, span=(joint.outer_from_mm, joint.outer_to_mm), ends=whole))
    return out.getvalue()


def _stations(wire: WirePart, worn: WirePart, marks: tuple[float, ...]) -> tuple[Array, Array, Array, Array]:
    """Arc lengths (with the joint's ends among them), diameters, bench and worn points of one wire.

    A wire hardly stretches, so equal shares of its length are the same material.
    """
    fixed = np.unique(np.clip(marks, 0.0, wire.length_mm))
    apart = np.abs(wire.s_mm[:, None] - fixed[None, :]).min(axis=1) > _SAME_MM
    s = np.sort(np.concatenate([wire.s_mm[apart], fixed]))
    return s, wire.diameter_at(s), wire.at(s), worn.at(s * (worn.length_mm / wire.length_mm))


def _rows(
    part: str, s: Array, diameter: Array, bench: Array, worn: Array, *, span: Pair, ends: Pair
) -> list[Row]:
    """Stations between ``ends`` and outside the joint, whose own ends are included on either side."""
    middle, found = 0.5 * (span[0] + span[1]), list[Row]()
    right = (s >= ends[0] - _NEAR_MM) & (s <= span[0] + _NEAR_MM)
    left = (s >= span[1] - _NEAR_MM) & (s <= ends[1] + _NEAR_MM)
    for side, keep in (("right", right), ("left", left)):
        for k in np.flatnonzero(keep):
            found.append(_row(part, side, abs(s[k] - middle), diameter[k], bench[k], worn[k]))
    return found


def _bar(
    s: Array, diameter: Array, bench: Array, worn: Array, *, span: tuple[float, float], diameter_mm: float
) -> list[Row]:
    middle = 0.5 * (span[0] + span[1])
    inside = np.flatnonzero((s >= span[0] - _NEAR_MM) & (s <= span[1] + _NEAR_MM))
    return [
        _row(
            "joint", "right" if s[k] <= middle else "left", abs(s[k] - middle), diameter_mm, bench[k], worn[k]
        )
        for k in inside
    ]


def _row(part: str, side: str, s_mm: float, diameter_mm: float, bench: Array, worn: Array) -> Row:
    return [part, side, *(f"{v:.6f}" for v in (s_mm, diameter_mm, *bench, *worn))]
