"""``bowtrue bow SCAN``: centrelines, diameters, joint, hooks and bends of a face-bow from a scan of it."""

from __future__ import annotations

import argparse
import json
from pathlib import Path


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """Options of ``bow``."""
    sub.add_argument("scan", type=Path, help="surface of a face-bow: STL, PLY, OBJ, VTK, VTU or MSH")
    sub.add_argument(
        "--axes", default="LPS", metavar="CODE", help="where +x, +y, +z of the file point (default LPS)"
    )
    sub.add_argument(
        "--unit", choices=("mm", "cm", "dm", "m", "um", "in"), help="unit of the file (mm is checked)"
    )
    sub.add_argument("--json", type=Path, metavar="FILE", help="write every number ('-' for standard output)")
    sub.add_argument("--csv", type=Path, metavar="FILE", help="write both centrelines")


def run(args: argparse.Namespace) -> int:
    """Find the bow in the scan, print, write."""
    from casework.bow_scan import bow_from_file, scan_as_dict, scan_csv, scan_text
    from mesh_tools.write import write_text_atomically

    found = bow_from_file(args.scan, axes=args.axes, unit=args.unit)
    if args.csv is not None:
        write_text_atomically(args.csv, scan_csv(found))
    text = json.dumps(scan_as_dict(found), indent=2, allow_nan=False) + "\n"
    if args.json == Path("-"):
        print(text, end="")
        return 0
    if args.json is not None:
        write_text_atomically(args.json, text)
    print(scan_text(found))
    return 0
