"""Scans each in a frame of its own: the demo case scattered, registered again, and planned to the same bend."""

from __future__ import annotations

import copy
import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from casework.case_file import CaseError, parsed_case
from casework.plan import Plan
from casework.planning import plan_case
from casework.registration import CaseRegistrationError
from casework.scans import read_scans
from demo_meshes import demo_folder
from demo_meshes.scattered import moves, write_scattered
from mechanics.sides import SIDES
from tests.casework.moving import demo_values

PICKED_MM = (
    0.4  # standard deviation of a landmark picked on a screen, per coordinate (common practice, no source)
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("scattered")
    write_scattered(demo_folder(), target)
    return target


def scattered_values(folder: Path) -> dict[str, Any]:
    """The case of the scattered demo: arch on the molars' crowns from five cusps, face by landmarks alone."""
    values = copy.deepcopy(demo_values())
    record = json.loads((folder / "moves.json").read_text("utf-8"))
    rng = np.random.default_rng(3)
    for name, scan in values["scans"].items():
        scan["axes"] = "LPS"
        pairs = list(record[name]["landmarks"].values())
        if pairs:
            chosen = pairs if name == "face" else [pairs[k] for k in (0, 1, 3, 5, -1)]
            scatter = rng.normal(size=(len(chosen), 3)) * (PICKED_MM if name == "arch" else 0.0)
            scan["register"] = {
                "moving_mm": (np.array([p["own_mm"] for p in chosen]) + scatter).tolist(),
                "fixed_mm": [p["lps_mm"] for p in chosen],
            }
    values["scans"]["arch"]["register"]["to"] = ["right_molar", "left_molar"]
    return values


@cache
def demo_plan() -> Plan:
    return plan_case(parsed_case(demo_values()), demo_folder())


def test_every_scan_comes_home(folder: Path) -> None:
    scans = read_scans(parsed_case(scattered_values(folder)), folder)
    home = read_scans(parsed_case(demo_values()), demo_folder())
    for name in ("arch", "face"):
        motion = scans[name].motion
        assert motion is not None
        known = moves()[name]
        back = motion.applied(known.applied(home[name].surface.points_mm))
        limit = 0.05 if name == "arch" else 1e-3
        assert np.linalg.norm(back - home[name].surface.points_mm, axis=1).max() < limit
    assert "laid on right_molar and left_molar by 5 landmark pairs" in scans["arch"].changes[-1]
    assert "by landmarks alone" in scans["face"].changes[-1]
    assert scans["right_molar"].motion is None


@pytest.mark.slow
def test_the_scattered_case_gives_the_same_plan(folder: Path) -> None:
    plan, known = plan_case(parsed_case(scattered_values(folder)), folder), demo_plan()
    for side in SIDES:
        assert plan.sides[side].bend_deg == pytest.approx(known.sides[side].bend_deg, abs=0.05)
        np.testing.assert_allclose(plan.sides[side].target_mm, known.sides[side].target_mm, atol=0.01)
        np.testing.assert_allclose(plan.sides[side].hook_mm, known.sides[side].hook_mm, atol=0.05)
    assert any(f.startswith("scans.arch: laid on") for f in plan.findings)


def test_a_molar_laid_on_another_frame_takes_its_landmarks_along(folder: Path) -> None:
    # The other way round: the arch's frame is the case's, and one molar is laid on it.
    values = scattered_values(folder)
    pairs = values["scans"]["arch"].pop("register")
    marks = {"fixed_mm": pairs["moving_mm"][:4], "moving_mm": pairs["fixed_mm"][:4], "to": "arch"}
    values["scans"]["right_molar"]["register"] = marks
    values["scans"] = {k: values["scans"][k] for k in ("right_molar", "arch")}
    scans = read_scans(parsed_case(values), folder)
    motion = scans["right_molar"].motion
    assert motion is not None
    home = read_scans(parsed_case(demo_values()), demo_folder())["right_molar"].surface.points_mm
    assert np.linalg.norm(motion.applied(home) - moves()["arch"].applied(home), axis=1).max() < 0.05


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"to": "mandible"}, r"scans\.arch\.register\.to: must name another scan.*got 'mandible'"),
        ({"to": "arch"}, r"scans\.arch\.register\.to: must name another scan"),
    ],
)
def test_a_bad_target_is_named(folder: Path, change: dict[str, Any], text: str) -> None:
    values = scattered_values(folder)
    values["scans"]["arch"]["register"] |= change
    with pytest.raises(CaseRegistrationError, match=text):
        read_scans(parsed_case(values), folder)


def test_a_circle_is_refused(folder: Path) -> None:
    values = scattered_values(folder)
    values["scans"]["right_molar"]["register"] = {"to": "arch"}
    with pytest.raises(CaseRegistrationError, match="in a circle"):
        read_scans(parsed_case(values), folder)


def test_a_slipped_landmark_names_scan_and_pair(folder: Path) -> None:
    values = scattered_values(folder)
    values["scans"]["face"]["register"]["moving_mm"][2][1] += 9.0
    with pytest.raises(CaseRegistrationError, match=r"scans\.face\.register: landmark pair 3 contradicts"):
        read_scans(parsed_case(values), folder)


@pytest.mark.parametrize(
    ("table", "text"),
    [
        ({}, r"scans\.arch\.register: give the scan to lay this one on"),
        ({"moving_mm": [[0.0, 0.0, 0.0]]}, r"pairs and must be equally many; got 1 and 0"),
        ({"too": "right_molar"}, r"scans\.arch\.register\.too: unknown key; did you mean to\?"),
    ],
)
def test_a_bad_table_is_refused_by_its_key(table: dict[str, Any], text: str) -> None:
    values = demo_values()
    values["scans"]["arch"]["register"] = table
    with pytest.raises(CaseError, match=text):
        parsed_case(values)
