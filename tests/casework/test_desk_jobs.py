"""Work in a child process: its lines, its end, its death. Real children, really killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pytest

from casework.desk.draft import case_of, opened
from casework.desk.jobs import Job, JobError, begun
from casework.desk.tasks import planned
from casework.planning import plan_case, with_choices
from demo_meshes import demo_folder
from mechanics.sides import SIDES
from tests.casework.desk_tasks import (
    crashing,
    deaf,
    doubled,
    failing,
    half_written,
    not_to_be_sent,
    refusing,
    shot,
    sleeping,
    with_child,
)

SOON = 30.0


def at_line(job: Job[Any], count: int = 1) -> str:
    """The ``count``-th line of a job, waited for."""
    until = time.monotonic() + SOON
    while len(job.lines) < count:
        assert job.running, job.error
        assert time.monotonic() < until
        time.sleep(0.01)
    return job.lines[count - 1].text


def gone(pid: int) -> bool:
    """Whether a process is dead within a second or two."""
    for _ in range(200):
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return True
        if Path(f"/proc/{pid}/stat").exists() and Path(f"/proc/{pid}/stat").read_text().split()[2] == "Z":
            return True
        time.sleep(0.01)
    return False


def test_a_task_gives_lines_and_a_result():
    told: list[int] = []
    job = begun(doubled, 21, on_change=lambda: told.append(1))
    assert job.waited(SOON) == "done"
    assert [line.text for line in job.lines] == ["one", "two"]
    assert job.result() == {"twice": 42}
    assert isinstance(job.result(), MappingProxyType)
    assert len(told) == 3
    assert job.cancel() == "done"  # too late: what is done stays done
    assert job.pid is not None
    assert gone(job.pid)


@pytest.mark.parametrize(
    ("task", "state", "told"),
    [
        (refusing, "refused", r"^the tooth is upside down; turn it\.$"),
        (failing, "crashed", r"^an error of the program, KeyError: 'lost'; please report it\.$"),
        (not_to_be_sent, "crashed", r"^an error of the program, .*pickle"),
        (
            shot,
            "crashed",
            r"^the work ended by itself \(signal 9, often for want of memory\); your case is safe",
        ),
        (crashing, "crashed", r"^the work ended by itself \(signal 11\); your case is safe: try again\.$"),
    ],
)
def test_a_child_that_fails_or_dies_gives_one_line(task: Any, state: str, told: str):
    job = begun(task)
    assert job.waited(SOON) == state
    with pytest.raises(JobError, match=told) as caught:
        job.result()
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("task", [sleeping, pytest.param(deaf, marks=pytest.mark.slow)])
def test_cancel_ends_the_child_soon_even_one_that_does_not_listen(task: Any):
    job = begun(task)
    at_line(job)
    with pytest.raises(JobError, match="still going on"):
        job.result()
    start = time.monotonic()
    assert job.cancel() == "cancelled"
    assert time.monotonic() - start < 5.0
    assert gone(job.pid)
    with pytest.raises(JobError, match=r"^cancelled\.$"):
        job.result()


def test_cancel_before_the_child_has_begun():
    job = begun(sleeping)
    assert job.cancel() == "cancelled"
    assert gone(job.pid)


def test_cancel_takes_the_childs_children_along():
    job = begun(with_child)
    grandchild = int(at_line(job))
    assert job.cancel() == "cancelled"
    assert gone(job.pid)
    assert gone(grandchild)


def test_what_a_killed_child_left_half_written_is_removed(tmp_path: Path):
    out = tmp_path / "plan"
    (tmp_path / ".plan.of-another.part").mkdir()
    job = begun(half_written, out, out=out)
    at_line(job)
    assert len(list(tmp_path.glob(".plan.*.part"))) == 2
    assert job.cancel() == "cancelled"
    left = [p.name for p in tmp_path.iterdir() if p.name != ".plan.lock"]  # an empty lock that nobody holds
    assert left == [".plan.of-another.part"]


def test_a_job_over_its_time_is_stopped():
    job = begun(sleeping, seconds=1.0)
    assert job.waited(SOON) == "timed out"
    assert job.error == "stopped after 1 s without an answer; ask for less at once."
    assert gone(job.pid)


PARENT = """
import sys, time
from casework.desk.jobs import begun
from tests.casework.desk_tasks import sleeping

if __name__ == "__main__":
    job = begun(sleeping)
    while not job.lines:
        time.sleep(0.01)
    print(job.pid, flush=True)
    if sys.argv[1] == "hang":
        time.sleep(600)
"""


@pytest.mark.parametrize("way", ["end", "hang"])
def test_no_child_outlives_the_program_that_began_it(tmp_path: Path, way: str):
    script = tmp_path / "parent.py"
    script.write_text(PARENT)
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
    parent = subprocess.Popen([sys.executable, str(script), way], stdout=subprocess.PIPE, env=environment)
    assert parent.stdout is not None
    child = int(parent.stdout.readline())
    if way == "hang":
        parent.kill()
    assert parent.wait(SOON) == (-signal.SIGKILL if way == "hang" else 0)
    parent.stdout.close()
    assert gone(child)


@pytest.mark.slow
def test_a_plan_made_in_a_child_is_the_plan():
    draft = opened(demo_folder() / "case.toml")
    case = with_choices(case_of(draft), rigid_bow=False, ideal_tubes=False, sampled=False)
    job = begun(planned, case, draft.folder)
    here = plan_case(case, draft.folder)
    assert job.waited(60.0) == "done", job.error
    for side in SIDES:
        assert job.result().sides[side].bend_deg == pytest.approx(here.sides[side].bend_deg, abs=1e-9)
    assert job.lines[0].text == "reading the scans"
