"""Writing results so that nothing is lost or half-written: beside the target first, then renamed into place."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from mesh_tools.errors import BadValueError


@contextmanager
def filled_folder(target: Path) -> Iterator[Path]:
    """A scratch folder beside ``target`` whose files replace those of ``target`` when the block ends well.

    When the block raises, the scratch folder goes and ``target`` is as it was: not even created. Files of other
    names in ``target`` are kept. Raises BadValueError when ``target`` is a file.
    """
    if target.exists() and not target.is_dir():
        raise BadValueError(f"--out {target} is a file; give a folder.")
    parent = target.absolute().parent
    parent.mkdir(parents=True, exist_ok=True)
    scratch = Path(tempfile.mkdtemp(prefix=f".{target.name}.", suffix=".part", dir=parent))
    try:
        yield scratch
        _move_all(scratch, target)
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def _move_all(scratch: Path, target: Path) -> None:
    target.mkdir(exist_ok=True)
    for path in sorted(scratch.iterdir()):
        _flush(path)
        os.replace(path, target / path.name)


def _flush(path: Path) -> None:
    with path.open("rb+") as stream:
        os.fsync(stream.fileno())
