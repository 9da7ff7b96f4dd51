"""Teeth estimated by a Dask cluster: the same function on other machines, which see the meshes by the same paths."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import Any

from casework.study.one_tooth import ToothAnswer, answer, failed
from casework.study.pool import Task
from casework.study.settings import StudySettings
from mesh_tools.errors import BadValueError

_AHEAD = 4  # tasks in work per thread of the cluster: keeps it busy, and memory flat


class NoClusterError(BadValueError, ConnectionError):
    """The cluster cannot be reached, or Dask is not installed."""


def cluster_answers(
    tasks: Iterable[Task], settings: StudySettings, *, scheduler: str, patience: str = "20s"
) -> Iterator[ToothAnswer]:
    """Every task's answer as it comes, in any order; what a dead worker had is tried again elsewhere by the
    scheduler, a mesh that goes on killing workers becomes a failed record. Raises NoClusterError."""
    client = _connected(scheduler, patience)
    try:
        yield from _answers(client, iter(tasks), settings)
    finally:
        client.close()


def _connected(scheduler: str, patience: str) -> Any:
    try:
        from distributed import Client
    except ImportError as err:
        raise NoClusterError(
            "--scheduler needs Dask, which is not installed; pip install 'bowtrue[cluster]'."
        ) from err
    try:
        return Client(scheduler, timeout=patience, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as err:
        reason = " ".join(str(err).split()) or type(err).__name__
        raise NoClusterError(f"no Dask scheduler at {scheduler} ({reason}); check the address.") from err


def _answers(client: Any, waiting: Iterator[Task], settings: StudySettings) -> Iterator[ToothAnswer]:
    from distributed import as_completed

    threads = max(1, sum(client.nthreads().values()))
    running: dict[Any, Task] = {}
    queue = as_completed(loop=client.loop)

    def feed(count: int) -> None:
        for task in islice(waiting, count):
            future = client.submit(answer, task.row, settings, task.known_key, pure=False, retries=1)
            running[future] = task
            queue.add(future)

    feed(_AHEAD * threads)
    for future in queue:
        task = running.pop(future)
        error = future.exception()
        yield future.result() if error is None else _lost(task, error)
        future.release()
        feed(1)


def _lost(task: Task, error: BaseException) -> ToothAnswer:
    why = (
        f"killed its worker again and again ({type(error).__name__}); skipped: use a coarser mesh, or give the "
        "cluster's workers more memory."
    )
    return ToothAnswer(task.row.name, "", [failed(task.row, why)], 0.0)
