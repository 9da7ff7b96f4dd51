"""``bowtrue visit CASE.toml``: one line for a visit, the course so far, and what to look at next."""

from __future__ import annotations

import argparse
import json
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from mechanics.sides import SIDES, Side

if TYPE_CHECKING:
    from casework.case_file import CaseModel
    from casework.visits.look_next import Meant
    from casework.visits.record import SideVisit, Visit

_YES_NO = {"yes": True, "no": False}


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """Options of ``visit``."""
    sub.add_argument(
        "case", type=Path, help="the case file; its visits are kept beside it in CASE.visits.jsonl"
    )
    sub.add_argument("--date", metavar="2026-11-25", help="day of the visit to add (today: the word today)")
    for side in SIDES:
        sub.add_argument(f"--{side}-relation", type=float, metavar="MM",
                         help=f"{side} molar relation: mm of class II, 0 class I, negative class III")  # fmt: skip
        sub.add_argument(
            f"--{side}-force", metavar="N", help=f"{side} force as found, all straps: 4, 4N or 400gf"
        )
        sub.add_argument(f"--{side}-offset", type=float, metavar="MM",
                         help=f"{side} line from its target as bowtrue check found it, positive apical")  # fmt: skip
        sub.add_argument(
            f"--{side}-bend", type=float, metavar="DEG", help=f"bend added to the {side} arm, up positive"
        )
    sub.add_argument(
        "--prescribed", type=float, metavar="HOURS", help="hours a day that are prescribed from now on"
    )
    sub.add_argument("--told", type=float, metavar="HOURS", help="hours a day as told by patient or parent")
    sub.add_argument("--recorded", type=float, metavar="HOURS", help="hours a day as a sensor recorded them")
    sub.add_argument("--wear", type=Path, metavar="FILE.csv",
                     help="the sensor's table of dates and hours: days since the last visit are averaged")  # fmt: skip
    sub.add_argument("--release", choices=tuple(_YES_NO), help="self-releasing module checked and in order")
    sub.add_argument(
        "--retention", choices=tuple(_YES_NO), help="what keeps the bow in the tubes checked, in order"
    )
    sub.add_argument("--bends", default="", metavar="TEXT", help="bends made, in words")
    sub.add_argument("--notes", default="", metavar="TEXT", help="anything else; no patient name")
    sub.add_argument(
        "--same-day", action="store_true", help="add a second, different visit of the last one's day"
    )
    sub.add_argument("--chart", type=Path, metavar="FILE", help="write the progress chart: .png or .html")
    sub.add_argument("--json", action="store_true", help="print visits and course as JSON instead of text")


def run(args: argparse.Namespace) -> int:
    """Add the visit if there is one; print, draw."""
    from casework.case_file import read_case
    from casework.visits.journal import append_visit, journal_path, read_journal
    from casework.visits.look_next import look_next
    from casework.visits.progress import progress_of
    from casework.visits.telling import visits_as_dict, visits_text

    case = read_case(args.case)
    path = journal_path(args.case)
    told: list[str] = []
    journal = read_journal(path)
    visit = _visit(args, journal.visits)
    if visit is not None:
        added = append_visit(path, visit, same_day=args.same_day)
        journal = added.journal
        told.append(
            f"The visit of {visit.day} {'was there already' if added.already else 'is written'}: {path}."
        )
        if added.set_aside is not None:
            told.append(
                f"An unfinished last line was set aside in {added.set_aside}: look whether a visit is missing."
            )
        if visit.day > date.today():
            told.append(f"The visit of {visit.day} lies in the future: check the date.")
    elif journal.rest:
        told.append(
            f"{path} ends in an unfinished line, {len(journal.rest)} bytes; the next visit sets it aside."
        )
    progress = progress_of(journal.visits, case.pull.kind)
    look = look_next(journal.visits, _meant(case))
    if args.json:
        print(
            json.dumps(
                {**visits_as_dict(case.case_id, progress, look), "told": told}, indent=2, allow_nan=False
            )
        )
    else:
        print("\n".join([*told, visits_text(case.case_id, progress, look)]))
    if args.chart is not None:
        from viewer.progress_chart import write_progress

        write_progress(progress, args.chart, case_id=case.case_id, look=look)
    return 0


