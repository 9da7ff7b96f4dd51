"""``bowtrue find SCAN --kind arch``: what a scan shows by itself, as proposals with their confidence."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

UNITS = ("mm", "cm", "dm", "m", "um", "in")


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """Options of ``find``."""
    sub.add_argument(
        "scan", type=Path, help="an upper arch, a one-piece jaw, or head and neck: STL, PLY, OBJ, VTK, ..."
    )
    sub.add_argument("--kind", required=True, choices=("arch", "jaw", "head"), help="what the scan shows")
    sub.add_argument("--axes", default="LPS", metavar="CODE",
                     help="where +x, +y, +z of the file point (default LPS); an arch may lie in any frame, a head "
                          "must be right within about 30 degrees")  # fmt: skip
    sub.add_argument("--unit", choices=UNITS, help="unit of the file (default mm, checked for plausibility)")
    sub.add_argument(
        "--json", type=Path, metavar="FILE", help="write every proposal ('-' for standard output)"
    )
    sub.add_argument(
        "--out", type=Path, metavar="FILE.png", help="write a picture of the scan with the proposals"
    )


def run(args: argparse.Namespace) -> int:
    """Find, print, write."""
    from casework.finding import found_dict, found_on_file, found_text
    from mesh_tools.write import write_text_atomically

    found = found_on_file(args.scan, kind=args.kind, axes=args.axes, unit=args.unit)
    if args.out is not None:
        from viewer.drawing_probe import drawing_probe
        from viewer.find_png import write_found_picture

        write_found_picture(found, args.out, window=drawing_probe().window)
    if args.json == Path("-"):
        print(json.dumps(found_dict(found), indent=2, allow_nan=False))
        return 0
    if args.json is not None:
        write_text_atomically(args.json, json.dumps(found_dict(found), indent=2, allow_nan=False) + "\n")
    print(found_text(found))
    return 0
