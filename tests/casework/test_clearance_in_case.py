"""Clearance in a plan: the demo case measured and kept, what is warned of, and a case without scans."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from casework.case_file import read_case
from casework.clearance import clearance_warnings
from casework.plan import Plan
from casework.plan_json import plan_as_dict
from casework.planning import plan_case, with_choices
from mechanics.clearance.along import Clearance, MouthExit, WireClearance
from mechanics.sides import SIDES, outward_sign
from mesh_tools.topology import boundary_loops

DEMO = Path(__file__).resolve().parents[2] / "demo_meshes"


@pytest.fixture(scope="module")
def plan() -> Plan:
    case = with_choices(read_case(DEMO / "case.toml"), rigid_bow=False, ideal_tubes=False, sampled=False)
    return plan_case(case, DEMO)


def seen(plan: Plan) -> Clearance:
    assert plan.clearance is not None
    return plan.clearance


def test_the_demo_s_worn_arms_keep_the_case_s_clearance_behind_the_lips(plan: Plan) -> None:
    outer = seen(plan).outer
    assert outer is not None
    for side in SIDES:
        own = outward_sign(side) * outer.s_mm
        behind = outer.gap_mm[own > 45.0]
        assert 4.8 <= behind.min() <= 6.0
        assert plan.sides[side].skin_mm == pytest.approx(seen_cheek(plan, side), abs=0.1)


def seen_cheek(plan: Plan, side: str) -> float:
    return next(x.gap_mm for x in seen(plan).least() if (x.region, x.side) == ("cheek", side))


def test_places_are_lps_and_lie_on_wire_and_scan(plan: Plan) -> None:
    outer = seen(plan).outer
    assert outer is not None
    middle = plan.bow_bench.joint.outer_middle_mm
    np.testing.assert_allclose(outer.wire_mm, plan.worn_after.outer.at(outer.s_mm + middle), atol=1e-9)
    away = np.linalg.norm(outer.wire_mm - outer.scan_mm, axis=1)
    radius = 0.5 * plan.worn_after.outer.diameter_at(outer.s_mm + middle)
    np.testing.assert_allclose(away, np.abs(outer.gap_mm + radius), atol=1e-9)


def test_the_inner_bow_passes_incisors_teeth_and_gum(plan: Plan) -> None:
    inner = seen(plan).inner
    assert inner is not None
    assert set(inner.regions()) == {"incisors", "teeth", "gingiva"}
    assert inner.gap_mm.min() > 0.5


def test_the_plan_s_numbers_hold_the_clearance(plan: Plan) -> None:
    tree = plan_as_dict(plan)["clearance"]
    assert {row["region"] for row in tree["least"]} >= {"lips", "mouth corner", "cheek", "incisors"}
    assert len(tree["along"]["outer"]["gap_mm"]) == len(tree["along"]["outer"]["region"])
    assert tree["mouth_exits"]["left"]["above_mm"] == seen(plan).exits["left"].above_mm
    assert plan_as_dict(replace(plan, clearance=None))["clearance"] is None


def test_the_cheeks_are_marked(plan: Plan) -> None:
    for side in SIDES:
        marks = plan.sides[side].cheek
        assert marks is not None
        flat = plan.treatment_rotation @ (marks.dot_mm - marks.mark_mm)
        assert marks.up_mm >= flat[2] - 1e-9
        assert marks.back_mm >= flat[1] - 1e-9
        np.testing.assert_allclose(
            plan.treatment_rotation[1:] @ marks.dot_mm,
            plan.treatment_rotation[1:] @ plan.sides[side].target_mm,
        )
        assert plan_as_dict(plan)["sides"][side]["cheek"]["up_mm"] == marks.up_mm


def test_without_face_and_arch_only_the_mouth_corners_are_measured(plan: Plan) -> None:
    case = with_choices(read_case(DEMO / "case.toml"), rigid_bow=False, ideal_tubes=False, sampled=False)
    bare = case.model_copy(update={"scans": case.scans.model_copy(update={"face": None, "arch": None})})
    found = plan_case(bare, DEMO)
    assert (seen(found).outer, seen(found).inner) == (None, None)
    assert set(seen(found).exits) == set(SIDES)
    assert all(s.cheek is None and s.skin_mm is None for s in found.sides.values())


def wire(part: str, region: str, gap_mm: list[float]) -> WireClearance:
    n = len(gap_mm)
    places = np.zeros((n, 3))
    return WireClearance(part, np.arange(1.0, n + 1.0), np.array(gap_mm), places, places, (region,) * n)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("region", "gap", "words"),
    [
        ("cheek", -1.2, "presses 1.2 mm into the cheek 2 mm from the middle"),
        ("cheek", 0.6, "comes within 0.6 mm of the cheek"),
        ("cheek", 24.0, "stands 24 mm off the cheek"),
        ("cheek", 3.0, ""),
        ("lips", -4.0, ""),
    ],
)
def test_warnings_of_the_outer_arm(region: str, gap: float, words: str) -> None:
    found = clearance_warnings(Clearance(wire("outer", region, [9.0, gap, 9.0]), None, {}))
    assert (
        (not found)
        if not words
        else (len(found) == 1 and f"left side: the worn outer arm {words}" in found[0])
    )


@pytest.mark.parametrize(
    ("region", "gap", "words"),
    [
        ("incisors", 0.2, "comes within 0.2 mm of the incisors"),
        ("gingiva", -0.3, "presses 0.3 mm into the gingiva"),
        ("teeth", 0.7, ""),
    ],
)
def test_warnings_of_the_inner_bow(region: str, gap: float, words: str) -> None:
    found = clearance_warnings(Clearance(None, wire("inner", region, [2.0, gap]), {}))
    assert (not found) if not words else (len(found) == 1 and words in found[0])


@pytest.mark.parametrize(
    ("above", "ahead", "words"),
    [
        (4.2, 1.0, "4.2 mm (right) above the mouth corner and lifts"),
        (-3.5, 1.0, "below the mouth corner and lowers"),
        (0.5, -1.5, "1.5 mm behind the mouth corner"),
        (2.0, 1.0, ""),
    ],
)
def test_warnings_of_the_mouth_corner(above: float, ahead: float, words: str) -> None:
    leaves = MouthExit("right", above, ahead, 21.0, np.zeros(3))
    found = clearance_warnings(Clearance(None, None, {"right": leaves}))
    assert (not found) if not words else (len(found) == 1 and words in found[0])


def test_both_lips_lifted_are_one_sentence() -> None:
    both = {side: MouthExit(side, 4.0, 1.0, 21.0, np.zeros(3)) for side in SIDES}
    found = clearance_warnings(Clearance(None, None, both))
    assert len(found) == 1
    assert "4.0 mm (right) and 4.0 mm (left) above" in found[0]


def test_a_hole_over_the_target_leaves_one_warning_and_the_rest_of_the_plan(plan: Plan) -> None:
    from casework.cheek import cheek_findings

    assert plan.face is not None
    centres = plan.face.face_centres_mm
    dot = plan.sides["left"].target_mm
    torn = plan.face.with_faces((np.hypot(*(centres - dot)[:, 1:].T) > 5.0) | (centres[:, 0] < 0.0))
    assert len(boundary_loops(torn)) >= 1
    found = cheek_findings(torn, plan.sides, rotation=plan.treatment_rotation)
    assert found["left"].marks is None
    assert len(found["left"].warnings) == 1
    assert found["right"].marks is not None
