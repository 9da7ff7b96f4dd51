"""Visits: kept exactly, in order, never changed; progress beside published rates; what to look at next."""

from __future__ import annotations

import os
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from casework.locking import InUseError, locked
from casework.visits import journal as journal_module
from casework.visits.journal import JournalError, VisitOrderError, append_visit, journal_path, read_journal
from casework.visits.look_next import Meant, look_next
from casework.visits.progress import progress_of
from casework.visits.record import SideVisit, Visit
from casework.visits.telling import visits_as_dict, visits_text

DAY = date(2026, 3, 2)
MEANT = Meant({"right": 4.0, "left": 4.0}, {"right": 0.0, "left": 0.0})


def visit(days: int = 0, **values: object) -> Visit:
    return Visit(day=DAY + timedelta(days=days), **values)  # type: ignore[arg-type]


def side(relation: float | None = None, force: float | None = None, offset: float | None = None) -> SideVisit:
    return SideVisit(relation_mm=relation, force_n=force, offset_mm=offset)


def safe(days: int = 0, **values: object) -> Visit:
    return visit(days, release_checked=True, retention_checked=True, **values)


numbers = st.one_of(st.none(), st.floats(-20, 20))
forces = st.one_of(st.none(), st.floats(0, 30))
sides = st.builds(SideVisit, relation_mm=numbers, force_n=forces, offset_mm=numbers, bend_deg=numbers)
answers = st.one_of(st.none(), st.booleans())
text = st.text(st.characters(exclude_categories=["Cs"]), max_size=60)
visits_of_any_kind = st.builds(
    Visit, day=st.dates(), right=sides, left=sides, told_hours=st.one_of(st.none(), st.floats(0, 24)),
    release_checked=answers, retention_checked=answers, bends=text, notes=text,
)  # fmt: skip


@given(st.lists(visits_of_any_kind, max_size=4))
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_visits_come_back_as_they_were(tmp_path: Path, found: list[Visit]):
    path = tmp_path / "case.visits.jsonl"
    path.unlink(missing_ok=True)
    checksum = "0" * 64
    data = b""
    for one in found:
        line, checksum = journal_module.line_of(one, before=checksum)
        data += line
    path.write_bytes(data)
    assert list(read_journal(path).visits) == found


def test_appending_touches_no_earlier_byte(tmp_path: Path):
    path = journal_path(tmp_path / "case.toml")
    assert path.name == "case.visits.jsonl"
    before = b""
    for k in range(5):
        added = append_visit(path, visit(7 * k, notes='Größe ü — \u2028 "x" \\n'))
        assert not added.already
        data = path.read_bytes()
        assert data.startswith(before)
        assert len(data) > len(before)
        before = data
    assert [v.day for v in read_journal(path).visits] == [DAY + timedelta(days=7 * k) for k in range(5)]
    assert append_visit(path, read_journal(path).visits[-1]).already
    assert path.read_bytes() == before


def test_a_visit_before_the_last_is_refused_and_nothing_touched(tmp_path: Path):
    path = tmp_path / "case.visits.jsonl"
    append_visit(path, visit(30))
    before, when = path.read_bytes(), path.stat().st_mtime_ns
    with pytest.raises(VisitOrderError, match=r"2026-03-31 lies before the last one, 2026-04-01"):
        append_visit(path, visit(29))
    with pytest.raises(VisitOrderError, match="is there already and says something else; add --same-day"):
        append_visit(path, visit(30, notes="other"))
    assert path.read_bytes() == before
    assert path.stat().st_mtime_ns == when
    assert not append_visit(path, visit(30, notes="other"), same_day=True).already
    assert path.read_bytes().startswith(before)


def test_a_line_torn_at_any_byte_is_set_aside(tmp_path: Path):
    path = tmp_path / "case.visits.jsonl"
    for k in range(3):
        append_visit(path, visit(k))
    whole = path.read_bytes()
    lines = whole.splitlines(keepends=True)
    for cut in range(len(lines[0]) + len(lines[1]) + 1, len(whole) - 1, 9):
        path.write_bytes(whole[:cut])
        seen = read_journal(path)
        assert len(seen.visits) == 2
        assert len(seen.rest) == cut - len(lines[0]) - len(lines[1])
        assert path.read_bytes() == whole[:cut]  # reading changes nothing
        added = append_visit(path, visit(2))
        assert added.set_aside is not None
        assert added.set_aside.read_bytes() == seen.rest
        assert path.read_bytes() == whole


def test_a_lost_newline_loses_no_visit(tmp_path: Path):
    path = tmp_path / "case.visits.jsonl"
    append_visit(path, visit(0))
    path.write_bytes(path.read_bytes()[:-1])
    assert len(read_journal(path).visits) == 1
    assert append_visit(path, visit(1)).set_aside is None
    assert [v.day.day for v in read_journal(path).visits] == [2, 3]


def test_a_changed_removed_or_doubled_line_is_found_and_nothing_written(tmp_path: Path):
    path = tmp_path / "case.visits.jsonl"
    for k in range(3):
        append_visit(path, visit(k, notes="abc"))
    lines = path.read_bytes().splitlines(keepends=True)
    wrong = {
        "line 2": [lines[0], lines[1].replace(b"abc", b"abd"), lines[2]],
        "line 2 ": [lines[0], lines[2]],
        "line 3": [lines[0], lines[1], lines[1], lines[2]],
        "line 1": [b"\n", *lines],
        "line 3 ": [lines[0], lines[1], lines[2].replace(b"abc", b"ab")],
        "line 2  ": [lines[0], b"{}\n", lines[2]],
    }
    for name, rows in wrong.items():
        path.write_bytes(b"".join(rows))
        with pytest.raises(JournalError, match=f"{name.strip()} does not match its checksum"):
            append_visit(path, visit(9))
        assert path.read_bytes() == b"".join(rows)


