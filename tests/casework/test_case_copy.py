"""The case beside a plan: read back equal, planned again to equal numbers, and no file of the user overwritten."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest

from casework.case_copy import CaseUsed, case_copy_text, path_from, write_case_copy
from casework.case_file import CaseModel, case_values, parsed_case, read_case
from casework.planning import with_choices
from casework.versions import versions_used
from demo_meshes import demo_folder
from viewer.cli import main

DEMO = demo_folder() / "case.toml"
UNEQUAL = ("inputs", "file", "seconds")  # names of files as given differ, their hashes must not


def demo_case(**choices: Any) -> CaseModel:
    case = read_case(DEMO)
    return case.model_copy(update={"choices": case.choices.model_copy(update=choices)})


def compared(path: Path) -> dict[str, Any]:
    """plan.json without seconds and without the names of the files."""

    def bare(value: Any) -> Any:
        if isinstance(value, dict):
            return {k: bare(v) for k, v in value.items() if k not in UNEQUAL}
        return [bare(v) for v in value] if isinstance(value, list) else value

    tree = json.loads(path.read_text("utf-8"))
    return {**bare(tree), "sha256": {i["name"]: i["sha256"] for i in tree["inputs"]}}


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("made") / "first"
    assert main(["plan", str(DEMO), "--out", str(out), "--no-pictures"]) == 0
    return out


def test_the_case_as_used_gives_the_same_numbers_again(planned: Path) -> None:
    again = planned.parent / "deep" / "again"
    assert main(["plan", str(planned / "case-used.toml"), "--out", str(again), "--no-pictures"]) == 0
    first, second = compared(planned / "plan.json"), compared(again / "plan.json")
    assert first == second
    assert len(first["sha256"]) == 4
    assert first["sides"]["right"]["bend_deg"] != 0.0


def test_choices_of_the_command_line_are_in_the_copy(planned: Path) -> None:
    """--no-pictures asks for no samples, and the copy says so: else it would not give the same numbers."""
    assert read_case(DEMO).choices.samples == 256
    assert read_case(planned / "case-used.toml").choices.samples == 0


def test_planning_from_the_copy_into_its_own_folder_leaves_it(tmp_path: Path) -> None:
    copy = tmp_path / write_case_copy(CaseUsed(demo_case(), demo_folder(), DEMO), tmp_path, tmp_path)
    before = copy.read_bytes()
    used = CaseUsed(with_choices(read_case(copy), rigid_bow=True, ideal_tubes=False), tmp_path, copy)
    assert write_case_copy(used, tmp_path, tmp_path) == "case-used-2.toml"
    assert copy.read_bytes() == before
    assert read_case(tmp_path / "case-used-2.toml").choices.bow == "rigid"


def test_the_copy_reads_back_to_the_same_case_digit_for_digit(tmp_path: Path) -> None:
    case = demo_case(wanted_offset_mm=0.1 + 0.2, unknowns=["bend_deg", "place_mm"])
    text = case_copy_text(CaseUsed(case, demo_folder()), tmp_path)
    back = parsed_case(case_values(text.encode("utf-8"), tmp_path))
    assert back.choices.wanted_offset_mm == 0.1 + 0.2
    scans = {"scans"}
    assert back.model_dump(exclude=scans) == case.model_dump(exclude=scans)
    for name in ("right_molar", "left_molar", "arch", "face"):
        scan, was = getattr(back.scans, name), getattr(case.scans, name)
        assert (tmp_path / scan.file).resolve() == (demo_folder() / was.file).resolve()
        assert scan.model_dump(exclude={"file"}) == was.model_dump(exclude={"file"})


def test_registered_scans_modules_and_odd_file_names_survive(tmp_path: Path) -> None:
    values = case_values(DEMO.read_bytes(), DEMO)
    values["scans"]["arch"]["file"] = 'odd [\n1, "2"\n] name.stl'
    values["scans"]["arch"]["register"] = {"to": ["right_molar", "left_molar"]}
    values["pull"]["right"] = {"force_n": 4.0, "from_module": True}
    values["module"] = {"table_mm_n": [[0.0, 0.0], [20.0, 6.0]], "hole_pitch_mm": 5.5}
    values["head"] = {}
    case = parsed_case(values)
    text = case_copy_text(CaseUsed(case, tmp_path), tmp_path)
    back = parsed_case(case_values(text.encode("utf-8"), tmp_path))
    assert back == case


def test_points_are_written_on_one_line(tmp_path: Path) -> None:
    text = case_copy_text(CaseUsed(demo_case(), demo_folder()), tmp_path)
    assert "tube_right_mesial_mm = [-28.526, 28.614, 7.768]\n" in text
    assert 'unknowns = ["bend_deg"]\n' in text


def test_another_drive_gives_an_absolute_path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_way(*_: Any) -> str:
        raise ValueError("path is on mount 'D:', start on mount 'C:'")  # what os.path.relpath says on Windows

    monkeypatch.setattr(os.path, "relpath", no_way)
    assert path_from(tmp_path / "a.stl", tmp_path / "out") == (tmp_path / "a.stl").resolve().as_posix()


@pytest.mark.skipif(not hasattr(os, "symlink"), reason="no symbolic links here")
def test_a_folder_reached_by_a_link_still_finds_its_scans(tmp_path: Path) -> None:
    (tmp_path / "far" / "away").mkdir(parents=True)
    (tmp_path / "scan.stl").write_text("x")
    (tmp_path / "near").symlink_to(tmp_path / "far" / "away", target_is_directory=True)
    told = path_from(tmp_path / "scan.stl", tmp_path / "near")
    assert (tmp_path / "near" / told).read_text() == "x"


def test_versions_are_those_of_the_libraries_that_run() -> None:
    import numpy as np
    import scipy

    found = versions_used()
    assert found["numpy"] == np.__version__
    assert found["scipy"] == scipy.__version__
    assert set(found) >= {"bowtrue", "Python", "numpy", "scipy"}
