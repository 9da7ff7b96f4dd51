"""``bowtrue demo``: plan the invented demo case that ships with the program."""

from __future__ import annotations

import argparse
from pathlib import Path

from viewer.cli.plan import add_shared_arguments, plan_to_folder


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """Options of ``demo``."""
    sub.add_argument("--out", type=Path, default=Path("bowtrue-demo"), metavar="DIR", help="folder to write")
    sub.add_argument(
        "--scattered",
        action="store_true",
        help="every machine's scans in a frame of their own: write them with a case file into DIR/case and plan that",
    )
    add_shared_arguments(sub)


def run(args: argparse.Namespace) -> int:
    """Plan the demo case."""
    from demo_meshes import demo_folder

    case = _scattered(args.out / "case") if args.scattered else demo_folder() / "case.toml"
    return plan_to_folder(case, args.out, args)


def _scattered(folder: Path) -> Path:
    """The case file of the scattered demo, written into ``folder``, whole or not at all."""
    from casework.writing import filled_folder
    from demo_meshes.scattered_case import write_scattered_case

    with filled_folder(folder) as beside:
        name = write_scattered_case(beside).name
    return folder / name
