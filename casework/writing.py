"""Writing results so that nothing is lost or half-written: beside the target first, then renamed into place.

A folder is written by one run at a time, in three steps: a scratch folder ``.NAME.XXXXXXXX.part`` beside it is filled
and carried to the disk; it is renamed to ``.NAME.XXXXXXXX.ready``; its files are renamed into the folder (a folder that
is not there yet is the scratch folder itself, renamed). A run that was killed leaves a scratch folder: the next run
sweeps one that was not ready, and finishes one that was.
"""

from __future__ import annotations

import errno
import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from casework.locking import locked
from mesh_tools.errors import BadValueError
from mesh_tools.write import UnwritableError

_FULL = {errno.ENOSPC, errno.EFBIG, errno.EIO, getattr(errno, "EDQUOT", errno.ENOSPC)}
_BARRED = {errno.EROFS, errno.EACCES, errno.EPERM, errno.ENOTDIR, errno.EEXIST, errno.ENAMETOOLONG}


@contextmanager
def filled_folder(target: Path) -> Iterator[Path]:
    """A scratch folder beside ``target`` whose files replace those of ``target`` when the block ends well.

    When the block raises, the scratch folder goes and ``target`` is as it was: not even created. Files of other
    names in ``target`` are kept. Raises BadValueError when ``target`` is a file, InUseError while another run writes
    it, UnwritableError for a disk that is full or may not be written.
    """
    check_target(target)
    place = target.absolute()
    with _told(target):
        place.parent.mkdir(parents=True, exist_ok=True)
        with locked(place.with_name(f".{place.name}.lock"), thing=str(target), left_behind=False):
            _swept(place)
            yield from _filled(place)


def check_target(target: Path) -> None:
    """Refuse, before any work is done for it, a folder that could not be made; raises as ``filled_folder`` does."""
    place = target.absolute()
    with _told(target):
        if place.exists() and not place.is_dir():
            raise BadValueError(f"--out {target} is a file; give a folder.")
        above = next(p for p in (place, *place.parents) if p.exists())
        if not above.is_dir():
            raise OSError(errno.ENOTDIR, "", str(above))
        if not os.access(above, os.W_OK):
            raise OSError(errno.EACCES, "", str(above))


def _filled(place: Path) -> Iterator[Path]:
    scratch = Path(tempfile.mkdtemp(prefix=f".{place.name}.", suffix=".part", dir=place.parent))
    ready = scratch.with_suffix(".ready")
    try:
        yield scratch
        for path in scratch.iterdir():
            if (place / path.name).is_dir():
                raise BadValueError(f"{place / path.name} is a folder; a file of that name is to be written.")
            _flush(path)
        scratch.chmod(0o755 if os.name == "nt" else _usual_mode())
        scratch.rename(ready)
        _moved(ready, place)
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def _swept(place: Path) -> None:
    """What killed runs have left beside ``place``: finished where it was ready, else removed. The lock must be held."""
    left = re.compile(rf"\.{re.escape(place.name)}\.[a-z0-9_]{{8}}\.(part|ready)")
    for path in sorted(place.parent.iterdir()):
        if left.fullmatch(path.name) and path.is_dir():
            if path.suffix == ".ready":
                _moved(path, place)
            shutil.rmtree(path, ignore_errors=True)


def _moved(ready: Path, place: Path) -> None:
    """The files of ``ready`` into ``place``; the whole folder at once where ``place`` is not there yet."""
    if place.exists():
        for path in sorted(ready.iterdir()):
            os.replace(path, place / path.name)
        ready.rmdir()
    else:
        ready.rename(place)
    flush_folder(place)
    flush_folder(place.parent)


@contextmanager
def _told(target: Path) -> Iterator[None]:
    """An error of the disk as one line that names the folder asked for."""
    try:
        yield
    except UnwritableError:
        raise
    except OSError as err:
        place = target.absolute()
        ours = (
            Path(str(err.filename)) in (place, *place.parents)
            or place.parent in Path(str(err.filename)).parents
        )
        if err.errno not in _FULL and not (err.errno in _BARRED and ours):
            raise
        why = os.strerror(err.errno or 0)
        if err.errno in (errno.EEXIST, errno.ENOTDIR):
            why = f"{err.filename} is a file where a folder must be"
        raise UnwritableError(
            f"{target}: cannot be written ({why}); nothing half-written is left. Make room, or give another folder."
        ) from err


def _usual_mode() -> int:
    """The mode that a new folder has."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o777 & ~mask


def _flush(path: Path) -> None:
    with path.open("rb+") as stream:
        os.fsync(stream.fileno())


def flush_folder(folder: Path) -> None:
    """Carry the names in ``folder`` to the disk, where the system can."""
    if os.name == "nt":  # pragma: no cover
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
