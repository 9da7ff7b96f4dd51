"""``bowtrue sheets CASE.toml --out DIR``: papers 1:1 for chair and bench, shapes to print, the scene."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from casework.plan import Plan
    from mesh_tools.surface import Surface


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """Options of ``sheets``."""
    sub.add_argument("case", type=Path, help="the case file (case.toml); scans are looked for beside it")
    sub.add_argument(
        "--out", type=Path, required=True, metavar="DIR", help="folder to write (made if missing)"
    )
    sub.add_argument("--paper", default="a4", metavar="NAME", help="a4 (default) or letter")
    sub.add_argument(
        "--hours", type=float, metavar="H", help="hours a day for the wearing sheet (else a blank line)"
    )


def run(args: argparse.Namespace) -> int:
    """Plan the case and write its papers."""
    from casework.case_file import read_case
    from casework.cautions import SHORT_CAUTION
    from casework.planning import plan_case
    from casework.writing import filled_folder
    from viewer.cli.progress import Progress
    from viewer.scene_files import write_scene_files
    from viewer.scene_of_plan import scene_of_plan
    from viewer.sheets.build import check_hours, write_sheets
    from viewer.sheets.model import paper_named

    progress = Progress()
    paper = paper_named(args.paper)
    check_hours(args.hours)
    plan = plan_case(read_case(args.case), args.case.parent, progress=progress)
    with filled_folder(args.out) as folder:
        progress("writing the sheets")
        names = write_sheets(plan, folder, paper, hours=args.hours)
        progress("writing shapes to print and the scene")
        made, notes = write_shapes(plan, folder)
        names += [*made, *write_scene_files(scene_of_plan(plan), folder)]
    print("\n".join([f"{len(names)} files, first sheets.pdf: print at 100 % and measure its bars.", *notes,
                     f"Written to {args.out}.", SHORT_CAUTION]))  # fmt: skip
    return 0


def write_shapes(plan: Plan, folder: Path) -> tuple[list[str], list[str]]:
    """``bow.stl`` and ``jig.stl``; returns the names written, and a line for each that cannot be made."""
    from mesh_tools.errors import NoAnswerError
    from mesh_tools.write import write_stl
    from viewer.bow_solid import bow_solid, jig_solid

    makers: dict[str, Callable[[Plan], Surface]] = {"bow.stl": bow_solid, "jig.stl": jig_solid}
    names, notes = list[str](), list[str]()
    for name, make in makers.items():
        try:
            write_stl(folder / name, make(plan))
            names.append(name)
        except NoAnswerError as err:
            notes.append(f"{name} is left out: {err}")
    return names, notes
