"""Every bad input through the real command: exit code 2, its one line, no traceback, no warning, nothing written."""

from __future__ import annotations

import os
import subprocess
import sys
import tracemalloc
from pathlib import Path

import pytest

from casework.desk.uploads import UploadError, arrived
from fuzz.doors import MESH_DOORS
from fuzz.seeds import CASE, seeds
from mesh_tools.errors import BadFileError
from mesh_tools.read import read_surface
from tests.trust.bad_files import MOST_LIED, Bad, bad_files
from viewer.cli import main

ROOT = Path(__file__).parents[2]
BAD = bad_files()
LYING = [b for b in BAD if b.door in MESH_DOORS and "lie" in b.fault]


def command(bad: Bad, folder: Path) -> list[str]:
    """Write the bad file into ``folder`` and say the words of the command that reads it."""
    ending = {"case": "toml", "measured": "toml", "table": "csv", "wear": "csv"}.get(bad.door, bad.door)
    path = folder / ("case.visits.jsonl" if bad.door == "journal" else f"bad.{ending}")
    path.write_bytes(bad.data())
    case, out = str(folder / "case.toml"), str(folder / "out")
    if bad.door in ("journal", "measured", "wear"):
        Path(case).write_bytes(CASE)
    return {
        "case": ["plan", str(path), "--out", out],
        "table": ["study", str(path), "--out", out, "--workers", "1"],
        "journal": ["visit", case, "--date", "2026-11-25", "--told", "12"],
        "measured": ["check", case, "--measured", str(path)],
        "wear": ["visit", case, "--date", "2026-11-25", "--wear", str(path)],
    }.get(bad.door, ["look", str(path)])


def files_of(folder: Path) -> dict[str, bytes]:
    """Everything under ``folder`` but locks, which say nothing."""
    found = (p for p in folder.rglob("*") if p.is_file() and not p.name.endswith(".lock"))
    return {str(p.relative_to(folder)): p.read_bytes() for p in found}


@pytest.mark.parametrize("bad", BAD, ids=str)
def test_one_line_exit_two_nothing_written(
    bad: Bad, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = command(bad, tmp_path)
    before = files_of(tmp_path)
    capsys.readouterr()  # what the library that wrote the file said
    code = main(words)
    told = capsys.readouterr()
    lines = [line for line in told.err.splitlines() if line.startswith("bowtrue: error: ")]
    others = [
        line for line in told.err.splitlines() if line not in lines and "\r" not in line and line.strip()
    ]
    assert code == 2
    assert bad.words in told.err
    assert len(lines) == 1 or bad.door == "case"  # a case file gets a line for each of its faults
    assert all(line.isprintable() and len(line) < 700 for line in lines)
    assert not [line for line in others if "Traceback" in line or "Warning" in line]
    assert not told.out
    assert files_of(tmp_path) == before
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("bad", [b for b in BAD if b.door in MESH_DOORS], ids=str)
def test_the_same_as_uploads(bad: Bad, tmp_path: Path) -> None:
    with pytest.raises(UploadError) as caught:
        arrived(tmp_path, f"scan.{bad.door}", bad.data())
    assert bad.words in str(caught.value)
    assert not files_of(tmp_path)


@pytest.mark.parametrize("bad", LYING, ids=str)
def test_a_lying_count_makes_no_room(bad: Bad, tmp_path: Path) -> None:
    path = tmp_path / f"a.{bad.door}"
    path.write_bytes(bad.data())
    for door in MESH_DOORS:  # what a reader imports is not what it makes room for
        good = tmp_path / f"good.{door}"
        good.write_bytes(seeds(door)[0])
        read_surface(good)
    tracemalloc.start()
    try:
        with pytest.raises(BadFileError):
            read_surface(path)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert most < 2_000_000  # the count stated would need up to 200 GB
    assert MOST_LIED * 50 > 200e9


def test_a_file_name_that_no_system_takes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("x" * 3000, "a\0b", "\udcff"):
        table = tmp_path / "t.csv"
        table.write_bytes(f"mesh,tooth,axes\n{name}.stl,26,LPS\n".encode("utf-8", "surrogateescape"))
        for words in (
            ["look", f"{name}.stl"],
            ["plan", f"{name}.toml", "--out", str(tmp_path / "out")],
        ):
            assert main(words) == 2
            assert len(capsys.readouterr().err.splitlines()) == 1
        from casework.study.rows import read_table

        assert len(read_table(table).problems) == 1


def test_no_warning_and_no_traceback_reach_a_terminal(tmp_path: Path) -> None:
    """In a process of its own, where nothing catches what a library writes."""
    bad = next(b for b in BAD if b.fault == "signalling NaN")
    words = [sys.executable, "-m", "viewer.cli", *command(bad, tmp_path)]
    done = subprocess.run(
        words, check=False, cwd=ROOT, capture_output=True, text=True, timeout=60, env=os.environ
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert bad.words in done.stderr
