"""Taking a scan into the case's folder: named, bounded, written whole, and read before it may stay."""

from __future__ import annotations

import secrets
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from casework.desk.folder import beside, clean_name, free_name, held, inside
from mesh_tools.errors import BadFileError, BadValueError, BowtrueError
from mesh_tools.look import Look, look_at
from mesh_tools.read import FORMATS

MAX_BYTES = 200_000_000
_AT_ONCE = 1 << 20
_WAITING = ".arriving-"
_OLD_SECONDS = 3600.0

Upload = bytes | IO[bytes] | Iterable[bytes]


class UploadError(BadValueError):
    """An upload was refused; nothing of it is left in the folder."""


@dataclass(frozen=True)
class Arrived:
    """A scan that was taken in: its name in the folder, what came as, its size, and what the mesh is.

    ``look.repair_changes`` is what repair will do when the scan is read.
    """

    name: str
    came_as: str
    size: int
    look: Look


def arrived(
    folder: Path, name: str, data: Upload, *, limit: int = MAX_BYTES, replacing: bool = False
) -> Arrived:
    """Take the mesh ``data`` (bytes, a binary stream, or pieces) into ``folder`` as ``name`` made plain.

    A name that is taken gets a number, unless ``replacing``. The mesh is read by the one door before it may stay.
    Raises UploadError in one line for a name without a known ending, more than ``limit`` bytes and a mesh that
    cannot be used; the folder is then as it was.
    """
    try:
        plain = clean_name(name, endings=FORMATS)
        _swept(folder)
        waiting = inside(folder, f"{_WAITING}{secrets.token_hex(6)}-{plain}")
        try:
            size, look = _written(waiting, name, data, limit), _looked_at(waiting, plain)
            with held(folder):
                final = inside(folder, plain if replacing else free_name(folder, plain))
                waiting.replace(final)
        finally:
            waiting.unlink(missing_ok=True)
    except OSError as err:
        raise BadFileError(f"{folder}: {name!r} cannot be written ({err.strerror or err}).") from err
    return Arrived(final.name, name, size, look)


def _looked_at(waiting: Path, plain: str) -> Look:
    try:
        return look_at(waiting)
    except BowtrueError as err:
        raise UploadError(str(err).replace(str(waiting), plain)) from err


def _swept(folder: Path) -> None:
    """Remove what uploads that were killed have left, once nobody can still be at it."""
    for left in (*folder.glob(f"{_WAITING}*"), *folder.glob(f".{_WAITING}*.part")):
        if time.time() - left.stat().st_mtime > _OLD_SECONDS:
            left.unlink(missing_ok=True)


def _written(waiting: Path, name: str, data: Upload, limit: int) -> int:
    size = 0
    with beside(waiting) as stream:
        for piece in _pieces(data):
            size += len(piece)
            if size > limit:
                raise UploadError(
                    f"{name!r}: more than {limit / 1e6:.0f} MB; reduce the scan, or copy it into the folder by hand."
                )
            stream.write(piece)
    return size


def _pieces(data: Upload) -> Iterator[bytes]:
    if isinstance(data, bytes | bytearray | memoryview):
        yield bytes(data)
    elif hasattr(data, "read"):
        while piece := data.read(_AT_ONCE):
            yield piece
    else:
        yield from data
