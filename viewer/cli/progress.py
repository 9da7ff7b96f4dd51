"""Progress lines on standard error for work over a second."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager


class Progress:
    """Prints each step's name as it starts when the work has gone on for more than a second."""

    def __init__(self, *, quiet: bool = False) -> None:
        self._start = time.monotonic()
        self._quiet = quiet

    def __call__(self, step: str) -> None:
        """Say that ``step`` starts."""
        if not self._quiet and sys.stderr.isatty():
            print(f"  [{time.monotonic() - self._start:5.1f} s] {step}", file=sys.stderr, flush=True)

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Say that ``name`` starts and let it run."""
        self(name)
        yield
