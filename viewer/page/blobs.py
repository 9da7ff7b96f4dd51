"""Bytes that a tab's browser fetches by an address nobody can guess: glTF layers and files to take away."""

from __future__ import annotations

import secrets
from collections import OrderedDict
from dataclasses import dataclass
from threading import Lock

MOST_BYTES = 256_000_000


@dataclass(frozen=True)
class Blob:
    """Bytes with their media type; ``file_name`` when they are to be saved."""

    data: bytes
    media_type: str
    file_name: str = ""


class Blobs:
    """Blobs by key; the oldest go when all together grow beyond ``most_bytes``."""

    def __init__(self, *, most_bytes: int = MOST_BYTES) -> None:
        self._kept: OrderedDict[str, Blob] = OrderedDict()
        self._lock, self._most, self._size = Lock(), most_bytes, 0

    def put(self, data: bytes, media_type: str, *, file_name: str = "") -> str:
        """Keep ``data``; returns its address on the page's own server."""
        key = secrets.token_urlsafe(18)
        with self._lock:
            self._kept[key] = Blob(data, media_type, file_name)
            self._size += len(data)
            while self._size > self._most and len(self._kept) > 1:
                self._size -= len(self._kept.popitem(last=False)[1].data)
        return f"/blob/{key}"

    def get(self, key: str) -> Blob | None:
        """The blob of ``key``, or None."""
        with self._lock:
            return self._kept.get(key)
