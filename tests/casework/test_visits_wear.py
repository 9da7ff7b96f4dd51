"""Recorded wear from a table as sensors and spreadsheets write it, and its errors row by row."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from casework.visits.wear import WearFileError, read_wear
from mesh_tools.errors import MissingFileError

GOOD = {
    "plain": b"2026-04-07,8.5\n2026-04-08,9\n",
    "names": b"date,hours\n2026-04-07,8.5\n2026-04-08,9\n",
    "decimal commas": b"Date;Hours\n07.04.2026;8,5\n08.04.2026;9,0\n",
    "byte order mark": "\ufeffDate;Hours\r\n07.04.2026;8,5\r\n08.04.2026;9\r\n".encode(),
    "utf-16": "day\thours\n2026/04/07\t8.5\n2026/04/08\t9\n".encode("utf-16"),
    "more columns": b"id;Date;temp;hours worn\n1;2026-04-07;33,1;8,5\n2;2026-04-08;33,2;9\n",
    "clock": b"2026-04-07;8:30\n2026-04-08;9:00\n",
    "parts of a day": b"2026-04-07 22:00;6\n2026-04-08T20:00:00;9\n2026-04-07 05:00;2.5\n\n",
    "quotes": b'"date","hours"\n"2026-04-07","8.5"\n"2026-04-08","9"\n',
    "other names": b"Tag;Stunden\n2026-04-07;8,5\n2026-04-08;9\n",
}


@pytest.mark.parametrize("kind", GOOD)
def test_tables_of_every_kind_read_alike(kind: str, tmp_path: Path):
    path = tmp_path / "wear.csv"
    path.write_bytes(GOOD[kind])
    worn = read_wear(path)
    assert worn.hours == {date(2026, 4, 7): 8.5, date(2026, 4, 8): 9.0}
    assert worn.mean == 8.75
    assert worn.gaps == 0


def test_only_days_since_the_last_visit_count(tmp_path: Path):
    path = tmp_path / "wear.csv"
    path.write_text("".join(f"2026-04-{d:02d};{d / 2}\n" for d in (1, 2, 3, 6, 7)), "utf-8")
    some = read_wear(path).between(date(2026, 4, 2), date(2026, 4, 6))
    assert list(some.hours) == [date(2026, 4, 3), date(2026, 4, 6)]
    assert some.gaps == 2
    assert read_wear(path).between(None, date(2026, 3, 1)).gaps == 0


BAD = {
    "hours over a day": (b"2026-04-07;27\n", "row 1: hours must lie between 0 and 24; got '27'"),
    "no number": (b"date;hours\n2026-04-07;many\n", "row 2: hours must lie between 0 and 24; got 'many'"),
    "not a number": (b"2026-04-07;nan\n", "row 1: hours must lie"),
    "month first": (b"04/07/2026;8\n", "row 1: the date must look like 2026-11-25"),
    "no such day": (b"2026-04-31;8\n", "row 1: the date must look like"),
    "decimal comma between commas": (b"2026-04-07,8,5\n", "row 1: has a decimal comma between commas"),
    "one field": (b"date;hours\n2026-04-07\n", "row 2: needs a date and hours"),
    "a day too full": (b"2026-04-07;14\n2026-04-07;14\n", "row 2: the hours of 2026-04-07 add up to 28"),
    "names that tell nothing": (b"a;b;c\n1;2;3\n", "row 1 must name one column"),
    "empty": (b"\n\n", "holds no rows"),
    "names alone": (b"date;hours\n", "holds names but no rows"),
    "not text": (b"\x89PNG\x00\xff", "is not UTF-8 text"),
}


@pytest.mark.parametrize("kind", BAD)
def test_a_wrong_row_is_named(kind: str, tmp_path: Path):
    data, text = BAD[kind]
    path = tmp_path / "wear.csv"
    path.write_bytes(data)
    with pytest.raises(WearFileError) as told:
        read_wear(path)
    assert text in str(told.value)
    assert len(str(told.value).splitlines()) == 1


def test_many_wrong_rows_are_told_in_few_lines(tmp_path: Path):
    path = tmp_path / "wear.csv"
    path.write_text("".join(f"2026-04-{d:02d};99\n" for d in range(1, 20)), "utf-8")
    with pytest.raises(WearFileError) as told:
        read_wear(path)
    assert len(str(told.value).splitlines()) == 6
    assert "and 14 rows more" in str(told.value)


def test_no_file(tmp_path: Path):
    with pytest.raises(MissingFileError, match="no such file"):
        read_wear(tmp_path / "none.csv")
    with pytest.raises(WearFileError, match="is a folder"):
        read_wear(tmp_path)
