"""A case's folder: what lies inside it, names that may be given, writing that is whole or not at all, one writer."""

from __future__ import annotations

import glob
import hashlib
import os
import re
import secrets
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path, PurePosixPath
from typing import IO

from casework.locking import took
from casework.writing import flush_folder
from mesh_tools.errors import BadValueError

LONGEST_NAME = 100
_LOCK = ".case.lock"
_LOCK_SECONDS = 5.0
# Names that Windows keeps for devices, with any ending (Microsoft, Naming Files, Paths, and Namespaces).
_DEVICES = {"con", "prn", "aux", "nul", *(f"{d}{n}" for d in ("com", "lpt") for n in "0123456789¹²³")}


class OutsideError(BadValueError):
    """A name leads out of the case's folder."""


class FolderBusyError(BadValueError):
    """Another writer holds the case's folder."""


def inside(folder: Path, name: str) -> Path:
    """The place of ``name`` (with or without subfolders) in ``folder``, links followed; it need not exist yet.

    Raises OutsideError for an absolute name, one that climbs out by ``..``, a backslash, a drive or a zero byte in
    it, and a link that leads out of the folder.
    """
    told = f"{name!r} must lie in the case's folder"
    parts = PurePosixPath(name).parts
    if not parts or any(c in name for c in "\\:\0") or name.startswith(("/", "~")) or ".." in parts:
        raise OutsideError(f"{told}: give a plain file name, or copy the file into the folder.")
    try:
        home = folder.resolve(strict=True)
        place = (home / name).resolve()
    except (OSError, RuntimeError, ValueError) as err:
        raise OutsideError(f"{told}: it cannot be followed ({_reason(err)}).") from None
    if place == home or not place.is_relative_to(home):
        raise OutsideError(f"{told}, but a link leads out of it: copy the file itself into the folder.")
    return place


def clean_name(name: str, *, endings: tuple[str, ...]) -> str:
    """A plain file name made of ``name``: no folders, letters and digits and ``. _ -`` only, one of ``endings``.

    Raises BadValueError for an ending that is not known and a name of which nothing is left.
    """
    last = re.split(r"[\\/]", name)[-1]
    stem, dot, ending = last.rpartition(".")
    ending = (dot + ending).lower()
    if ending not in endings:
        raise BadValueError(f"{last[:60]!r}: ending must be one of {', '.join(endings)}; export it as one.")
    stem = (
        re.sub(r"[^\w.-]+", "_", stem, flags=re.ASCII)
        .strip("._-")[: LONGEST_NAME - len(ending)]
        .rstrip("._-")
    )
    if not stem:
        raise BadValueError(
            f"{last[:60]!r}: the name has no letter or digit (a to z, 0 to 9); rename the file."
        )
    if stem.split(".")[0].lower() in _DEVICES:
        stem = f"scan_{stem}"
    return stem + ending


def free_name(folder: Path, name: str) -> str:
    """``name``, or the first of ``name-2``, ``name-3`` ... that no file of ``folder`` has, in any case of letters."""
    taken = {p.name.lower() for p in folder.iterdir()}
    stem, dot, ending = name.rpartition(".")
    number, free = 2, name
    while free.lower() in taken:
        free, number = f"{stem}-{number}{dot}{ending}", number + 1
    return free


@contextmanager
def beside(target: Path) -> Iterator[IO[bytes]]:
    """An open file beside ``target`` that takes its name, flushed to disk, when the block ends well; else it goes.

    The name is taken in one step: a reader, or a machine that stops at any moment, sees the old file or the new one.
    """
    scratch = target.with_name(f".{target.name}.{secrets.token_hex(6)}.part")
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
    try:
        with os.fdopen(os.open(scratch, flags, 0o666), "wb") as stream:
            yield stream
            stream.flush()
            if target.exists() and hasattr(os, "fchmod"):
                os.fchmod(stream.fileno(), target.stat().st_mode & 0o777)
            os.fsync(stream.fileno())
        os.replace(scratch, target)
        flush_folder(target.parent)
    finally:
        with suppress(FileNotFoundError):
            scratch.unlink()


def leftovers_removed(folder: Path, name: str) -> None:
    """Remove what a writer of ``name`` that was killed has left; only while the folder is held."""
    for left in folder.glob(f".{glob.escape(name)}.*.part"):
        with suppress(OSError):
            left.unlink()


@contextmanager
def held(folder: Path, *, seconds: float = _LOCK_SECONDS) -> Iterator[None]:
    """The folder for one writer at a time; the system frees it when that writer's process ends in any way.

    Raises FolderBusyError when another holds it longer than ``seconds``.
    """
    handle = os.open(folder / _LOCK, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o666)
    try:
        _wait_for(handle, folder, seconds)
        yield
    finally:
        os.close(handle)


def _wait_for(handle: int, folder: Path, seconds: float) -> None:
    until = time.monotonic() + seconds
    while not took(handle):
        if time.monotonic() > until:
            raise FolderBusyError(
                f"{folder}: another program has been writing here for {seconds:.0f} s; close it, then save again."
            )
        time.sleep(0.02)


def hash_of(data: bytes) -> str:
    """SHA-256 of ``data`` in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def _reason(err: Exception) -> str:
    return getattr(err, "strerror", None) or str(err) or type(err).__name__
