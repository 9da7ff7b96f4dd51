"""``bowtrue demo``: plan the invented demo case that ships with the program."""

from __future__ import annotations

import argparse
from pathlib import Path

from viewer.cli.plan import add_shared_arguments, plan_to_folder


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """Options of ``demo``."""
    sub.add_argument("--out", type=Path, default=Path("bowtrue-demo"), metavar="DIR", help="folder to write")
    add_shared_arguments(sub)


def run(args: argparse.Namespace) -> int:
    """Plan the demo case."""
    from demo_meshes import demo_folder

    return plan_to_folder(demo_folder() / "case.toml", args.out, args)