def _visit(args: argparse.Namespace, before: tuple[Visit, ...]) -> Visit | None:
    """The visit of the options; None when there is none. Raises BadValueError naming the option."""
    from pydantic import ValidationError

    from casework.visits.record import Visit
    from mesh_tools.errors import BadValueError

    if args.date is None:
        if _says_something(args):
            raise BadValueError("--date is missing: give the day of the visit, such as --date 2026-11-25.")
        return None
    day = _day(args.date)
    hours, days = _recorded(args, before, day)
    try:
        return Visit(
            day=day, right=_side(args, "right"), left=_side(args, "left"), prescribed_hours=args.prescribed,
            told_hours=args.told, recorded_hours=hours, recorded_days=days,
            release_checked=_YES_NO.get(args.release), retention_checked=_YES_NO.get(args.retention),
            bends=args.bends.strip(), notes=args.notes.strip(),
        )  # fmt: skip
    except ValidationError as err:
        raise BadValueError("\n".join(_problem(e, "") for e in err.errors(include_url=False))) from err


def _says_something(args: argparse.Namespace) -> bool:
    names = [f"{side}_{what}" for side in SIDES for what in ("relation", "force", "offset", "bend")]
    names += ["prescribed", "told", "recorded", "wear", "release", "retention"]
    return any(getattr(args, name) is not None for name in names) or bool(args.bends or args.notes)


def _day(text: str) -> date:
    from mesh_tools.errors import BadValueError

    if text == "today":
        return date.today()
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise BadValueError(f"--date must look like 2026-11-25; got {text!r}.") from None


def _side(args: argparse.Namespace, side: Side) -> SideVisit:
    from pydantic import ValidationError

    from casework.visits.record import SideVisit
    from mesh_tools.errors import BadValueError
    from viewer.cli.force import newtons

    force = getattr(args, f"{side}_force")
    try:
        return SideVisit(
            relation_mm=getattr(args, f"{side}_relation"),
            force_n=None if force is None else newtons(force, option=f"--{side}-force"),
            offset_mm=getattr(args, f"{side}_offset"),
            bend_deg=getattr(args, f"{side}_bend"),
        )
    except ValidationError as err:
        raise BadValueError(
            "\n".join(_problem(e, f"{side}-") for e in err.errors(include_url=False))
        ) from err


def _problem(error: object, before: str) -> str:
    """One line of a pydantic error, naming the option."""
    assert isinstance(error, dict)
    key = str(error["loc"][-1])
    for ending in ("_mm", "_n", "_deg", "_hours", "_checked"):
        key = key.removesuffix(ending)
    rule = str(error["msg"]).replace("Input should be", "must be")
    return f"--{before}{key}: {rule}; got {error['input']!r:.40}."


def _recorded(
    args: argparse.Namespace, before: tuple[Visit, ...], day: date
) -> tuple[float | None, int | None]:
    """Hours a day and on how many days they were recorded."""
    from casework.visits.wear import read_wear
    from mesh_tools.errors import BadValueError

    if args.wear is None:
        return args.recorded, None
    if args.recorded is not None:
        raise BadValueError("give the recorded hours once: --recorded or --wear.")
    last = max((v.day for v in before if v.day < day), default=None)
    worn = read_wear(args.wear).between(last, day)
    if not worn.hours:
        since = "" if last is None else f" after {last}"
        raise BadValueError(f"{args.wear}: holds no day up to {day}{since}; check the date and the table.")
    return round(worn.mean, 2), len(worn.hours)


def _meant(case: CaseModel) -> Meant:
    from casework.visits.look_next import Meant

    pulls = {s: case.pull.side(s) for s in SIDES}
    force = {s: p.newtons + (p.high.newtons if p.high else 0.0) for s, p in pulls.items()}
    return Meant(force, dict.fromkeys(SIDES, case.choices.wanted_offset_mm))
