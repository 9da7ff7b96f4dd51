"""``bowtrue prescribe``: a reasoned starting point for pull, force and hours, each with its source."""

from __future__ import annotations

import argparse
import json


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """Options of ``prescribe``."""
    sub.add_argument("--class-ii", type=float, required=True, metavar="MM",
                     help="molar class II of the worse side, mm")  # fmt: skip
    sub.add_argument("--age", type=float, required=True, metavar="YEARS", help="age in years")
    sub.add_argument("--roots", choices=("complete", "incomplete", "unknown"), default="unknown",
                     help="roots of the upper first molars (default unknown)")  # fmt: skip
    sub.add_argument("--vertical", choices=("none", "open", "deep"), default="none",
                     help="open: open bite, long lower face; deep: deep bite, short one (default none)")  # fmt: skip
    sub.add_argument("--pull", choices=("cervical", "high_pull", "combination"),
                     help="the pull you have in mind: it is kept and commented on")  # fmt: skip
    sub.add_argument("--json", action="store_true", help="print every part as JSON")


def run(args: argparse.Namespace) -> int:
    """Print the suggestion."""
    from casework.prescription import suggested, suggestion_text

    found = suggested(
        class_ii_mm=args.class_ii,
        age_years=args.age,
        roots=args.roots,
        vertical=args.vertical,
        wanted_pull=args.pull,
    )
    print(json.dumps(found.as_dict(), indent=2, allow_nan=False) if args.json else suggestion_text(found))
    return 0
