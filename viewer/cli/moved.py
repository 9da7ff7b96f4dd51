"""``bowtrue moved CASE EARLIER LATER``: what each molar really did between two scans of one patient."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from casework.moved.regions import Hold, HoldKind

UNITS = ("mm", "cm", "dm", "m", "um", "in")


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """Options of ``moved``."""
    sub.add_argument("case", type=Path, help="the case file the plan is made from")
    for name, what in (
        ("earlier", "as it was, laid in the case's frame"),
        ("later", "months after, in any frame"),
    ):
        sub.add_argument(
            name, type=Path, help=f"scan of the upper arch {what}: STL, PLY, OBJ, VTK, VTU or MSH"
        )
        sub.add_argument(f"--{name}-axes", default="LPS", metavar="CODE",
                         help=f"where +x, +y, +z of the {name} file point (default LPS)")  # fmt: skip
        sub.add_argument(f"--{name}-unit", choices=UNITS, help=f"unit of the {name} file (default mm)")
    sub.add_argument("--hold", choices=("rest", "palate", "teeth", "box"),
                     help="held still: everything but the molars (default), palate, places or a box")  # fmt: skip
    sub.add_argument("--seed", action="append", default=[], metavar="X,Y,Z",
                     help="a point on a tooth to hold still, LPS mm; repeat it; write --seed=-1,2,3")  # fmt: skip
    sub.add_argument(
        "--seed-radius", type=float, default=5.0, metavar="MM", help="how far round a seed (default 5)"
    )
    sub.add_argument("--box", metavar="X,Y,Z:X,Y,Z", help="two corners of a box to hold still, LPS mm")
    sub.add_argument("--landmarks", type=Path, metavar="FILE",
                     help="TOML file with moving_mm (later) and fixed_mm (earlier) points")  # fmt: skip
    sub.add_argument(
        "--months", type=float, metavar="N", help="months between the scans, to allow for growth"
    )
    sub.add_argument("--json", action="store_true", help="print the numbers as JSON instead of text")


def run(args: argparse.Namespace) -> int:
    """Plan, lay, follow, print."""
    from casework.case_file import read_case
    from casework.moved.moved import earlier_in_case, moved_molars
    from casework.moved.telling import moved_as_dict, moved_text
    from casework.planning import plan_case, with_choices
    from casework.registering import ScanFile, read_pairs, read_scan_file
    from viewer.cli.progress import Progress

    hold = _hold(args)
    months = _months(args.months)
    progress = Progress(quiet=args.json)
    pairs = None if args.landmarks is None else read_pairs(args.landmarks)
    later = read_scan_file(ScanFile(args.later, args.later_axes, args.later_unit))
    case = with_choices(read_case(args.case), rigid_bow=False, ideal_tubes=False, sampled=False)
    plan = plan_case(case, args.case.parent, progress=progress)
    progress("laying the scans")
    earlier = earlier_in_case(case, plan, ScanFile(args.earlier, args.earlier_axes, args.earlier_unit))
    found = moved_molars(case, plan, earlier, later, hold=hold, pairs=pairs, months=months)
    print(json.dumps(moved_as_dict(found), indent=2, allow_nan=False) if args.json else moved_text(found))
    return 0


def _months(months: float | None) -> float | None:
    from mesh_tools.errors import BadValueError

    if months is not None and not 0.0 < months <= 240.0:
        raise BadValueError(f"--months must be above 0 and at most 240; got {months:g}.")
    return months


def _hold(args: argparse.Namespace) -> Hold:
    import numpy as np

    from casework.moved.regions import Hold
    from mesh_tools.errors import BadValueError

    kind: HoldKind = args.hold or ("teeth" if args.seed else "box" if args.box else "rest")
    if bool(args.seed) != (kind == "teeth") or bool(args.box) != (kind == "box"):
        raise BadValueError(
            "--seed goes with --hold teeth and --box with --hold box, each only there; say one region."
        )
    if not 0.5 <= args.seed_radius <= 30.0:
        raise BadValueError(f"--seed-radius must be 0.5 to 30 mm; got {args.seed_radius:g}.")
    seeds = np.array([_point(text, "--seed") for text in args.seed]) if args.seed else None
    box = None
    if args.box:
        corners = args.box.split(":")
        if len(corners) != 2:
            raise BadValueError(f"--box must be two corners, X,Y,Z:X,Y,Z; got {args.box!r}.")
        box = np.array([_point(text, "--box") for text in corners])
    return Hold(kind, seeds, args.seed_radius, box)


def _point(text: str, option: str) -> list[float]:
    from mesh_tools.errors import BadValueError

    try:
        x, y, z = (float(v) for v in text.split(","))
    except ValueError:
        raise BadValueError(f"{option} must be three numbers such as 1,2,3; got {text!r}.") from None
    return [x, y, z]
