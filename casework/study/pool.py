"""Teeth estimated by a pool of processes on this machine. A mesh that kills or hangs its worker costs that row only.

A dead worker breaks the whole pool of the standard library: the pool is made anew, and the teeth that were in work then
are tried again, each alone, so that the one to blame is known. At most ``2 * workers`` teeth are in work at a time, so
memory does not grow with the study.
"""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures import TimeoutError as TooLong
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass

from casework.study.one_tooth import ToothAnswer, answer, failed
from casework.study.rows import StudyRow
from casework.study.settings import StudySettings

Running = dict["Future[ToothAnswer]", "Task"]


@dataclass(frozen=True)
class Task:
    """A row to answer, and the key of the answer already known (empty: none)."""

    row: StudyRow
    known_key: str = ""


@dataclass(frozen=True)
class Bounds:
    """What a worker may use: memory in MB (address space; held where the system can) and seconds without an answer."""

    memory_mb: int = 4096
    seconds: float = 600.0


def pool_answers(
    tasks: Iterable[Task], settings: StudySettings, *, workers: int, bounds: Bounds | None = None
) -> Iterator[ToothAnswer]:
    """Every task's answer as it comes, in any order."""
    limits, waiting = bounds or Bounds(), iter(tasks)
    while True:
        suspects = yield from _until_broken(waiting, settings, workers, limits)
        if not suspects:
            return
        for task in suspects:
            yield _alone(task, settings, limits)


def _until_broken(
    waiting: Iterator[Task], settings: StudySettings, workers: int, bounds: Bounds
) -> Generator[ToothAnswer, None, list[Task]]:
    """Answers until no task is left; returns the tasks in work when the pool broke or stood still (none: done)."""
    pool, running, last = _pool(workers, bounds), Running(), time.monotonic()
    try:
        while True:
            lost = _filled(pool, running, waiting, settings, most=2 * workers)
            if not running and lost is None:
                return []
            done, _ = wait(running, timeout=1.0, return_when=FIRST_COMPLETED)
            sound = [f for f in done if f.exception() is None]
            for future in sound:
                del running[future]
                yield future.result()
            last = time.monotonic() if sound else last
            if lost or len(sound) < len(done) or time.monotonic() - last > bounds.seconds:
                return [*running.values(), *([lost] if lost else [])]
    finally:
        _end(pool)


def _filled(
    pool: ProcessPoolExecutor, running: Running, waiting: Iterator[Task], settings: StudySettings, *, most: int
) -> Task | None:  # fmt: skip
    """Give the pool work up to ``most`` tasks; returns the task that a broken pool would not take."""
    while len(running) < most:
        task = next(waiting, None)
        if task is None:
            return None
        try:
            running[pool.submit(answer, task.row, settings, task.known_key)] = task
        except BrokenProcessPool:
            return task
    return None


def _alone(task: Task, settings: StudySettings, bounds: Bounds) -> ToothAnswer:
    """The answer of a task in a process of its own, or a failed record that says how the process ended."""
    pool = _pool(1, bounds)
    try:
        return pool.submit(answer, task.row, settings, task.known_key).result(timeout=bounds.seconds)
    except TooLong:
        why = (
            f"took longer than {bounds.seconds:g} s and was stopped; use a coarser mesh or give it more time."
        )
    except BrokenProcessPool:
        why = f"killed its worker twice (a crash, or more than {bounds.memory_mb} MB); skipped: use a coarser mesh."
    finally:
        _end(pool)
    return ToothAnswer(task.row.name, "", [failed(task.row, why)], 0.0)


def _pool(workers: int, bounds: Bounds) -> ProcessPoolExecutor:
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(
        workers, mp_context=context, initializer=_prepared, initargs=(bounds.memory_mb,)
    )


def _prepared(memory_mb: int) -> None:
    """In a new worker: hold its memory, and leave the interrupt key to the parent."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with suppress(ImportError, ValueError, OSError):
        import resource

        bound = memory_mb * 2**20
        resource.setrlimit(resource.RLIMIT_AS, (bound, bound))


def _end(pool: ProcessPoolExecutor) -> None:
    """End the pool now, whatever its workers are at."""
    workers = list((getattr(pool, "_processes", None) or {}).values())
    pool.shutdown(wait=False, cancel_futures=True)
    for worker in workers:
        with suppress(Exception):
            worker.kill()
