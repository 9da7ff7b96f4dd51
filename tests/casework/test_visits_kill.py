"""The visits' file under real kills: a program that adds visits is stopped by SIGKILL at any moment, many times.

After each kill every confirmed visit must be there, in order, once; at most one more, the one not yet confirmed; and
every byte that was there before must still be the same.
"""

from __future__ import annotations

import os
import random
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from casework.visits.journal import read_journal
from tests.casework.visit_writer import visit_number

ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.skipif(os.name == "nt", reason="SIGKILL and fork are of POSIX systems")


@contextmanager
def writer(path: Path) -> Iterator[subprocess.Popen[bytes]]:
    words = [sys.executable, "-m", "tests.casework.visit_writer", str(path)]
    with subprocess.Popen(
        words, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0
    ) as program:
        try:
            assert _line(program) == "ready"
            yield program
        finally:
            assert program.stdin is not None
            program.stdin.close()
            program.wait(timeout=20)


def _line(program: subprocess.Popen[bytes]) -> str:
    assert program.stdout is not None
    ready, _, _ = select.select([program.stdout], [], [], 30.0)
    assert ready, "the writer says nothing"
    return program.stdout.readline().decode().strip()


def _order(program: subprocess.Popen[bytes], *, first: int, count: int, chunk: int, name: str = "v") -> int:
    assert program.stdin is not None
    program.stdin.write(f"{first} {count} {chunk} {name}\n".encode())
    confirmed = []
    while not (line := _line(program)).startswith("pid"):
        confirmed.append(line)
    assert all(c.startswith("ok") for c in confirmed)
    return int(line.split()[1])


def _kill_run(program: subprocess.Popen[bytes], first: int, chunk: int, wait_s: float) -> int:
    """One run stopped after ``wait_s``; how many visits it confirmed in all."""
    pid = _order(program, first=first, count=100_000, chunk=chunk)
    time.sleep(wait_s)
    os.kill(pid, signal.SIGKILL)
    confirmed = first
    while (line := _line(program)) != "ended":
        confirmed = int(line.split()[1]) + 1
    return confirmed


def _killed_many_times(path: Path, runs: int) -> None:
    dice = random.Random(11)
    confirmed, torn, extra, before = 0, 0, 0, b""
    with writer(path) as program:
        for k in range(runs):
            chunk = (0, 12, 25, 12)[k % 4]
            confirmed = max(confirmed, _kill_run(program, confirmed, chunk, dice.uniform(0.0, 0.03)))
            data = path.read_bytes() if path.exists() else b""
            journal = read_journal(path)
            assert len(journal.visits) - confirmed in (0, 1)
            for number, visit in enumerate(journal.visits):
                assert visit == visit_number(number, "v")
            assert data[: len(before)] == before
            before = data[: journal.whole_bytes]
            torn += bool(journal.rest)
            extra += len(journal.visits) - confirmed
    assert confirmed > runs / 12  # else nothing was tried
    assert torn > runs / 12  # else no kill met a line half written
    kept = list(path.parent.glob("*.interrupted-*.txt"))
    assert kept
    assert all(p.read_bytes()[:10] in b'{"before":' and b"\n" not in p.read_bytes() for p in kept)


def test_nothing_is_lost_or_doubled_by_sixty_kills(tmp_path: Path):
    _killed_many_times(tmp_path / "case.visits.jsonl", 60)


@pytest.mark.slow
def test_nothing_is_lost_or_doubled_by_many_kills(tmp_path: Path):
    _killed_many_times(tmp_path / "case.visits.jsonl", 600)


def test_two_writers_at_once_lose_nothing(tmp_path: Path):
    path, count = tmp_path / "case.visits.jsonl", 25
    with writer(path) as one, writer(path) as other:
        names = ("both-one", "both-other")
        for program, name in zip((one, other), names, strict=True):
            assert program.stdin is not None
            program.stdin.write(f"0 {count} 5 {name}\n".encode())
        for program in (one, other):
            while _line(program) != "ended":
                pass
    journal = read_journal(path)
    assert not journal.rest
    for name in names:
        mine = [v.notes.split()[1] for v in journal.visits if v.notes.startswith(name + " ")]
        assert mine == [str(n) for n in range(count)]
    assert len(journal.visits) == 2 * count
