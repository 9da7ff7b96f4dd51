"""Nothing lost, nothing half-written."""

from __future__ import annotations

from pathlib import Path

import pytest

from casework.writing import filled_folder
from mesh_tools.errors import BadValueError


def test_files_arrive_and_others_stay(tmp_path: Path):
    target = tmp_path / "out"
    target.mkdir()
    (target / "note.txt").write_text("kept")
    (target / "a.txt").write_text("old")
    with filled_folder(target) as folder:
        (folder / "a.txt").write_text("new")
    assert {p.name: p.read_text() for p in target.iterdir()} == {"note.txt": "kept", "a.txt": "new"}
    assert list(tmp_path.iterdir()) == [target]


def _fail_after_writing(target: Path) -> None:
    with filled_folder(target) as folder:
        (folder / "a.txt").write_text("half")
        raise RuntimeError("stopped")


def test_a_failure_leaves_nothing(tmp_path: Path):
    with pytest.raises(RuntimeError, match="stopped"):
        _fail_after_writing(tmp_path / "out")
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_the_way_is_refused(tmp_path: Path):
    target = tmp_path / "out"
    target.write_text("mine")
    with pytest.raises(BadValueError, match="is a file; give a folder"), filled_folder(target):
        pass
    assert target.read_text() == "mine"
