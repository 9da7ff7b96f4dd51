"""``bowtrue plan CASE.toml --out DIR``: from scans to the bend, written as a folder."""

from __future__ import annotations

import argparse
from pathlib import Path


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """Options of ``plan``."""
    sub.add_argument("case", type=Path, help="the case file (case.toml); scans are looked for beside it")
    sub.add_argument(
        "--out", type=Path, required=True, metavar="DIR", help="folder to write (made if missing)"
    )
    add_shared_arguments(sub)


def add_shared_arguments(sub: argparse.ArgumentParser) -> None:
    """Options that ``plan`` and ``demo`` share."""
    sub.add_argument("--json", action="store_true", help="print plan.json on standard output as well")
    sub.add_argument(
        "--no-pictures",
        action="store_true",
        help="write plan.json and bow.csv only: no pictures, no sampled bands",
    )
    sub.add_argument(
        "--rigid-bow", action="store_true", help="answer for a bow that does not flex (for comparison)"
    )
    sub.add_argument(
        "--ideal-tubes",
        action="store_true",
        help="tube ends hold place and direction of the wire: no play, friction or tooth compliance (for comparison)",
    )


def run(args: argparse.Namespace) -> int:
    """Plan a case file and write its folder."""
    return plan_to_folder(args.case, args.out, args)


def plan_to_folder(case_path: Path, out: Path, args: argparse.Namespace) -> int:
    """Plan the case at ``case_path`` into ``out`` and print the summary."""
    from casework.case_copy import CaseUsed
    from casework.case_file import read_case
    from casework.planning import plan_case, with_choices
    from casework.summary import plan_text
    from casework.writing import check_target
    from viewer.cli.progress import Progress
    from viewer.plan_folder import write_plan_folder

    progress = Progress(quiet=args.json)
    check_target(out)
    progress("reading the case")
    case = with_choices(
        read_case(case_path),
        rigid_bow=args.rigid_bow,
        ideal_tubes=args.ideal_tubes,
        sampled=not args.no_pictures,
    )
    plan = plan_case(case, case_path.parent, progress=progress)
    used = CaseUsed(case, case_path.parent, case_path)
    notes = write_plan_folder(plan, out, pictures=not args.no_pictures, progress=progress, used=used)
    if args.json:
        print((out / "plan.json").read_text("utf-8"))
    else:
        print(plan_text(plan))
        print("\n".join([*notes, f"Written to {out}."]))
    return 0
