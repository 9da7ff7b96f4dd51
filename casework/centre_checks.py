"""Optional checks on a centre: how load moves it on a ligament that stiffens, and what rigid tooth and bone cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from casework.centre import CentreReport
from mechanics.ligament.bilinear import BilinearLigament, centre_against_force
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError

_MOST_N = 30.0


def with_forces(report: CentreReport, forces_n: Sequence[float], *, rotation: Array) -> CentreReport:
    """``report`` with the sagittal centre under each distal force, on the bilinear foundation.

    E 0.05 then 0.20 MPa with the break at 7 % strain: Prog Orthod 2017, PMC5326743. Raises BadValueError for a scan
    without roots and NoAnswerError when a centre does not settle.
    """
    if not all(0.0 < f <= _MOST_N for f in forces_n):
        raise BadValueError(f"forces must be above zero and at most {_MOST_N:g} N; got {list(forces_n)}.")
    root = report.needed_root()
    found = centre_against_force(
        root.points_mm,
        root.faces,
        BilinearLigament(),
        forces_n=list(forces_n),
        direction=rotation[1],
        x_axis=rotation[0],
    )
    rows = [{"force_n": c.force_n, "sagittal_centre_mm": c.centre_mm.tolist()} for c in found]
    return replace(report, extra={**report.extra, "centre_against_force": rows})


def with_deformable(report: CentreReport) -> CentreReport:
    """``report`` with what rigid tooth and bone cost: the elastic centre's shift when both give (finite elements)."""
    from mechanics.ligament_fe import deformable_check

    root, layer = report.needed_root(), report.ligament
    found = deformable_check(
        root.points_mm, root.faces, e_mpa=layer.e_mpa, nu=layer.nu, thickness_mm=layer.thickness_mm
    )
    tree: dict[str, Any] = {"centre_shift_mm": found.centre_shift_mm.tolist(), "residual": found.residual}
    return replace(report, extra={**report.extra, "deformable": tree})


def checks_text(report: CentreReport) -> list[str]:
    """Lines for people about the checks that were asked for."""
    lines = []
    rows = report.extra.get("centre_against_force") or []
    for row in rows:
        x, y, z = row["sagittal_centre_mm"]
        lines.append(
            f"Bilinear ligament, {row['force_n']:g} N distally: sagittal centre {x:.2f} {y:.2f} {z:.2f}"
        )
    tree = report.extra.get("deformable")
    if tree is not None:
        x, y, z = tree["centre_shift_mm"]
        lines.append(f"Tooth and bone that give move the elastic centre by {x:+.2f} {y:+.2f} {z:+.2f} mm.")
    return lines
