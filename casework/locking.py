"""A lock against two writers: held by the system while the holder lives, so that a crash leaves none behind."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from mesh_tools.errors import BadFileError


class InUseError(BadFileError, OSError):
    """Another program, or another run of this one, is writing the same thing."""


@contextmanager
def locked(path: Path, *, thing: str, left_behind: bool = True) -> Iterator[None]:
    """Hold the lock file ``path`` (made if missing) while the block runs; it stays, empty, if ``left_behind``.

    Raises InUseError in one line that names ``thing`` when another process holds it.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    with _held(path, thing) as stream:
        try:
            yield
        finally:
            if not left_behind and os.name != "nt" and _is_at(stream, path):
                path.unlink()


def _held(path: Path, thing: str) -> IO[bytes]:
    """The lock file, held; once more when its holder took it away between our opening and our taking it."""
    while True:
        stream = path.open("ab")
        try:
            _take(stream, thing)
        except InUseError:
            stream.close()
            raise
        if _is_at(stream, path):
            return stream
        stream.close()


def _is_at(stream: IO[bytes], path: Path) -> bool:
    """Whether the open file is still the one at ``path``."""
    try:
        return os.path.samestat(os.fstat(stream.fileno()), path.stat())
    except FileNotFoundError:
        return False


def _take(stream: IO[bytes], thing: str) -> None:
    if not took(stream.fileno()):
        raise InUseError(
            f"{thing} is being written by another run of bowtrue; wait for it, or write elsewhere."
        )


def took(handle: int) -> bool:
    """Whether the open file ``handle`` is now held by this process; False when another holds it."""
    try:
        if sys.platform == "win32":
            import msvcrt

            os.lseek(handle, 0, os.SEEK_SET)
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
