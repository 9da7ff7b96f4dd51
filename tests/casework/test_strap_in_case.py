"""Taut straps in a case: what the case file says decides what the strap lies on, and the plan says how it lies."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from casework.case_file import CaseError, CaseModel, parsed_case
from casework.plan import Plan
from casework.plan_json import plan_as_dict
from casework.planning import plan_case
from casework.strap_skin import head_measures
from casework.straps import StrapGround, asked_taut, strap_pulls
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError
from mesh_tools.head_model import child_measures, head_length_of, head_model
from mesh_tools.topology import is_closed, signed_volume

DEMO = Path(__file__).parents[2] / "demo_meshes"
HOOKS: dict[Side, Array] = {"right": np.array([-57.0, 42.0, 5.0]), "left": np.array([57.0, 42.0, 5.0])}


def values(*, landmarks: bool = False, face: bool = True) -> dict[str, Any]:
    """The demo case without samples; by default without strap landmarks."""
    tree: dict[str, Any] = copy.deepcopy(tomllib.loads((DEMO / "case.toml").read_text(encoding="utf-8")))
    tree["choices"]["samples"] = 0
    if not landmarks:
        for side in SIDES:
            del tree["landmarks"][f"strap_{side}_mm"]
    if not face:
        del tree["scans"]["face"]
    return tree


def planned(tree: dict[str, Any]) -> Plan:
    return plan_case(parsed_case(tree), DEMO)


@pytest.fixture(scope="module")
def free() -> Plan:
    return planned(values())


def test_without_landmark_or_angle_the_strap_is_taut_over_the_scan(free: Plan) -> None:
    (path,) = free.strap_paths
    assert path.band == "neck"
    for side in SIDES:
        plan = free.sides[side]
        assert plan.solved
        np.testing.assert_allclose(path.hook_mm(side), plan.hook_mm, atol=1e-6)
        np.testing.assert_allclose(path.direction(side), plan.strap_direction, atol=1e-6)
        assert plan.strap_toward_mm is not None
        np.testing.assert_allclose(plan.strap_toward_mm, path.leaves_mm[side], atol=1e-6)
    assert 200.0 < path.length_mm < 280.0
    assert 3.0 < path.pressure_kpa[path.on_skin].mean() < 6.0


def test_the_path_stands_in_the_plans_json(free: Plan) -> None:
    (strap,) = plan_as_dict(free)["strap_paths"]
    assert strap["length_mm"] == pytest.approx(free.strap_paths[0].length_mm)
    for side in SIDES:
        assert strap["angle_deg"][side] == pytest.approx(
            np.degrees(np.arcsin((free.treatment_rotation @ free.sides[side].strap_direction)[2])), abs=1e-6
        )


def test_given_landmarks_stay_and_are_only_drawn() -> None:
    tree = values(landmarks=True)
    plan = planned(tree)
    (path,) = plan.strap_paths
    for side in SIDES:
        given, toward = tree["landmarks"][f"strap_{side}_mm"], plan.sides[side].strap_toward_mm
        assert toward is not None
        np.testing.assert_allclose(toward, given, atol=1e-9)
        np.testing.assert_allclose(path.leaves_mm[side], given, atol=1e-9)


def test_a_head_by_tape_measure_stands_in_for_the_scan() -> None:
    tree = values(face=False)
    tree["head"] = {"neck_circumference_mm": 290.0}
    plan = planned(tree)
    assert [p.band for p in plan.strap_paths] == ["neck"]
    assert any("head.incisor_to_nape_mm" in f and "290 mm round" in f for f in plan.findings)


def test_unequal_forces_on_one_strap_are_told() -> None:
    tree = values()
    tree["pull"]["right"]["force_n"] = 3.0
    assert any("free to slide it evens them out" in w for w in planned(tree).warnings)


@pytest.mark.slow
def test_combination_lays_both_bands() -> None:
    tree = values()
    tree["pull"]["kind"] = "combination"
    for side in SIDES:
        tree["pull"][side]["high"] = {"force_n": 3.0}
    plan = planned(tree)
    assert [p.band for p in plan.strap_paths] == ["neck", "head"]
    assert plan.strap_paths[1].direction("left")[2] > 0.3


def _case(change: dict[str, Any], *, landmarks: bool = False, face: bool = True) -> CaseModel:
    tree = values(landmarks=landmarks, face=face)
    for key, more in change.items():
        tree.setdefault(key, {}).update(more)
    return parsed_case(tree)


def test_what_is_taut() -> None:
    assert asked_taut(_case({}), "cervical")
    assert not asked_taut(_case({}, landmarks=True), "cervical")
    assert not asked_taut(_case({}, face=False), "cervical")
    assert asked_taut(_case({"pull": {"strap": "taut"}}, landmarks=True), "cervical")
    assert not asked_taut(_case({"pull": {"strap": "as_given"}}), "cervical")


def test_a_scan_that_stops_before_the_nape_leaves_the_usual_angle() -> None:
    front = head_model(child_measures(10.0))
    half = front.with_faces(front.face_centres_mm[:, 1] < 80.0)
    pulls = strap_pulls(_case({}), np.eye(3), StrapGround(HOOKS, half))
    assert pulls["left"].straps[0].direction is not None


def test_a_taut_strap_that_cannot_lie_names_the_landmark() -> None:
    case = _case({"pull": {"strap": "taut"}, "landmarks": {"nape_mm": [0.0, 42.0, 5.0]}})
    with pytest.raises(BadValueError, match="lie on one line"):
        strap_pulls(case, np.eye(3), StrapGround(HOOKS, head_model(child_measures(10.0))))


def test_unknown_head_key_names_the_near_one() -> None:
    with pytest.raises(CaseError, match=r"head\.neck_round_mm: unknown key"):
        _case({"head": {"neck_round_mm": 280.0}})


def test_the_head_model_has_the_measures_it_was_given() -> None:
    measures, missing = head_measures(
        _case({"head": {"head_circumference_mm": 541.0, "nape_height_mm": -5.0}})
    )
    assert missing == ("neck_circumference_mm", "incisor_to_nape_mm")
    # Ellipse of half axes 99.13 and 72: circumference 541 by numerical integration of its arc.
    t = np.linspace(0.0, 2.0 * np.pi, 20001)
    half = 0.5 * head_length_of(541.0, 144.0)
    arc = np.hypot(np.diff(half * np.cos(t)), np.diff(72.0 * np.sin(t))).sum()
    assert arc == pytest.approx(541.0, abs=1e-3)
    model = head_model(measures)
    assert is_closed(model)
    assert signed_volume(model) > 0.0
    assert np.ptp(model.points_mm[:, 0]) == pytest.approx(measures.head_breadth_mm, abs=1.0)
    below = np.abs(model.points_mm[:, 2] - measures.nape_height_mm) < 1.1
    assert model.points_mm[below, 1].max() == pytest.approx(measures.incisor_to_nape_mm, abs=1.0)


def test_a_neck_that_does_not_suit_the_head_is_refused() -> None:
    with pytest.raises(BadValueError, match="does not suit"):
        head_measures(_case({"head": {"neck_circumference_mm": 560.0, "incisor_to_nape_mm": 120.0}}))
