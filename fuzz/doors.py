"""The doors to fuzz: for each, small good files to begin with, and a function that proves what one input did.

The oracle of every door: an input is accepted or refused by a BowtrueError of one line; nothing else is raised;
numbers of an accepted input are finite; it takes less than ``MOST_SECONDS`` of processor time.
"""

from __future__ import annotations

import json
import math
import os
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from mesh_tools.errors import LONGEST_LINE, BowtrueError

MOST_SECONDS = 1.0
MESH_DOORS = ("stl", "ply", "obj", "vtk", "vtu", "msh")
CASE_DOORS = ("case", "table", "journal", "measured", "wear")
_ENDING = {"case": "toml", "table": "csv", "journal": "jsonl", "measured": "toml", "wear": "csv"}


class OracleBroken(AssertionError):
    """An input did what no input may do."""


@dataclass
class Tally:
    """How many inputs came, how many were accepted, and the longest processor time of one."""

    inputs: int = 0
    accepted: int = 0
    slowest_s: float = 0.0


@dataclass(frozen=True)
class Door:
    """One door: its name, the file's place, the reader, and what proves the numbers of what it gave."""

    name: str
    place: Path
    read: Callable[[Path], Any]
    prove: Callable[[Any], None]
    tally: Tally

    def try_one(self, data: bytes) -> bool:
        """Whether ``data`` was accepted; raises OracleBroken, or whatever the reader should not have raised."""
        start = time.process_time()
        accepted = self.accepts(data)
        spent = time.process_time() - start
        self.tally.inputs += 1
        self.tally.accepted += accepted
        self.tally.slowest_s = max(self.tally.slowest_s, spent)
        if spent > MOST_SECONDS:
            raise OracleBroken(f"{self.name}: {spent:.2f} s for {len(data)} bytes")
        return accepted

    def accepts(self, data: bytes) -> bool:
        """``try_one`` without the clock and the tally; a warning counts as something raised."""
        self.place.write_bytes(data)
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            try:
                self.prove(self.read(self.place))
            except BowtrueError as refusal:
                _prove_lines(str(refusal))
                return False
        return True


@contextmanager
def opened(name: str) -> Iterator[Door]:
    """The door ``name``, with a place of its own for its file."""
    memory = Path("/dev/shm")  # a file system in memory, where there is one
    with tempfile.TemporaryDirectory(dir=memory if os.access(memory, os.W_OK) else None) as folder:
        place = Path(folder) / f"a.{_ENDING.get(name, name)}"
        yield Door(name, place, *(_mesh_door() if name in MESH_DOORS else _case_door(name)), Tally())


def _prove_lines(text: str) -> None:
    lines = text.split("\n")
    if not text or any(not line.strip() for line in lines):
        raise OracleBroken(f"a refusal with an empty line: {text!r}")
    if any(len(line) > LONGEST_LINE or not line.isprintable() for line in lines):
        raise OracleBroken(f"a refusal that no terminal shows as one line: {text!r}")


def _mesh_door() -> tuple[Callable[[Path], Any], Callable[[Any], None]]:
    from mesh_tools.look import as_dict, look_at, report
    from mesh_tools.read import read_surface

    def prove(surface: Any) -> None:
        arrays = (surface.points_mm, surface.areas_mm2, surface.area_vectors_mm2, surface.face_centres_mm)
        if not all(np.isfinite(a).all() for a in arrays):
            raise OracleBroken("an accepted surface has numbers that are not finite")
        seen = look_at(surface)
        report(seen)
        json.dumps(as_dict(seen), allow_nan=False)

    return read_surface, prove


def _case_door(name: str) -> tuple[Callable[[Path], Any], Callable[[Any], None]]:
    from casework.case_file import read_case
    from casework.check.file import read_measured
    from casework.study.rows import read_table
    from casework.visits.journal import read_journal
    from casework.visits.wear import read_wear

    readers: dict[str, tuple[Callable[[Path], Any], Callable[[Any], None]]] = {
        "case": (read_case, lambda case: _prove_finite(case.model_dump())),
        "table": (read_table, lambda table: _prove_finite([vars(r) for r in table.rows])),
        "journal": (
            lambda place: read_journal(_with_checksums(place)),
            lambda journal: _prove_finite([v.model_dump() for v in journal.visits]),
        ),
        "measured": (read_measured, _prove_measured),
        "wear": (read_wear, lambda worn: _prove_finite(dict(enumerate(worn.hours.values())))),
    }
    return readers[name]


def _prove_measured(measured: Any) -> None:
    for reading in measured.sides.values():
        _prove_finite({k: np.asarray(v).tolist() for k, v in vars(reading).items() if k != "straps"})
        for strap in getattr(reading, "straps", ()):
            _prove_finite(vars(strap))
    _prove_finite(vars(measured.errors))


def _prove_finite(value: Any) -> None:
    """Raises OracleBroken for a number anywhere inside ``value`` that is not finite."""
    if isinstance(value, dict):
        for part in value.values():
            _prove_finite(part)
    elif isinstance(value, list | tuple):
        for part in value:
            _prove_finite(part)
    elif isinstance(value, float) and not math.isfinite(value):
        raise OracleBroken(f"an accepted number is not finite: {value}")


def _with_checksums(place: Path) -> Path:
    """Half of the inputs (first byte even) get right checksums, so that what lies behind them is tried too."""
    import hashlib

    data = place.read_bytes()
    if not data or data[0] % 2:
        place.write_bytes(data[1:])
        return place
    out, before = b"", "0" * 64
    for body in data[1:].split(b"\n"):
        head = b'{"before":"' + before[:16].encode() + b'","schema":1,"visit":' + body
        before = hashlib.sha256(head + b"}").hexdigest()
        out += head + b',"sha256":"' + before.encode() + b'"}\n'
    place.write_bytes(out)
    return place
