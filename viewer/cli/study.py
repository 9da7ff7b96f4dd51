"""``bowtrue study TABLE.csv --out DIR``: every method over many teeth, one table of results."""

from __future__ import annotations

import argparse
import os
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from casework.study.rows import StudyTable
    from casework.study.settings import StudySettings
    from casework.study.study import Answers

SOME_FAILED = 1


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """Options of ``study``."""
    sub.add_argument(
        "table", type=Path, metavar="TABLE", help="CSV with columns mesh, tooth, axes; or a folder of meshes"
    )
    sub.add_argument(
        "--out", type=Path, required=True, metavar="DIR", help="folder to write; a killed run goes on"
    )
    sub.add_argument(
        "--pattern", default="{id}_{tooth}.stl", help="names in a folder (default {id}_{tooth}.stl)"
    )
    sub.add_argument("--axes", default="LPS", metavar="CODE", help="axes of a folder's meshes (default LPS)")
    sub.add_argument("--unit", choices=("mm", "cm", "dm", "m", "um", "in"), help="unit of a folder's meshes")
    sub.add_argument(
        "--method", action="append", dest="methods", metavar="NAME", help="only this method (repeatable)"
    )
    sub.add_argument(
        "--samples", type=int, default=0, metavar="N", help="draws for each tooth's band (default none)"
    )
    sub.add_argument("--seed", type=int, default=0, help="seed of the samples (default 0)")
    sub.add_argument(
        "--crest-below-cej", type=float, default=0.75, metavar="MM", help="crest where the table has none"
    )
    sub.add_argument(
        "--workers", type=int, default=os.cpu_count() or 1, help="processes (default: all cores)"
    )
    sub.add_argument("--memory-mb", type=int, default=4096, help="memory of one worker (default 4096)")
    sub.add_argument(
        "--seconds", type=float, default=600.0, help="longest time without an answer (default 600)"
    )
    sub.add_argument(
        "--scheduler", metavar="ADDRESS", help="a Dask scheduler, such as tcp://host:8786, instead"
    )
    sub.add_argument(
        "--no-pictures", action="store_true", help="tables only: no agreement, pictures and page"
    )


def run(args: argparse.Namespace) -> int:
    """Run or continue the study; exit code 1 says that some teeth failed."""
    from casework.cautions import SHORT_CAUTION
    from casework.study.study import run_study
    from viewer.cli.study_bar import StudyBar

    table, settings = _table(args), _settings(args)
    with StudyBar() as bar:
        outcome = run_study(table, settings, args.out, answers=_answers(args), progress=bar)
    notes = list(outcome.notes)
    if not args.no_pictures:
        from viewer.study_folder import write_study_pages

        notes += write_study_pages(args.out)
    count = outcome.count
    print(f"{count.teeth} teeth: {count.answered - count.failed} estimated ({count.kept} from an earlier run), "
          f"{count.failed} failed.")  # fmt: skip
    print("\n".join([*notes, f"Written to {args.out}.", SHORT_CAUTION]))
    return SOME_FAILED if count.failed else 0


def _table(args: argparse.Namespace) -> StudyTable:
    from casework.study.rows import read_table, rows_of_folder

    if args.table.is_dir():
        return rows_of_folder(args.table, args.pattern, axes=args.axes, unit=args.unit)
    return read_table(args.table)


def _settings(args: argparse.Namespace) -> StudySettings:
    from casework.question import FAST_METHODS
    from casework.study.settings import StudySettings

    return StudySettings(
        tuple(dict.fromkeys(args.methods or FAST_METHODS)), args.samples, args.seed, args.crest_below_cej
    )


def _answers(args: argparse.Namespace) -> Answers:
    from mesh_tools.errors import BadValueError

    if args.workers < 1 or args.memory_mb < 256 or args.seconds <= 0:
        raise BadValueError("study needs a worker or more, 256 MB for each, and time; check the options.")
    if args.scheduler:
        from casework.study.cluster import cluster_answers

        return partial(cluster_answers, scheduler=args.scheduler)
    from casework.study.pool import Bounds, pool_answers

    return partial(pool_answers, workers=args.workers, bounds=Bounds(args.memory_mb, args.seconds))
