"""A face-bow from a scan of it: found, told as text, JSON and CSV, and laid into a case's tubes."""

from __future__ import annotations

import csv
import io
from dataclasses import asdict
from pathlib import Path
from typing import Any

from mechanics.bow_from_scan.scanned import ScannedBow, scanned_bow
from mechanics.sides import SIDES
from mesh_tools.axes import to_lps
from mesh_tools.read import read_surface
from mesh_tools.units import in_mm


def bow_from_file(path: Path, *, axes: str = "LPS", unit: str | None = None) -> ScannedBow:
    """The bow in the scan at ``path``, LPS mm; raises BowtrueError in one line."""
    return scanned_bow(in_mm(to_lps(read_surface(path), axes), unit, "bow"))


def scan_as_dict(found: ScannedBow) -> dict[str, Any]:
    """Plain numbers for JSON; LPS mm."""
    middle = found.joint.outer_middle_mm
    return {
        "inner_diameter_mm": found.inner_diameter_mm,
        "outer_diameter_mm": found.outer_diameter_mm,
        "joint_length_mm": found.joint.outer_to_mm - found.joint.outer_from_mm,
        "arm_length_mm": {"right": middle, "left": found.outer.length_mm - middle},
        "hook_mm": {side: found.hook_mm[side].tolist() for side in SIDES},
        "bends": [asdict(bend) for bend in found.bends],
        "inner_mm": found.inner.points_mm.tolist(),
        "outer_mm": found.outer.points_mm.tolist(),
    }


def scan_text(found: ScannedBow) -> str:
    """What ``bowtrue bow`` prints."""
    tree = scan_as_dict(found)
    arms = tree["arm_length_mm"]
    lines = [
        f"Inner bow {found.inner_diameter_mm:.2f} mm thick, {found.inner.length_mm:.0f} mm long; outer "
        f"{found.outer_diameter_mm:.2f} mm thick; joint {tree['joint_length_mm']:.0f} mm.",
        f"Outer arms from the joint's middle to the hook: right {arms['right']:.1f} mm, left {arms['left']:.1f} mm.",
        *(
            f"{b.side} arm: bent {b.angle_deg:+.1f} deg (up is positive) at {b.place_mm:.0f} mm."
            for b in found.bends
        ),
    ]
    return "\n".join(lines if found.bends else [*lines, "No bends found on the outer arms."])


def scan_csv(found: ScannedBow) -> str:
    """Both centrelines: part, arc length from the right end, diameter, place."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(("part", "s_mm", "diameter_mm", "x_mm", "y_mm", "z_mm"))
    for wire in (found.inner, found.outer):
        for s, d, point in zip(wire.s_mm, wire.diameter_mm, wire.points_mm, strict=True):
            rows.writerow((wire.part, *(f"{v:.6f}" for v in (s, d, *point))))
    return out.getvalue()
