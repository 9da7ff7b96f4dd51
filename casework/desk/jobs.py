"""Long work in a child process: it tells how far it is, can be stopped at any moment, and cannot take the page along.

A task is a function at the top of a module, called as ``task(*args, progress=say)``; its arguments and result
travel by pickle. A watching thread keeps the job's state, so that asking for it never waits.
"""

from __future__ import annotations

import atexit
import copyreg
import multiprocessing
import os
import shutil
import signal
import sys
import threading
import time
import weakref
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from pathlib import Path
from types import MappingProxyType
from typing import Any, Generic, Literal, TypeVar

from mesh_tools.errors import BowtrueError, NoAnswerError

T = TypeVar("T")
State = Literal["running", "done", "refused", "cancelled", "timed out", "crashed"]
GRACE_SECONDS = 1.5  # between asking a child to end and ending it
_SPAWN = multiprocessing.get_context("spawn")


def _read_only(table: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(table)


def _pickled(table: MappingProxyType[Any, Any]) -> tuple[Callable[..., Any], tuple[Any, ...]]:
    """Read-only tables, which records hold, travel as plain ones and are read-only again on arrival."""
    return _read_only, (dict(table),)


copyreg.pickle(MappingProxyType, _pickled)


class JobError(NoAnswerError):
    """A job ended without a result; the text is its one line."""


@dataclass(frozen=True)
class Line:
    """One line of progress and when it came, in seconds from the job's start."""

    text: str
    seconds: float


class Job(Generic[T]):
    """A task at work in a child process, whose number is ``pid``. Made by ``begun``."""

    def __init__(
        self, task: Callable[..., T], args: tuple[Any, ...], *, seconds: float, out: Path | None,
        on_change: Callable[[], None],
    ) -> None:  # fmt: skip
        self._lines: list[Line] = []
        self._state: State = "running"
        self._error, self._result = "", None
        self._stop = threading.Event()
        self._begin = time.monotonic()
        self._limit, self._out, self._on_change = seconds, out, on_change
        self._seen = frozenset(_scratch(out))
        self._inbox, outbox = _SPAWN.Pipe(duplex=False)
        self._child = _SPAWN.Process(target=_run, args=(outbox, task, args))
        self._child.start()
        self.pid = self._child.pid
        outbox.close()
        _AT_WORK.add(self)
        self._watch = threading.Thread(target=self._watched, daemon=True)
        self._watch.start()

    @property
    def state(self) -> State:
        """How the job stands."""
        return self._state

    @property
    def running(self) -> bool:
        """Whether it is still at work."""
        return self._state == "running"

    @property
    def lines(self) -> tuple[Line, ...]:
        """Progress so far."""
        return tuple(self._lines)

    @property
    def error(self) -> str:
        """The one line of a job that gave no result; empty otherwise."""
        return self._error

    def result(self) -> T:
        """What the task gave; raises JobError with the one line of a job that gave nothing, or is still at work."""
        if self._state != "done":
            raise JobError(self._error or "the work is still going on; wait for it.")
        result: T = self._result  # type: ignore[assignment]
        return result

    def waited(self, seconds: float | None = None) -> State:
        """The state after the job has ended, or after ``seconds``."""
        self._watch.join(seconds)
        return self._state

    def cancel(self, *, wait_seconds: float = 5.0) -> State:
        """Stop the child with everything it started, and remove what it left half-written."""
        self._stop.set()
        return self.waited(wait_seconds)

    def _watched(self) -> None:
        try:
            state, error = self._followed()
        except Exception as err:  # the watcher must never leave a job "running" for ever
            state, error = "crashed", f"the work was lost ({type(err).__name__}); try again."
        _end(self._child)
        self._inbox.close()
        if state != "done":
            for left in _scratch(self._out) - self._seen:
                shutil.rmtree(left, ignore_errors=True)
        self._error, self._state = error, state
        _AT_WORK.discard(self)
        self._on_change()

    def _followed(self) -> tuple[State, str]:
        """Take what the child sends until it ends; the state and the line of its end."""
        while True:
            if self._stop.is_set():
                return "cancelled", "cancelled."
            if time.monotonic() - self._begin > self._limit:
                return (
                    "timed out",
                    f"stopped after {self._limit:.0f} s without an answer; ask for less at once.",
                )
            if not wait([self._inbox, self._child.sentinel], timeout=0.05):
                continue
            kind, what = self._received()
            if kind == "progress":
                self._lines.append(Line(str(what), time.monotonic() - self._begin))
                self._on_change()
            elif kind == "done":
                self._result = what
                return "done", ""
            elif kind == "refused":
                return "refused", str(what)
            else:
                return "crashed", str(what)

    def _received(self) -> tuple[str, Any]:
        try:
            if self._inbox.poll():
                kind, what = self._inbox.recv()
                return str(kind), what
        except (EOFError, OSError):
            pass
        self._child.join(GRACE_SECONDS)
        return (
            "crashed",
            f"the work ended by itself ({_ended(self._child.exitcode)}); your case is safe: try again.",
        )


_AT_WORK: weakref.WeakSet[Job[Any]] = weakref.WeakSet()


@atexit.register
def _all_stopped() -> None:
    """No child outlives the program that began it."""
    for job in list(_AT_WORK):
        job.cancel()


def begun(
    task: Callable[..., T], *args: Any, seconds: float = 600.0, out: Path | None = None,
    on_change: Callable[[], None] = lambda: None,
) -> Job[T]:  # fmt: skip
    """Start ``task(*args, progress=say)`` in a child process.

    ``seconds``: time limit. ``out``: folder the task fills through ``casework.writing``; what a stopped child leaves
    half-written beside it is removed. ``on_change``: called in the watching thread after a line or the end.
    """
    return Job(task, args, seconds=seconds, out=out, on_change=on_change)


def _run(outbox: Connection, task: Callable[..., Any], args: tuple[Any, ...]) -> None:
    """The child: its own group of processes, gone with its parent, one message at the end."""
    if hasattr(os, "setsid"):
        os.setsid()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, _asked_to_end)
    threading.Thread(target=_gone_with_parent, daemon=True).start()
    try:
        found = task(*args, progress=lambda text: outbox.send(("progress", str(text))))
        outbox.send(("done", found))
    except BowtrueError as err:
        outbox.send(("refused", str(err)))
    except MemoryError:
        outbox.send(("crashed", "the work needs more memory than there is; reduce the scan or ask for less."))
    except Exception as err:  # told as one line, the page has no use for a traceback
        outbox.send(
            ("crashed", f"an error of the program, {type(err).__name__}: {_one_line(err)}; please report it.")
        )
    finally:
        outbox.close()


def _asked_to_end(_number: int, _frame: object) -> None:
    sys.exit(143)


def _gone_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


def _end(child: Any) -> None:
    """End the child and what it started: asked first, so that it cleans up, then at once."""
    if child.is_alive():
        child.join(0.2)
    if child.is_alive():
        child.terminate()
        child.join(GRACE_SECONDS)
    _kill_group(child.pid)
    child.join(GRACE_SECONDS)
    if child.exitcode is not None:
        child.close()


def _kill_group(pid: int | None) -> None:
    if pid is None or not hasattr(os, "killpg"):
        return
    try:
        os.killpg(pid, signal.SIGKILL)
    except (ProcessLookupError, PermissionError):
        return


def _scratch(out: Path | None) -> set[Path]:
    """Folders that ``casework.writing.filled_folder`` has open beside ``out``."""
    return set() if out is None else set(out.absolute().parent.glob(f".{out.name}.*.part"))


def _ended(code: int | None) -> str:
    if code == -9:
        return "signal 9, often for want of memory"
    return f"signal {-code}" if code is not None and code < 0 else f"exit code {code}"


def _one_line(err: BaseException) -> str:
    return " ".join(str(err).split())[:200]
