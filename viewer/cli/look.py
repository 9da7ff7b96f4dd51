"""``bowtrue look MESH``: what a mesh is, and what repair would change."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

UNITS = ("mm", "cm", "dm", "m", "um", "in")


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """Options of ``look``."""
    sub.add_argument("mesh", type=Path, help="STL, PLY, OBJ, VTK, VTU or MSH file")
    sub.add_argument("--json", action="store_true", help="print JSON instead of text")


def run(args: argparse.Namespace) -> int:
    """Print what the mesh is."""
    from mesh_tools.look import as_dict, look_at, report
    from mesh_tools.read import read_surface, sha256_of

    seen = look_at(read_surface(args.mesh))
    if args.json:
        print(json.dumps({"file": str(args.mesh), "sha256": sha256_of(args.mesh), **as_dict(seen)}, indent=2))
    else:
        print(f"{args.mesh}\n{report(seen)}")
    return 0
