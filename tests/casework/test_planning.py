"""The plan of the demo case: what it reaches, and that it moves, turns and mirrors with the case."""

from __future__ import annotations

import copy
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from casework.case_file import CaseError, parsed_case
from casework.plan import Plan
from casework.planning import plan_case
from casework.side_centre import SideError
from demo_meshes import demo_folder
from mechanics.sides import SIDES
from mesh_tools.errors import BowtrueError
from tests.casework.moving import demo_values, moved_case

OTHER = {"right": "left", "left": "right"}
MIRROR = np.diag([-1.0, 1.0, 1.0])


@pytest.fixture(scope="module")
def still(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    folder = tmp_path_factory.mktemp("still")
    return plan_case(moved_case(folder, np.eye(3), np.zeros(3)), folder)


@cache
def demo_plan() -> Plan:
    return plan_case(parsed_case(demo_values()), demo_folder())


def test_the_demo_line_is_brought_to_the_target():
    plan = demo_plan()
    for side in SIDES:
        assert plan.sides[side].solved
        assert abs(plan.sides[side].offset_after_mm) < 0.02
        assert abs(plan.sides[side].offset_before_mm) > 1.0
        assert (
            plan.sides[side].bend_deg > 0.0
        )  # cervical: up in nearly every case (common practice, no source)


def test_straps_and_molars_balance():
    # Statics: what the straps pull is what the molars feel, to 1e-9 of the pull.
    plan = demo_plan()
    pull = sum(s.strap_force_n * s.strap_direction for s in plan.sides.values())
    felt = sum(s.wrench_at_centre.force_n for s in plan.sides.values())
    np.testing.assert_allclose(felt, pull, atol=1e-8)


def test_the_hook_offset_is_the_distance_of_line_and_target():
    # Second route to the offset: the distance of two lines in space, strap line and x axis through the target.
    plan = demo_plan()
    x = plan.treatment_rotation[0]
    for s in plan.sides.values():
        across = np.cross(x, s.strap_direction)
        apart = (s.hook_mm - s.target_mm) @ across / np.linalg.norm(across)
        assert abs(apart) == pytest.approx(abs(s.offset_after_mm), abs=1e-9)


def test_a_shifted_case_shifts_its_plan(still: Plan, tmp_path: Path):
    shift = np.array([31.0, -12.5, 440.0])
    moved = plan_case(moved_case(tmp_path, np.eye(3), shift), tmp_path)
    for side in SIDES:
        here, there = still.sides[side], moved.sides[side]
        np.testing.assert_allclose(there.target_mm, here.target_mm + shift, atol=1e-6)
        np.testing.assert_allclose(there.hook_mm, here.hook_mm + shift, atol=2e-3)
        assert there.bend_deg == pytest.approx(here.bend_deg, abs=5e-3)


def test_a_mirrored_case_mirrors_its_plan(still: Plan, tmp_path: Path):
    mirrored = plan_case(moved_case(tmp_path, MIRROR, np.zeros(3)), tmp_path)
    for side in SIDES:
        here, there = still.sides[side], mirrored.sides[OTHER[side]]
        np.testing.assert_allclose(there.target_mm, MIRROR @ here.target_mm, atol=1e-6)
        np.testing.assert_allclose(there.hook_mm, MIRROR @ here.hook_mm, atol=2e-3)
        assert there.bend_deg == pytest.approx(here.bend_deg, abs=5e-3)


def test_a_nodding_case_turns_its_plan(still: Plan, tmp_path: Path):
    turn = Rotation.from_euler("x", 8.0, degrees=True).as_matrix()
    moved = plan_case(moved_case(tmp_path, turn, np.zeros(3)), tmp_path)
    for side in SIDES:
        here, there = still.sides[side], moved.sides[side]
        np.testing.assert_allclose(there.target_mm, turn @ here.target_mm, atol=1e-3)
        assert there.bend_deg == pytest.approx(here.bend_deg, abs=0.02)


def test_a_rigid_bow_is_warned_of():
    values = demo_values()
    values["choices"]["bow"] = "rigid"
    plan = plan_case(parsed_case(values), demo_folder())
    assert any("RIGID" in text for text in plan.warnings)
    assert plan.sides["right"].hook_travel_mm == 0.0
    assert demo_plan().sides["right"].hook_travel_mm > 3.0


def test_without_scans_the_rule_of_thumb_is_the_target():
    values = demo_values()
    del values["scans"]
    plan = plan_case(parsed_case(values), demo_folder())
    assert plan.sides["left"].target_method == "rule_of_thumb"
    assert any("tube landmark only" in text for text in plan.warnings)


BAD = [
    ("landmarks.tube_left_mesial_mm", None, CaseError, r"landmarks\.tube_left_mesial_mm: is missing"),
    (
        "landmarks.strap_right_mm",
        [-41.0, -60.0, -12.0],
        BowtrueError,
        "right.*strap point.*in front of the hook",
    ),
    ("scans.right_molar.axes", "RAI", BowtrueError, "right.molar.*(upside|wrong way|crown)"),
    ("scans.right_molar.unit", "cm", BowtrueError, r"scans\.right_molar: .*looks like mm"),
    (
        "scans.right_molar.tooth",
        26,
        BowtrueError,
        r"scans\.right_molar\.tooth: must be an upper molar of the right",
    ),
    ("scans.right_molar.file", "none.stl", BowtrueError, r"scans\.right_molar: .*no such file"),
    ("bow.tube_bore_mm", 1.0, BowtrueError, "thinner than the tube"),
    ("bow.arm_length_mm", 30.0, BowtrueError, "longer arm"),
    ("choices.crest_below_cej_mm", 14.9, SideError, "right molar: .*unsupported root"),
]


@pytest.mark.parametrize(("path", "value", "kind", "line"), BAD, ids=[b[0] for b in BAD])
def test_a_bad_case_gets_one_clear_line(path: str, value: object, kind: type[Exception], line: str):
    values = copy.deepcopy(demo_values())
    part = values
    *parents, last = path.split(".")
    for key in parents:
        part = part[key]
    if value is None:
        del part[last]
    else:
        part[last] = value
    with pytest.raises(kind, match=line) as caught:
        plan_case(parsed_case(values), demo_folder())
    assert "\n" not in str(caught.value)


def test_the_predicted_tip_is_that_of_the_whole_wrench_on_uneven_sides():
    # Second route: the rotation about x by inverting the reported stiffness on the reported wrench.
    values = demo_values()
    del values["scans"]["face"]
    values["pull"]["right"]["force_n"] = 3.0
    plan = plan_case(parsed_case(values), demo_folder())
    x = plan.treatment_rotation[0]
    for s in plan.sides.values():
        stiffness = s.centre.methods[
            "thin_layer" if "thin_layer" in s.centre.methods else "elastic_foundation"
        ].ligament
        assert stiffness is not None
        p, f, m = s.target_mm, s.wrench_at_centre.force_n, s.wrench_at_centre.moment_n_mm
        turn = np.linalg.solve(stiffness.stiffness, np.concatenate([f, m + np.cross(p, f)]))[3:] @ x
        assert s.movement is not None
        tip = s.movement.tip_deg_per_mm
        assert tip is not None
        assert np.sign(tip) == np.sign(turn)  # positive about x carries the crown back
        assert s.tip_after_n_mm == pytest.approx(-m @ x, abs=1e-9)
    assert max(abs(s.tip_after_n_mm) for s in plan.sides.values()) > 2.0
    assert sum("through the bow both sides share" in text for text in plan.warnings) >= 1


def test_a_tip_without_a_tipping_moment_is_told_where_it_happens():
    plan = demo_plan()
    for side, s in plan.sides.items():
        assert s.movement is not None
        told = any(
            text.startswith(f"{side} side") and "yaw, torque and sideways force" in text
            for text in plan.warnings
        )
        assert told == (s.movement.kind != "bodily" and abs(s.tip_after_n_mm) < 2.0)
    assert {s.movement.kind for s in plan.sides.values() if s.movement} == {"bodily", "crown_distal_tip"}
