"""The visits' file beside the case: one JSON object a line, each with its checksum and that of the line before.

A visit is written as one line at the end of the file and carried to the disk before it is confirmed; a lock keeps
other writers out. What a crash can leave is an unfinished last line: it is kept in a file of its own and cut off
before the next visit is written. A line that is whole but does not match its checksum was changed later: nothing is
written until a person has looked. Earlier lines are never touched.
"""

from __future__ import annotations

import hashlib
import json
import os
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from casework.locking import InUseError, locked
from casework.visits.record import Visit
from casework.writing import flush_folder
from mesh_tools.errors import BadFileError, BadValueError
from mesh_tools.write import write_bytes_atomically

JOURNAL_SCHEMA = 1
_MARK = b',"sha256":"'
_START = "0" * 64
_WAIT_S, _PAUSE_S = 10.0, 0.02


class JournalError(BadFileError):
    """The visits' file was changed or damaged; the text names the line."""


class VisitOrderError(BadValueError):
    """A visit does not belong at the end of the list."""


@dataclass(frozen=True)
class Journal:
    """Whole visits in order, the length in bytes of their lines, the last checksum, and an unfinished rest."""

    visits: tuple[Visit, ...]
    whole_bytes: int
    checksum: str
    rest: bytes
    ended: bool


@dataclass(frozen=True)
class Appended:
    """``journal`` after the visit; ``already``: it was there before; ``set_aside``: where an unfinished line went."""

    journal: Journal
    already: bool
    set_aside: Path | None


def journal_path(case_path: Path) -> Path:
    """Where the visits of the case at ``case_path`` are."""
    return case_path.with_name(f"{case_path.stem}.visits.jsonl")


def read_journal(path: Path) -> Journal:
    """The visits in the file at ``path``, none when it does not exist. Changes nothing. Raises JournalError."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        data = b""
    except IsADirectoryError as err:
        raise JournalError(f"{path} is a folder; it must be the visits' file.") from err
    visits: list[Visit] = []
    checksum, at = _START, 0
    for number, line in enumerate(data.splitlines(keepends=True), start=1):
        found = _visit_of(line, checksum)
        if found is None and not line.endswith(b"\n") and at + len(line) == len(data):
            return Journal(tuple(visits), at, checksum, line, True)
        if found is None:
            raise JournalError(
                f"{path}: line {number} does not match its checksum or the line before it: it was changed or damaged. "
                "Nothing was written; put back an earlier copy of the file."
            )
        visit, checksum = found
        visits.append(visit)
        at += len(line)
    return Journal(tuple(visits), at, checksum, b"", data.endswith(b"\n") or not data)


def append_visit(path: Path, visit: Visit, *, same_day: bool = False) -> Appended:
    """``visit`` at the end of the file at ``path``, on the disk when this returns.

    The very same visit as the last one is not written again. Raises VisitOrderError for a visit before the last one,
    and for another one of the same day unless ``same_day``; JournalError; InUseError while another writer is at it.
    """
    with _alone(path):
        journal = read_journal(path)
        set_aside = _set_aside(path, journal)
        if journal.visits and journal.visits[-1] == visit:
            return Appended(journal, True, set_aside)
        _check_order(journal, visit, same_day=same_day)
        line, checksum = line_of(visit, before=journal.checksum)
        start = b"" if journal.ended else b"\n"
        _written(path, start + line, at=journal.whole_bytes)
        whole = journal.whole_bytes + len(start) + len(line)
        return Appended(Journal((*journal.visits, visit), whole, checksum, b"", True), False, set_aside)


def line_of(visit: Visit, *, before: str) -> tuple[bytes, str]:
    """The line of ``visit`` after a line with the checksum ``before``, and its own checksum."""
    tree = {"schema": JOURNAL_SCHEMA, "before": before[:16], "visit": json.loads(visit.model_dump_json())}
    body = json.dumps(
        tree, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False
    ).encode()
    checksum = hashlib.sha256(body).hexdigest()
    return body[:-1] + _MARK + checksum.encode() + b'"}\n', checksum


def _visit_of(line: bytes, before: str) -> tuple[Visit, str] | None:
    """The visit of one line and its checksum; None when anything about the line is not as it was written."""
    head, mark, tail = line.rstrip(b"\r\n").rpartition(_MARK)
    checksum = hashlib.sha256(head + b"}").hexdigest()
    if not mark or tail != checksum.encode() + b'"}':
        return None
    try:
        tree = json.loads(head + b"}")
        if tree["schema"] != JOURNAL_SCHEMA or tree["before"] != before[:16]:
            return None
        return Visit.model_validate_json(json.dumps(tree["visit"])), checksum
    except (ValueError, KeyError, TypeError, ValidationError):
        return None


def _check_order(journal: Journal, visit: Visit, *, same_day: bool) -> None:
    if not journal.visits:
        return
    last = journal.visits[-1].day
    if visit.day < last:
        raise VisitOrderError(
            f"the visit of {visit.day} lies before the last one, {last}: visits are added in their order; check the "
            "date. Earlier records were not touched."
        )
    if visit.day == last and not same_day:
        raise VisitOrderError(
            f"a visit of {last} is there already and says something else; add --same-day to add a second one."
        )


@contextmanager
def _alone(path: Path) -> Iterator[None]:
    """The lock beside ``path``, waited for as long as a writer needs."""
    lock = path.with_name(f".{path.name}.lock")
    until = time.monotonic() + _WAIT_S
    with ExitStack() as held:
        while True:
            try:
                held.enter_context(locked(lock, thing=str(path)))
                break
            except InUseError:
                if time.monotonic() > until:
                    raise
                time.sleep(_PAUSE_S)
        yield


def _set_aside(path: Path, journal: Journal) -> Path | None:
    """Keep the unfinished last line in a file named by its content, then cut it off; the whole lines stay."""
    if not journal.rest:
        return None
    name = f"{path.stem}.interrupted-{hashlib.sha256(journal.rest).hexdigest()[:8]}.txt"
    kept = path.with_name(name)
    write_bytes_atomically(kept, journal.rest)
    handle = os.open(path, os.O_WRONLY)
    try:
        os.ftruncate(handle, journal.whole_bytes)
        os.fsync(handle)
    finally:
        os.close(handle)
    return kept


def _written(path: Path, data: bytes, *, at: int) -> None:
    """``data`` at the end of ``path``, whose length is ``at``, and on the disk; cut off again when that fails."""
    new = not path.exists()
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
    try:
        _all_written(handle, data)
        os.fsync(handle)
    except OSError:
        os.ftruncate(handle, at)
        raise
    finally:
        os.close(handle)
    if new:
        flush_folder(path.parent)


def _all_written(handle: int, data: bytes) -> None:
    view = memoryview(data)
    while view:
        view = view[write_some(handle, view) :]


def write_some(handle: int, data: memoryview) -> int:
    """Write as much of ``data`` as the system takes at once; how much that was."""
    return os.write(handle, data)
