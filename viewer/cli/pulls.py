"""``bowtrue pulls CASE.toml``: neck strap, high pull and both together for one case, side by side."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from casework.pulls import GivenForces


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """Options of ``pulls``."""
    sub.add_argument("case", type=Path, help="the case file (case.toml); scans are looked for beside it")
    sub.add_argument("--out", type=Path, metavar="DIR",
                     help="write pulls.html and pulls.json into this folder")  # fmt: skip
    sub.add_argument("--json", action="store_true", help="print pulls.json on standard output instead")
    sub.add_argument("--neck", type=float, metavar="N", help="force per side of the neck strap alone")
    sub.add_argument("--cap", type=float, metavar="N", help="force per side of the cap alone")
    sub.add_argument("--both", type=float, nargs=2, metavar=("NECK", "CAP"),
                     help="forces per side when both are worn (default: the case's force, half each)")  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Compare, print, write."""
    import json

    from casework.case_file import read_case
    from casework.pull_words import comparison_text
    from casework.pulls import compared_pulls, comparison_as_dict
    from viewer.cli.progress import Progress

    progress = Progress(quiet=args.json)
    found = compared_pulls(read_case(args.case), args.case.parent, forces=_forces(args), progress=progress)
    if args.out is not None:
        from viewer.pulls_page import write_pulls_folder

        progress("drawing the page")
        write_pulls_folder(found, args.out)
    if args.json:
        print(json.dumps(comparison_as_dict(found), indent=2, allow_nan=False))
        return 0
    print(comparison_text(found))
    if args.out is not None:
        print(f"Written to {args.out}.")
    return 0


def _forces(args: argparse.Namespace) -> GivenForces:
    from casework.pulls import GivenForces

    return GivenForces(args.neck, args.cap, None if args.both is None else tuple(args.both))
