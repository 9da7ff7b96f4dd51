"""Folders under broken machines: kills at any moment, a full disk, a place that may not be written, two writers."""

from __future__ import annotations

import errno
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from casework import writing
from casework.locking import InUseError, locked
from casework.writing import filled_folder
from mesh_tools.errors import BadValueError
from mesh_tools.write import UnwritableError
from tests.trust.folder_writer import NAMES, number_in

ROOT = Path(__file__).parents[2]
posix = pytest.mark.skipif(os.name == "nt", reason="signals, mounts and file limits are of POSIX systems")


def hidden(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir() if p.name.startswith("."))


def written(target: Path, text: str = "new") -> None:
    with filled_folder(target) as scratch:
        (scratch / "a.txt").write_text(text)


def killed_once(target: Path, first: int, wait_s: float) -> int:
    """Rounds confirmed by a writer that is killed ``wait_s`` after it is ready."""
    words = [sys.executable, "-m", "tests.trust.folder_writer", str(target), str(first), "100000"]
    with subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE) as program:
        assert program.stdout is not None
        assert program.stdout.readline() == b"ready\n"
        time.sleep(wait_s)
        program.send_signal(signal.SIGKILL)
        lines = program.stdout.read().split(b"\n")
    return max([first - 1, *(int(line.split()[1]) for line in lines if line.startswith(b"ok "))])


def killed_many_times(folder: Path, runs: int) -> None:
    target, dice = folder / "plan", random.Random(5)
    done, confirmed, left, moving = 0, 0, 0, 0
    for _ in range(runs):
        ended = killed_once(target, done + 1, dice.uniform(0.0, 0.08))
        confirmed = ended if ended > done else confirmed
        found = [number_in(p.read_bytes()) for p in sorted(target.iterdir())] if target.exists() else []
        assert len(found) in (0, len(NAMES))
        assert all(n >= confirmed for n in found)  # what was confirmed is there, whole, in every file
        assert not found or max(found) - min(found) <= 1  # and never more than one run newer in some
        assert max(found, default=0) <= ended + 1
        left += any(name.endswith((".part", ".ready")) for name in hidden(folder))
        moving += len(set(found)) == 2
        done = max([ended, *found])
        assert len([n for n in hidden(folder) if n.endswith((".part", ".ready"))]) <= 1
    with filled_folder(target) as scratch:  # the next run, even one that brings nothing, finishes and sweeps
        assert len(hidden(folder)) == 2  # its own scratch folder and lock
        assert scratch.exists()
    assert hidden(folder) == []
    assert len({number_in(p.read_bytes()) for p in target.iterdir()}) == 1
    assert left > runs / 6  # else no kill met a run at work
    assert runs < 20 or moving > 0  # else no kill met the renames


@posix
def test_six_kills_leave_old_or_new_files(tmp_path: Path) -> None:
    killed_many_times(tmp_path, 6)


@posix
@pytest.mark.slow
def test_many_kills_leave_old_or_new_files(tmp_path: Path) -> None:
    killed_many_times(tmp_path, 120)


def test_what_a_dead_run_left_is_swept_and_others_work_is_not(tmp_path: Path) -> None:
    for name in (".out.abcdefgh.part", ".out.x.abcdefgh.part", ".output.abcdefgh.part"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "a.txt").write_text("half")
    written(tmp_path / "out")
    assert hidden(tmp_path) == [".out.x.abcdefgh.part", ".output.abcdefgh.part"]


def test_a_run_that_was_ready_is_finished_by_the_next_one_even_if_that_fails(tmp_path: Path) -> None:
    written(tmp_path / "out", "old")
    (tmp_path / ".out.abcdefgh.ready").mkdir()
    (tmp_path / ".out.abcdefgh.ready" / "a.txt").write_text("ready")
    with pytest.raises(RuntimeError, match="stopped"), filled_folder(tmp_path / "out"):
        raise RuntimeError("stopped")
    assert (tmp_path / "out" / "a.txt").read_text() == "ready"
    assert hidden(tmp_path) == []


def test_two_writers_one_is_told(tmp_path: Path) -> None:
    target = tmp_path / "out"
    with filled_folder(target) as scratch:
        (scratch / "a.txt").write_text("first")
        with pytest.raises(InUseError, match="out is being written by another run"), filled_folder(target):
            pass
        assert scratch.exists()  # the second one swept nothing
    assert (target / "a.txt").read_text() == "first"
    assert hidden(tmp_path) == []


