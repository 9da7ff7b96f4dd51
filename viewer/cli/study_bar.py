"""How far a study is: a bar with rate and time left on a terminal, a line now and then elsewhere."""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from casework.study.study import StudyCount

_WIDTH = 24


class StudyBar:
    """Call it with every new count; shows on standard error."""

    def __init__(self) -> None:
        self._start = time.monotonic()
        self._live = sys.stderr.isatty()
        self._shown = 0.0

    def __enter__(self) -> StudyBar:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._live and self._shown:
            print(file=sys.stderr)

    def __call__(self, count: StudyCount) -> None:
        """Show ``count``, not too often."""
        now = time.monotonic()
        last = count.answered == count.teeth
        if not last and now - self._shown < (0.2 if self._live else 30.0):
            return
        self._shown = now
        text = bar_text(count, now - self._start)
        print(
            f"\r{text}\033[K" if self._live else text,
            end="" if self._live else "\n",
            file=sys.stderr,
            flush=True,
        )


def bar_text(count: StudyCount, seconds: float) -> str:
    """One line: bar, teeth, failures, teeth a minute, time left."""
    share = count.answered / max(count.teeth, 1)
    full = int(share * _WIDTH)
    fresh = max(count.answered - count.kept, 0)
    rate = 60.0 * fresh / seconds if seconds > 0.0 else 0.0
    left = (count.teeth - count.answered) / rate if rate > 0.0 else None
    tail = "" if left is None else f", {rate:.0f} a minute, {_clock(60.0 * left)} left"
    failed = f", {count.failed} failed" if count.failed else ""
    return f"[{'#' * full}{'.' * (_WIDTH - full)}] {count.answered} of {count.teeth} teeth{failed}{tail}"


def _clock(seconds: float) -> str:
    whole = int(seconds)
    return f"{whole // 3600}:{whole % 3600 // 60:02d}:{whole % 60:02d}"
