"""The answers of a study as they come: one checked line a tooth, appended, so a killed run loses one tooth at most.

A line is a CRC-32, a space and JSON. What a kill left half-written at the end, or a line that was changed, does not
check and counts as not there.
"""

from __future__ import annotations

import json
import os
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from casework.locking import locked
from casework.study.one_tooth import ToothAnswer
from mesh_tools.errors import BadFileError


@dataclass(frozen=True)
class Known:
    """An answer in the log: its key, and where its line begins."""

    key: str
    offset: int


class StudyLog:
    """The log at ``path``, open for appending; ``known`` holds the newest answer of every row's name."""

    def __init__(self, path: Path, stream: IO[bytes]) -> None:
        self.path = path
        self.known: dict[str, Known] = {}
        self._stream = stream
        end = 0
        for offset, length, tree in _lines(path):
            self.known[tree["name"]] = Known(tree["key"], offset)
            end = offset + length
        if end != path.stat().st_size:
            self._stream.write(
                b"\n"
            )  # ends what a kill left half-written, so that the next line stands alone
            self._stream.flush()

    def append(self, done: ToothAnswer) -> None:
        """Write ``done`` down; it survives the program's death when this returns."""
        assert done.records is not None
        tree = {"name": done.name, "key": done.key, "seconds": done.seconds, "records": done.records}
        text = json.dumps(tree, allow_nan=False, separators=(",", ":")).encode("utf-8")
        offset = self._stream.seek(0, os.SEEK_END)
        self._stream.write(b"%08x " % zlib.crc32(text) + text + b"\n")
        self._stream.flush()
        self.known[done.name] = Known(done.key, offset)

    def records(self, name: str) -> list[dict[str, Any]]:
        """The records of the row named ``name``, read back from the file."""
        with self.path.open("rb") as stream:
            stream.seek(self.known[name].offset)
            tree = _checked(stream.readline())
        if tree is None:
            raise BadFileError(
                f"{self.path}: the answer of a tooth has changed on disk; run the study again."
            )
        records: list[dict[str, Any]] = tree["records"]
        return records


@contextmanager
def opened_log(path: Path) -> Iterator[StudyLog]:
    """The log at ``path``, made if missing, kept from other runs until the block ends. Raises InUseError."""
    with locked(path.with_suffix(".lock"), thing=f"the study in {path.parent}"), path.open("ab") as stream:
        yield StudyLog(path, stream)
        stream.flush()
        os.fsync(stream.fileno())


def _lines(path: Path) -> Iterator[tuple[int, int, dict[str, Any]]]:
    """Offset, length and content of every line that checks."""
    with path.open("rb") as stream:
        offset = 0
        for line in stream:
            tree = _checked(line)
            if tree is not None:
                yield offset, len(line), tree
            offset += len(line)


def _checked(line: bytes) -> dict[str, Any] | None:
    if len(line) < 10 or not line.endswith(b"\n") or line[8:9] != b" ":
        return None
    text = line[9:-1]
    if b"%08x" % zlib.crc32(text) != line[:8]:
        return None
    tree: dict[str, Any] = json.loads(text)
    return tree
