"""A bow in hand: scanned, found by the command, and planned from."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from casework.case_file import parsed_case
from casework.planning import plan_case
from demo_meshes import demo_folder
from mechanics.bow.wire import BowWire
from mechanics.sides import SIDES
from mesh_tools.write import write_stl
from tests.casework.moving import demo_values
from tests.mechanics.bow_surfaces import two_shells
from viewer.cli import main


@pytest.fixture(scope="module")
def fitted() -> BowWire:
    """The bow fitted to the demo case, in LPS."""
    values = demo_values()
    del values["scans"]
    return plan_case(parsed_case(values), demo_folder()).bow_before


@pytest.fixture(scope="module")
def scan(fitted: BowWire, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("bow") / "bow.stl"
    write_stl(path, two_shells(fitted))
    return path


def test_the_command_finds_lengths_and_diameters(
    fitted: BowWire, scan: Path, capsys: pytest.CaptureFixture[str]
):
    assert main(["bow", str(scan), "--json", "-"]) == 0
    tree = json.loads(capsys.readouterr().out)
    assert tree["outer_diameter_mm"] == pytest.approx(1.83, abs=0.05)
    assert tree["inner_diameter_mm"] == pytest.approx(1.143, abs=0.05)
    for side in SIDES:
        assert tree["arm_length_mm"][side] == pytest.approx(fitted.arm_length_mm(side), abs=1.0)
        np.testing.assert_allclose(tree["hook_mm"][side], fitted.hook_mm[side], atol=0.3)


def test_a_plan_from_the_scan_is_the_plan_of_that_bow(scan: Path, fitted: BowWire):
    values = demo_values()
    del values["scans"]
    values["bow"]["bend_place_mm"] = 60.0
    wanted = plan_case(parsed_case(values), demo_folder())
    values["scans"] = {"bow": {"file": str(scan), "axes": "LPS", "unit": "mm"}}
    found = plan_case(parsed_case(values), demo_folder())
    assert [i.name for i in found.inputs] == ["bow"]
    for side in SIDES:
        here, there = wanted.sides[side], found.sides[side]
        assert there.solved
        np.testing.assert_allclose(there.hook_before_mm, here.hook_before_mm, atol=1.5)
        assert there.bend_deg == pytest.approx(here.bend_deg, abs=2.0)


def test_a_tooth_is_no_bow(capsys: pytest.CaptureFixture[str]):
    assert main(["bow", str(demo_folder() / "molar_26.stl")]) == 2
    assert "bow" in capsys.readouterr().err
