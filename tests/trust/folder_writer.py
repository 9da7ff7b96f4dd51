"""A program that writes one folder again and again, for tests that kill it: ``FOLDER FIRST COUNT``.

Each round writes the same number into every file, so that a mixture would show. ``slow``: the renames are spread out.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

from casework import writing

NAMES = ("bow.csv", "plan.json", "report.html", "scene.html")
SIZE = 20_000


def content(number: int) -> bytes:
    """What every file of round ``number`` holds."""
    return f"{number}\n".encode() * (SIZE // (len(str(number)) + 1)) + b"end"


def number_in(data: bytes) -> int:
    """The round that ``data`` is of; raises AssertionError unless it is whole."""
    number = int(data.split(b"\n", 1)[0])
    assert data == content(number)
    return number


def main() -> None:
    """Write rounds, saying each that is done."""
    folder, first, count = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    replace = os.replace

    def slow_replace(one: Path, other: Path) -> None:
        time.sleep(0.002)
        replace(one, other)

    writing.os.replace = slow_replace  # type: ignore[attr-defined]
    os.write(1, b"ready\n")
    for number in range(first, first + count):
        with writing.filled_folder(folder) as scratch:
            for name in NAMES:
                (scratch / name).write_bytes(content(number))
        os.write(1, f"ok {number}\n".encode())


if __name__ == "__main__":
    main()
