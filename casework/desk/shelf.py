"""What has been read, estimated and fitted once, kept by what it was made from."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from pathlib import Path
from typing import Any, TypeVar

from mesh_tools.errors import BowtrueError
from mesh_tools.read import sha256_of

T = TypeVar("T")
KEPT_OF_A_KIND = 24


class Shelf:
    """Results by kind and key, the most recently used of each kind; refusals are kept too, and raised again.

    May be used from several threads: two that want the same thing at once both make it.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kinds: dict[str, OrderedDict[Hashable, Any]] = {}
        self.made: dict[str, int] = {}  # how often each kind was made and not found: for tests and benchmarks

    def kept(self, kind: str, key: Hashable, make: Callable[[], T]) -> T:
        """What ``make`` gave for ``key`` before, or gives now. Raises the BowtrueError it raised."""
        with self._lock:
            row = self._kinds.setdefault(kind, OrderedDict())
            if key in row:
                row.move_to_end(key)
                known: T = _given(row[key])
                return known
        try:
            found: Any = make()
        except BowtrueError as err:
            found = _Refusal(err)
        self.put(kind, key, found)
        result: T = _given(found)
        return result

    def put(self, kind: str, key: Hashable, found: Any) -> None:
        """Keep ``found``, made elsewhere (such as in a child process)."""
        with self._lock:
            row = self._kinds.setdefault(kind, OrderedDict())
            row[key] = found
            row.move_to_end(key)
            self.made[kind] = self.made.get(kind, 0) + 1
            while len(row) > KEPT_OF_A_KIND:
                row.popitem(last=False)

    def has(self, kind: str, key: Hashable) -> bool:
        """Whether ``key`` was made and answered."""
        with self._lock:
            row = self._kinds.get(kind)
            return row is not None and key in row and not isinstance(row[key], _Refusal)

    def sha256(self, path: Path) -> str:
        """SHA-256 of a file, hashed again only when its size, time or place on the disk has changed."""
        try:
            seen = path.stat()
        except OSError:
            return sha256_of(path)
        key = (str(path), seen.st_size, seen.st_mtime_ns, seen.st_ino)
        return self.kept("hash", key, lambda: sha256_of(path))


class _Refusal:
    def __init__(self, error: BowtrueError) -> None:
        self.error = error


def _given(found: Any) -> Any:
    if isinstance(found, _Refusal):
        raise found.error.with_traceback(None)
    return found