@posix
def test_a_lock_that_went_away_is_taken_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its holder took the file away after our opening: what we hold then is nothing that others see."""
    from casework import locking

    take, path = locking._take, tmp_path / "lock"
    taken: list[int] = []

    def slow(stream: object, thing: str) -> None:
        take(stream, thing)  # type: ignore[arg-type]
        taken.append(1)
        if len(taken) == 1:
            path.unlink()

    monkeypatch.setattr(locking, "_take", slow)
    with locked(path, thing="it", left_behind=False):
        assert len(taken) == 2
        monkeypatch.setattr(locking, "_take", take)
        with pytest.raises(InUseError), locked(path, thing="it"):
            pass
    assert not path.exists()


@contextmanager
def tiny_disk(folder: Path, size: str) -> Iterator[Path]:
    """A file system of ``size`` mounted on ``folder``; the test is skipped where that is not allowed."""
    folder.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)]
    try:
        done = subprocess.run(words, check=False, capture_output=True)
    except FileNotFoundError:
        pytest.skip("no mount command here")
    if done.returncode:
        pytest.skip("mounting a small file system is not allowed here; the test with a file limit remains")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)


def command(out: Path, *more: str, limit: int | None = None) -> subprocess.CompletedProcess[str]:
    """``bowtrue demo`` into ``out`` in a process of its own; ``limit``: bytes that a file may have."""
    first = (
        "" if limit is None else f"import resource as r; r.setrlimit(r.RLIMIT_FSIZE, ({limit}, {limit})); "
    )
    code = first + "from viewer.cli import main; raise SystemExit(main())"
    words = [sys.executable, "-c", code, "demo", "--out", str(out), *more]
    return subprocess.run(words, cwd=ROOT, check=False, capture_output=True, text=True, timeout=300)


def one_error(done: subprocess.CompletedProcess[str]) -> str:
    lines = [line for line in done.stderr.splitlines() if "error" in line]
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert len(lines) == 1
    return lines[0]


@posix
def test_a_file_limit_gives_one_line(tmp_path: Path) -> None:
    line = one_error(command(tmp_path / "out", "--no-pictures", limit=2000))
    assert "out: cannot be written (File too large)" in line
    assert list(tmp_path.iterdir()) == []


@posix
@pytest.mark.slow
@pytest.mark.parametrize("size", ["8k", "60k", "1m"])
def test_a_full_disk_gives_one_line_wherever_it_fills(tmp_path: Path, size: str) -> None:
    with tiny_disk(tmp_path / "disk", size) as disk:
        line = one_error(command(disk / "out"))
        assert "cannot be written" in line
        assert "No space left" in line
        assert list(disk.iterdir()) == []


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EIO, errno.EROFS])
def test_errors_of_the_disk_leave_the_old_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    target = tmp_path / "out"
    written(target, "old")

    def full(path: Path) -> None:
        raise OSError(code, os.strerror(code), str(path))

    monkeypatch.setattr(writing, "_flush", full)
    with pytest.raises(UnwritableError, match=r"out: cannot be written \(") as caught:
        written(target, "new")
    assert os.strerror(code) in str(caught.value)
    assert "\n" not in str(caught.value)
    assert (target / "a.txt").read_text() == "old"
    assert hidden(tmp_path) == []


def test_places_that_cannot_be_folders(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from viewer.cli import main

    (tmp_path / "file").write_text("mine")
    for out, words in (
        (tmp_path / "file", "is a file; give a folder"),
        (tmp_path / "file" / "out", "file is a file where a folder must be"),
        (tmp_path / ("x" * 300), "File name too long"),
    ):
        code = main(["demo", "--no-pictures", "--out", str(out)])
        lines = [line for line in capsys.readouterr().err.splitlines() if "error" in line]
        assert code == 2
        assert len(lines) == 1
        assert words in lines[0]
    assert (tmp_path / "file").read_text() == "mine"
    assert [p.name for p in tmp_path.iterdir()] == ["file"]
    (tmp_path / "out" / "a.txt").mkdir(parents=True)
    with pytest.raises(BadValueError, match=r"a\.txt is a folder; a file of that name is to be written"):
        written(tmp_path / "out")
    assert hidden(tmp_path) == []


@posix
def test_a_folder_that_may_not_be_written(tmp_path: Path) -> None:
    """Modes where they bind; the super-user ignores them and gets a read-only mount instead."""
    shut = tmp_path / "shut"
    if os.geteuid() == 0:
        with tiny_disk(shut, "64k"):
            done = subprocess.run(["mount", "-o", "remount,ro", str(shut)], check=False, capture_output=True)
            if done.returncode:
                pytest.skip("remounting read-only is not allowed here")
            with pytest.raises(
                UnwritableError, match=r"out: cannot be written \((Read-only|Permission denied)"
            ):
                written(shut / "out")
        return
    shut.mkdir()
    shut.chmod(0o555)
    try:
        with pytest.raises(UnwritableError, match="Permission denied"):
            written(shut / "out")
    finally:
        shut.chmod(0o755)


def test_an_error_of_reading_is_not_told_as_one_of_writing(tmp_path: Path) -> None:
    with pytest.raises(PermissionError), filled_folder(tmp_path / "a" / "out"):
        raise PermissionError(errno.EACCES, "no", "/somewhere/else")
    with suppress(BadValueError):
        written(tmp_path / "a" / "out")
    assert (tmp_path / "a" / "out" / "a.txt").exists()
