"""``bow.csv``: every station of the bow, bench and worn, so that any other program can repeat the statics.

Columns: ``part`` (inner, outer, joint) with ``side`` (right, left, middle), ``s_mm`` along that wire from the joint's
middle, ``diameter_mm``, bench place and worn place in LPS mm. Rows run along the inner wire, then along the outer.
"""

from __future__ import annotations

import csv
import io

import numpy as np

from casework.plan import Plan
from mechanics.bow.wire import BowWire, WirePart
from mesh_tools.arrays import Array

COLUMNS = (
    "part", "side", "s_mm", "diameter_mm",
    "bench_x_mm", "bench_y_mm", "bench_z_mm", "worn_x_mm", "worn_y_mm", "worn_z_mm",
)  # fmt: skip


def bow_csv(plan: Plan) -> str:
    """The text of ``bow.csv``."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(COLUMNS)
    bench, worn = plan.bow_bench, plan.worn_after
    rows.writerows(_rows(bench, bench.inner, worn.inner))
    rows.writerows(_rows(bench, bench.outer, worn.outer))
    return out.getvalue()


def _rows(bow: BowWire, wire: WirePart, worn: WirePart) -> list[list[object]]:
    start, end, middle = _joint(bow, wire)
    worn_points = _at_same_share(worn, wire)
    rows: list[list[object]] = []
    for s, d, here, there in zip(wire.s_mm, wire.diameter_mm, wire.points_mm, worn_points, strict=True):
        in_joint = start - 1e-6 <= s <= end + 1e-6
        side = "right" if s < middle - 1e-6 else "left" if s > middle + 1e-6 else "middle"
        numbers = [f"{v:.6f}" for v in (abs(s - middle), d, *here, *there)]
        rows.append(["joint" if in_joint else wire.part, side, *numbers])
    return rows


def _joint(bow: BowWire, wire: WirePart) -> tuple[float, float, float]:
    j = bow.joint
    if wire.part == "inner":
        return j.inner_from_mm, j.inner_to_mm, j.inner_middle_mm
    return j.outer_from_mm, j.outer_to_mm, j.outer_middle_mm


def _at_same_share(worn: WirePart, wire: WirePart) -> Array:
    """Worn points at the bench stations; a wire hardly stretches, so equal shares of length are the same material."""
    if len(worn.points_mm) == len(wire.points_mm):
        return worn.points_mm
    return worn.at(np.asarray(wire.s_mm) / wire.length_mm * worn.length_mm)