def test_a_full_disk_leaves_the_file_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    path = tmp_path / "case.visits.jsonl"
    append_visit(path, visit(0))
    before = path.read_bytes()

    def full(handle: int, data: memoryview) -> int:
        if os.fstat(handle).st_size > len(before) + 20:
            raise OSError(28, "No space left on device")
        return os.write(handle, data[:8])

    monkeypatch.setattr(journal_module, "write_some", full)
    with pytest.raises(OSError, match="No space left"):
        append_visit(path, visit(1))
    assert path.read_bytes() == before


def test_another_writer_is_waited_for_and_then_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    path = tmp_path / "case.visits.jsonl"
    monkeypatch.setattr(journal_module, "_WAIT_S", 0.1)
    with (
        locked(tmp_path / ".case.visits.jsonl.lock", thing="x"),
        pytest.raises(InUseError, match="is being written by another run"),
    ):
        append_visit(path, visit(0))
    assert not path.exists()
    append_visit(path, visit(0))


def test_the_folder_instead_of_the_file_is_one_line(tmp_path: Path):
    with pytest.raises(JournalError, match="is a folder"):
        read_journal(tmp_path)


def test_the_course_is_read_from_the_visits():
    seen = [
        safe(0),
        safe(30, right=side(5.0), left=side(4.0)),
        safe(61, right=side(4.5)),
        safe(91, left=side(3.4)),
    ]
    progress = progress_of(seen, "cervical")
    right, left = progress.courses["right"], progress.courses["left"]
    np.testing.assert_allclose(right.months, [30 / 30.4375, 61 / 30.4375])
    assert right.gained_mm == pytest.approx(0.5)
    assert left.gained_mm == pytest.approx(0.6)
    assert progress.bands_from == "right"
    assert progress.bands[0].months[0] == pytest.approx(
        30 / 30.4375
    )  # the band starts where the measure does
    assert [progress.side_bands[s][0].low_mm[0] for s in ("right", "left")] == pytest.approx([5.0, 4.0])
    assert progress.side_bands["left"][0].months[-1] == pytest.approx(6.0)  # six months are always drawn
    text = visits_text("c", progress, look_next(seen, MEANT))
    assert "no promise" in text
    assert "from the right side's start" in text
    assert "from the left side's start" in text
    assert "mm left at 6.0 months" in text
    assert "not a medical device" in text
    assert "Kirjavainen" in text
    assert len(visits_as_dict("c", progress, ())["visits"]) == 4
    assert set(visits_as_dict("c", progress, ())["side_bands"]) == {"right", "left"}


def told(*seen: Visit) -> str:
    return "\n".join(look_next(seen, MEANT))


def test_nothing_to_look_at_is_said_by_nothing():
    seen = safe(0, right=side(5, 4.0, 0.5), left=side(5, 4.0, -0.5), prescribed_hours=13.0, recorded_hours=13.1,
                recorded_days=30)  # fmt: skip
    assert look_next([seen], MEANT) == ()
    assert look_next([], MEANT) == ()


@pytest.mark.parametrize(
    ("seen", "expected"),
    [
        ([visit(0)], "SAFETY: nothing was recorded of the self-releasing strap module on 2026-03-02"),
        ([visit(0, release_checked=True)], "SAFETY: nothing was recorded of what keeps the bow in the tubes"),
        ([visit(0, release_checked=True, retention_checked=False)], "must not be worn until it is"),
        ([safe(0, right=side(force=3.2))], "right: force 3.20 N .326 gf. has fallen below the plan's 4.00 N"),
        ([safe(0, left=side(force=5.2))], "left: force 5.20 N is above the plan's"),
        (
            [safe(0, left=side(force=4.6)), safe(30, left=side(force=3.7))],
            "left: force fell from 4.60 to 3.70 N",
        ),
        (
            [safe(0, right=side(offset=-3.1))],
            "right: the line of force runs 3.1 mm occlusal of .*crown back first",
        ),
        (
            [safe(0, right=side(offset=1.5)), safe(30, right=side(offset=-1.0))],
            r"the line moved -2\.5 mm since",
        ),
        (
            [safe(0, right=side(5), left=side(5)), safe(90, right=side(3.5), left=side(4.8))],
            "The left side lags",
        ),
        (
            [safe(0, right=side(5), left=side(5)), safe(150, right=side(4.8), left=side(4))],
            r"right: \+0\.2 mm in the 5",
        ),
        (
            [safe(0, prescribed_hours=14.0), safe(30, recorded_hours=5.6)],
            "Worn 5.6 h a day by the record, prescribed 14",
        ),
        ([safe(0, told_hours=13.6, recorded_hours=5.6)], "Told 13.6 h, recorded 5.6 h.*Brandao"),
        ([safe(0, told_hours=12.0, prescribed_hours=14.0)], "less was probably worn"),
        ([safe(0, told_hours=14.0)], "Wear is told only.*sensor showed 5.6 h"),
        ([safe(0)], "Nothing was recorded of the hours worn"),
        ([safe(0), safe(90)], "90 days since the visit before"),
    ],
)
def test_each_finding_is_told(seen: list[Visit], expected: str):
    import re

    assert re.search(expected, told(*seen)), told(*seen)


def test_small_changes_are_not_told():
    seen = [safe(0, right=side(5, 4.0, 0.0), left=side(5, 4.0, 0.0), recorded_hours=13.0, prescribed_hours=13.0),
            safe(30, right=side(4.8, 3.9, 0.8), left=side(4.9, 4.1, -0.8), recorded_hours=12.5)]  # fmt: skip
    assert look_next(seen, MEANT) == ()
