"""A program that adds visits to a file for tests that kill it: each order forks a child, so that a run is quick.

Orders on standard input: ``FIRST COUNT CHUNK NAME``. The child adds visit FIRST, FIRST + 1, ..., COUNT of them, and
says ``ok NUMBER`` after each; CHUNK bytes are written at once (0: as many as the system takes).
"""

from __future__ import annotations

import os
import sys
import time
from datetime import date, timedelta
from functools import partial
from pathlib import Path

from casework.visits import journal
from casework.visits.record import Visit

START = date(2026, 1, 1)


def visit_number(number: int, name: str) -> Visit:
    """A visit that can be told from every other."""
    return Visit(
        day=START + timedelta(days=number),
        told_hours=float(number % 24),
        notes=f"{name} {number} " + "x" * 90,
    )


def slowly(chunk: int, handle: int, data: memoryview) -> int:
    """A few bytes at a time, so that a kill meets a line half written."""
    time.sleep(2e-4)
    return os.write(handle, data[:chunk])


def add(path: Path, first: int, count: int, chunk: int, name: str, *, same_day: bool) -> None:
    """Add the visits, telling each that is confirmed."""
    if chunk:
        journal.write_some = partial(slowly, chunk)
    for number in range(first, first + count):
        visit = visit_number(number, name)
        if same_day:
            visit = visit.model_copy(update={"day": START})
        journal.append_visit(path, visit, same_day=same_day)
        os.write(1, f"ok {number}\n".encode())


def main() -> None:
    """Serve orders until standard input ends."""
    path = Path(sys.argv[1])
    os.write(1, b"ready\n")
    for order in sys.stdin:
        first, count, chunk, name = order.split()
        child = os.fork()
        if child == 0:
            add(path, int(first), int(count), int(chunk), name, same_day=name.startswith("both"))
            os._exit(0)
        os.write(1, f"pid {child}\n".encode())
        os.waitpid(child, 0)
        os.write(1, b"ended\n")


if __name__ == "__main__":
    main()
