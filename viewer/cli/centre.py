"""``bowtrue centre MESH``: the centre of resistance of one tooth by every method."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from casework.centre import CentreReport
    from casework.question import TubeEnds

METHODS = ("rule_of_thumb", "furcation", "root_fraction", "root_centroid",
           "elastic_foundation", "thin_layer", "finite_elements")  # fmt: skip
_PICTURED_SAMPLES = 512


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """Options of ``centre``."""
    sub.add_argument("mesh", type=Path, help="surface of one tooth: STL, PLY, OBJ, VTK, VTU or MSH")
    sub.add_argument(
        "--tooth", type=int, required=True, metavar="FDI", help="tooth number, ISO 3950 (16, 26, ...)"
    )
    sub.add_argument(
        "--axes", required=True, metavar="CODE", help="where +x, +y, +z of the file point: LPS, RAS, LSA, ..."
    )
    sub.add_argument(
        "--unit", choices=("mm", "cm", "dm", "m", "um", "in"), help="unit of the file (mm is checked)"
    )
    sub.add_argument(
        "--crest-below-cej", type=float, default=0.75, metavar="MM",
        help="alveolar crest apical of the cervical line (default 0.75; 0-1.5 at 9-16 years)",
    )  # fmt: skip
    sub.add_argument(
        "--bone", type=Path, metavar="FILE",
        help="surface of the bone around the tooth, same axes and unit: gives the crest and the ligament's thickness",
    )  # fmt: skip
    sub.add_argument(
        "--tube", type=float, nargs=6, metavar="MM",
        help="the headgear tube's axis: mesial end x y z, distal end x y z, LPS mm, for the rule of thumb",
    )  # fmt: skip
    sub.add_argument(
        "--method", action="append", choices=METHODS, metavar="NAME", dest="methods",
        help="only this method (may be repeated): " + ", ".join(METHODS) + "; default all but finite_elements",
    )  # fmt: skip
    sub.add_argument(
        "--e-mpa", type=float, default=0.68, metavar="MPA", help="ligament Young's modulus (default 0.68)"
    )
    sub.add_argument("--nu", type=float, default=0.45, help="ligament Poisson's ratio (default 0.45)")
    sub.add_argument(
        "--thickness", type=float, default=0.2, metavar="MM", help="ligament thickness (default 0.2)"
    )
    sub.add_argument(
        "--samples", type=int, default=0, metavar="N", help="sample the inputs N times for a band"
    )
    sub.add_argument("--seed", type=int, default=0, help="seed of the samples (default 0)")
    sub.add_argument(
        "--forces", type=float, nargs="+", metavar="N",
        help="show how the centre moves with a distal force (N each) when the ligament stiffens",
    )  # fmt: skip
    sub.add_argument(
        "--deformable", action="store_true", help="check what rigid tooth and bone cost (finite elements)"
    )
    sub.add_argument("--json", type=Path, metavar="FILE", help="write every number ('-' for standard output)")
    sub.add_argument("--csv", type=Path, metavar="FILE", help="write one row a method")
    sub.add_argument(
        "--export-root", type=Path, metavar="FILE", help="write the supported root facets (.ply, double)"
    )
    sub.add_argument(
        "--out", type=Path, metavar="DIR",
        help="write numbers, root, pictures and a page into this folder (512 samples unless --samples says more)",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Estimate, print, write."""

    from casework.centre_table import centre_csv, centre_text
    from casework.estimating import estimate_from_file
    from mesh_tools.write import write_ply, write_text_atomically
    from viewer.cli.progress import Progress

    _check_targets(args)
    progress = Progress(quiet=args.json == Path("-"))
    report = estimate_from_file(
        args.mesh, tooth=args.tooth, axes=args.axes, unit=args.unit, crest_below_cej_mm=args.crest_below_cej,
        ligament=(args.e_mpa, args.nu, args.thickness), methods=args.methods, samples=_samples(args), seed=args.seed,
        bone=args.bone, tube=_tube(args),
        progress=progress,
    )  # fmt: skip
    report = _checked(report, args)
    if args.export_root is not None:
        write_ply(args.export_root, report.needed_root())
    if args.csv is not None:
        write_text_atomically(args.csv, centre_csv(report))
    notes = _write_folder(args, report, progress)
    to_stdout = _write_json(args, report)
    if not to_stdout:
        print("\n".join([centre_text(report), *notes]))
    return 0


def _tube(args: argparse.Namespace) -> TubeEnds | None:
    if args.tube is None:
        return None
    import numpy as np

    from casework.question import TubeEnds

    return TubeEnds(np.array(args.tube[:3]), np.array(args.tube[3:]))


def _check_targets(args: argparse.Namespace) -> None:
    """Raises BadFileError before any work when a file could not be written in its folder: all or nothing."""
    from mesh_tools.errors import BadFileError

    for target in (args.json, args.csv, args.export_root):
        if target is None or target == Path("-"):
            continue
        if not target.absolute().parent.is_dir() or target.is_dir():
            raise BadFileError(f"{target}: cannot be written there; give a file in a folder that exists.")


def _samples(args: argparse.Namespace) -> int:
    """As asked; pictures of a band need some."""
    return int(args.samples) or (_PICTURED_SAMPLES if args.out is not None else 0)


def _write_folder(
    args: argparse.Namespace, report: CentreReport, progress: Callable[[str], None]
) -> list[str]:
    if args.out is None:
        return []
    from viewer.centre_folder import write_centre_folder

    return [*write_centre_folder(report, args.out, progress=progress), f"Written to {args.out}."]


def _checked(report: CentreReport, args: argparse.Namespace) -> CentreReport:
    """``report`` with the optional checks that were asked for."""
    import numpy as np

    from casework.centre_checks import with_deformable, with_forces

    if args.forces:
        report = with_forces(report, args.forces, rotation=np.eye(3))
    return with_deformable(report) if args.deformable else report


def _write_json(args: argparse.Namespace, report: CentreReport) -> bool:
    from mesh_tools.write import write_text_atomically

    if args.json is None:
        return False
    text = json.dumps(report.as_dict(), indent=2, allow_nan=False) + "\n"
    if args.json == Path("-"):
        print(text, end="")
        return True
    write_text_atomically(args.json, text)
    return False
