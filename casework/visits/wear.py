"""Hours of wear as a sensor recorded them: a text table of dates and hours."""

from __future__ import annotations

import os
import re
import statistics
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from mesh_tools.errors import BadFileError, MissingFileError

_MOST_LINES = 5
_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[ T].*)?$")
_DAY_FIRST = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})(?:[ T].*)?$")
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::\d{2})?$")


class WearFileError(BadFileError):
    """A table of worn hours cannot be read; one line for each row that is wrong."""


@dataclass(frozen=True)
class WornHours:
    """Hours worn on each recorded day, in order of days; several rows of one day are added."""

    hours: dict[date, float]

    def between(self, after: date | None, until: date) -> WornHours:
        """Days after ``after`` up to and with ``until``."""
        return WornHours({d: h for d, h in self.hours.items() if d <= until and (after is None or d > after)})

    @property
    def mean(self) -> float:
        """Mean of the recorded days."""
        return statistics.fmean(self.hours.values())

    @property
    def gaps(self) -> int:
        """Days between the first and the last that were not recorded at all."""
        return (max(self.hours) - min(self.hours)).days + 1 - len(self.hours) if self.hours else 0


def read_wear(path: str | os.PathLike[str]) -> WornHours:
    """Hours by day from a table with a date and hours in each row, fields parted by ; , or tab.

    A first row of names is allowed; decimal commas where the fields are not parted by commas; hours also as 5:30.
    Raises WearFileError, one line a row for the first few, and MissingFileError.
    """
    where = Path(path)
    rows = [(k, line.strip()) for k, line in enumerate(_text(where).splitlines(), start=1) if line.strip()]
    if not rows:
        raise WearFileError(f"{where}: holds no rows; give a table of dates and hours.")
    part = next((mark for mark in ";\t," if mark in rows[0][1]), ";")
    fields = [(k, [f.strip().strip('"').strip() for f in line.split(part)]) for k, line in rows]
    columns, skip = _columns(fields[0][1], where)
    hours: dict[date, float] = {}
    wrong = list(_filled(hours, fields[skip:], columns, part))
    if not wrong and not hours:
        raise WearFileError(f"{where}: holds names but no rows of hours.")
    if wrong:
        more = [f"and {len(wrong) - _MOST_LINES} rows more"] if len(wrong) > _MOST_LINES else []
        raise WearFileError("\n".join(f"{where}: {text}." for text in [*wrong[:_MOST_LINES], *more]))
    return WornHours(dict(sorted(hours.items())))


def _text(where: Path) -> str:
    try:
        data = where.read_bytes()
    except FileNotFoundError as err:
        raise MissingFileError(f"{where}: no such file; give the sensor's table.") from err
    except IsADirectoryError as err:
        raise WearFileError(f"{where}: is a folder; give the sensor's table.") from err
    code = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        return data.decode(code)
    except UnicodeDecodeError as err:
        raise WearFileError(
            f"{where}: is not UTF-8 text (byte {err.start}); save the table as CSV in UTF-8."
        ) from err


def _columns(first: list[str], where: Path) -> tuple[tuple[int, int], int]:
    """Columns of date and hours, and how many rows of names there are."""
    if first and (_ISO.match(first[0]) or _DAY_FIRST.match(first[0]) or first[0][:1].isdigit()):
        return (0, 1), 0
    names = [f.lower() for f in first]
    day = [k for k, name in enumerate(names) if "date" in name or "day" in name]
    hour = [k for k, name in enumerate(names) if "hour" in name or name in ("h", "wear", "worn")]
    if len(names) == 2 and not (day and hour):
        return (0, 1), 1
    if len(day) != 1 or len(hour) != 1:
        raise WearFileError(
            f'{where}: row 1 must name one column "date" and one "hours"; got {", ".join(first)[:60]}.'
        )
    return (day[0], hour[0]), 1


def _filled(
    hours: dict[date, float], fields: list[tuple[int, list[str]]], columns: tuple[int, int], part: str
) -> Iterator[str]:
    """Fill ``hours``; what is wrong comes back, one sentence a row."""
    for number, row in fields:
        if max(columns) >= len(row):
            yield f"row {number}: needs a date and hours; got {part.join(row)[:40]!r}"
        elif part == "," and columns == (0, 1) and len(row) == 3:
            yield f"row {number}: has a decimal comma between commas; part the fields by ; instead"
        else:
            day, worn = _day(row[columns[0]]), _hours(row[columns[1]])
            if day is None:
                yield f"row {number}: the date must look like 2026-11-25 or 25.11.2026; got {row[columns[0]]!r:.30}"
            elif worn is None or not 0.0 <= worn <= 24.0:
                yield f"row {number}: hours must lie between 0 and 24; got {row[columns[1]]!r:.30}"
            elif hours.get(day, 0.0) + worn > 24.0:
                yield f"row {number}: the hours of {day} add up to {hours[day] + worn:g}, more than 24"
            else:
                hours[day] = hours.get(day, 0.0) + worn


def _day(text: str) -> date | None:
    iso, day_first = _ISO.match(text), _DAY_FIRST.match(text)
    try:
        if iso:
            return date(int(iso[1]), int(iso[2]), int(iso[3]))
        return date(int(day_first[3]), int(day_first[2]), int(day_first[1])) if day_first else None
    except ValueError:
        return None


def _hours(text: str) -> float | None:
    clock = _CLOCK.match(text)
    if clock:
        return int(clock[1]) + int(clock[2]) / 60.0 if int(clock[2]) < 60 else None
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        return None
    return value if value == value else None
