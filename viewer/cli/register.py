"""``bowtrue register MOVING FIXED``: one scan laid on another, by landmarks, by shape, or by both."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from casework.registering import LandmarkPairs, RegisteredFiles

UNITS = ("mm", "cm", "dm", "m", "um", "in")


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """Options of ``register``."""
    for name in ("moving", "fixed"):
        sub.add_argument(name, type=Path, help=f"the {name} scan: STL, PLY, OBJ, VTK, VTU or MSH")
    for name in ("moving", "fixed"):
        sub.add_argument(f"--{name}-axes", default="LPS", metavar="CODE",
                         help=f"where +x, +y, +z of the {name} file point (default LPS)")  # fmt: skip
        sub.add_argument(f"--{name}-unit", choices=UNITS, help=f"unit of the {name} file (default mm)")
    sub.add_argument("--landmarks", type=Path, metavar="FILE",
                     help="TOML file with moving_mm and fixed_mm, lists of the same points on both scans")  # fmt: skip
    sub.add_argument("--pair", action="append", default=[], metavar="X,Y,Z:X,Y,Z",
                     help="one landmark pair, moving:fixed, mm; repeat it; write --pair=-1,2,3:4,5,6 when the first "
                          "number is negative")  # fmt: skip
    sub.add_argument("--landmark-limit", type=float, default=3.0, metavar="MM",
                     help="largest residual of one pair (default 3)")  # fmt: skip
    sub.add_argument("--landmarks-only", action="store_true", help="do not refine by shape")
    sub.add_argument("--everywhere", action="store_true",
                     help="search from every start instead of from where the files lie")  # fmt: skip
    sub.add_argument("--same", type=float, metavar="MM",
                     help="distance at which two places agree (default 0.3, for 100 mm and larger 1)")  # fmt: skip
    sub.add_argument(
        "--out", type=Path, metavar="FILE.stl", help="write the moving scan where it was laid, LPS mm"
    )
    sub.add_argument("--json", type=Path, metavar="FILE", help="write every number ('-' for standard output)")
    sub.add_argument("--picture", type=Path, metavar="FILE.png", help="write a picture of the distance map")


def run(args: argparse.Namespace) -> int:
    """Register, print, write."""
    from casework.registering import RegisterChoices, ScanFile, register_files, registration_text

    laid = register_files(
        ScanFile(args.moving, args.moving_axes, args.moving_unit),
        ScanFile(args.fixed, args.fixed_axes, args.fixed_unit),
        pairs=_pairs(args),
        choices=RegisterChoices(args.everywhere, args.landmarks_only, args.same, args.landmark_limit),
    )
    _write(args, laid)
    if args.json != Path("-"):
        print(registration_text(laid))
    return 0


def _pairs(args: argparse.Namespace) -> LandmarkPairs | None:
    import numpy as np

    from casework.registering import LandmarkPairs, read_pairs
    from mesh_tools.errors import BadValueError

    if args.landmarks is not None and args.pair:
        raise BadValueError("give the landmark pairs once: --landmarks or --pair.")
    if args.landmarks is not None:
        return read_pairs(args.landmarks)
    if not args.pair:
        return None
    points = [[_point(p, text) for p in text.split(":")] for text in args.pair]
    if any(len(pair) != 2 for pair in points):
        raise BadValueError(f"--pair must be two points, moving:fixed; got {args.pair}.")
    both = np.array(points)
    return LandmarkPairs(both[:, 0], both[:, 1])


def _point(text: str, whole: str) -> list[float]:
    from mesh_tools.errors import BadValueError

    try:
        x, y, z = (float(v) for v in text.split(","))
    except ValueError:
        raise BadValueError(f"--pair must look like 1,2,3:4,5,6; got {whole!r}.") from None
    return [x, y, z]


def _write(args: argparse.Namespace, laid: RegisteredFiles) -> None:
    from casework.registering import registration_dict
    from mesh_tools.write import write_stl, write_text_atomically

    if args.out is not None:
        write_stl(args.out, laid.found.motion.moved(laid.moving))
    if args.json is not None:
        text = json.dumps(registration_dict(laid), indent=2, allow_nan=False) + "\n"
        if args.json == Path("-"):
            print(text, end="")
        else:
            write_text_atomically(args.json, text)
    if args.picture is not None:
        from viewer.distance_map_png import write_distance_map
        from viewer.drawing_probe import drawing_probe

        write_distance_map(laid, args.picture, window=drawing_probe().window)
