"""Pulls side by side: each as its own plan would be, statics, ranges, context and what is told."""

from __future__ import annotations

import copy
import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from casework.bow_needs import landmark
from casework.case_file import N_PER_GF, parsed_case
from casework.planning import plan_case
from casework.pull_context import key_ridge
from casework.pull_words import KIND_WORDS, comfort_of, comparison_rows, comparison_text
from casework.pulls import (
    KINDS,
    GivenForces,
    PullComparison,
    assumed_lines,
    case_for,
    compared_pulls,
    comparison_as_dict,
)
from demo_meshes import demo_folder
from mechanics.sides import SIDES
from mesh_tools.errors import BadValueError
from tests.casework.moving import demo_values


def values(**changes: Any) -> dict[str, Any]:
    """The demo without its face scan (quicker, straps by landmark or angle)."""
    found = copy.deepcopy(demo_values())
    del found["scans"]["face"]
    found["choices"]["samples"] = 0
    found["landmarks"] |= {
        "high_strap_right_mm": [-68.0, 70.0, 75.0],
        "high_strap_left_mm": [68.0, 70.0, 75.0],
    }
    return {**found, **changes}


@cache
def demo() -> PullComparison:
    return compared_pulls(parsed_case(values()), demo_folder())


@pytest.mark.slow
def test_every_pull_is_planned_and_reaches_the_target():
    assert tuple(k.kind for k in demo().kinds) == KINDS
    for kind in demo().kinds:
        assert kind.refused is None
        for side in SIDES:
            p = kind.sides[side]
            assert p.solved
            assert abs(p.after.offset_mm) < 0.02
            assert p.before.bend_deg == 0.0


@pytest.mark.parametrize("kind", KINDS)
def test_a_compared_pull_is_what_its_own_case_plans(kind: str):
    # Second route: a case file of that kind, read and planned on its own.
    v = values()
    v["pull"] = {"kind": kind}
    for side in SIDES:
        v["pull"][side] = (
            {"force_n": 2.0, "high": {"force_n": 2.0}} if kind == "combination" else {"force_n": 4.0}
        )
    own = plan_case(parsed_case(v), demo_folder())
    for side in SIDES:
        p, s = demo().of(kind).sides[side], own.sides[side]  # type: ignore[arg-type]
        assert p.after.bend_deg == pytest.approx(s.bend_deg, abs=1e-9)
        assert p.before.offset_mm == pytest.approx(s.offset_before_mm, abs=1e-9)
        assert (p.distal_n, p.vertical_n, p.lateral_n) == pytest.approx(
            (s.distal_n, s.vertical_n, s.lateral_n)
        )


def test_the_neck_strap_extrudes_the_cap_intrudes_and_both_lie_between():
    # Finite elements of a full upper arch: cervical extrudes most and distalises most, high pull intrudes most
    # (Prog Orthod 2016;17, s40510-016-0130-4).
    neck, cap, both = (demo().of(k).sides["left"] for k in KINDS)
    assert neck.vertical_n < both.vertical_n < cap.vertical_n
    assert neck.vertical_n < 0.0 < cap.vertical_n
    assert neck.distal_n > cap.distal_n


def test_straps_and_molars_balance_under_every_pull():
    for kind in demo().kinds:
        assert kind.plan is not None
        pull = sum(s.strap_force_n * s.strap_direction for s in kind.plan.sides.values())
        felt = sum(s.wrench_at_centre.force_n for s in kind.plan.sides.values())
        np.testing.assert_allclose(felt, pull, atol=1e-8)


def test_the_range_holds_the_line_before_and_after():
    for kind in demo().kinds:
        for p in kind.sides.values():
            assert p.down is not None
            assert p.up is not None
            assert (
                p.down.offset_mm < p.before.offset_mm < p.after.offset_mm < p.up.offset_mm
            )  # bends go up here
            assert p.down.bend_deg < 0.0 < p.after.bend_deg < p.up.bend_deg


def test_the_line_passes_the_key_ridge_as_two_lines_in_space_say():
    # Second route: distance of the strap line from the side-to-side axis through the key ridge.
    for kind in demo().kinds:
        assert kind.plan is not None
        x = kind.plan.treatment_rotation[0]
        for side in SIDES:
            s = kind.plan.sides[side]
            across = np.cross(x, s.strap_direction)
            apart = (s.hook_mm - demo().ridge[side].point_mm) @ across / np.linalg.norm(across)
            assert abs(apart) == pytest.approx(abs(kind.sides[side].ridge_offset_mm or 0.0), abs=1e-9)


def test_the_key_ridge_is_placed_from_the_tube_without_roots():
    case = parsed_case(values())
    tube = [landmark(case, f"tube_left_{end}_mm") for end in ("mesial", "distal")]
    found = key_ridge("left", None, case, np.eye(3))
    np.testing.assert_allclose(found.point_mm, 0.5 * (tube[0] + tube[1]) + [0.0, 0.0, 15.75])
    assert "roots are not seen" in found.how
    assert demo().ridge["left"].point_mm[2] > tube[0][2] + 8.0
    assert "buccal apices" in demo().ridge["left"].how


def test_forces_are_kept_split_or_given():
    case = parsed_case(values())
    both = case_for(case, "combination", GivenForces())
    assert both.pull.right.newtons + both.pull.right.high.newtons == pytest.approx(4.0)  # type: ignore[union-attr]
    given = GivenForces(neck=3.0, cap=2.5, both=(1.0, 2.0))
    assert case_for(case, "cervical", given).pull.left.newtons == 3.0
    assert case_for(case, "high_pull", given).pull.left.newtons == 2.5
    assert case_for(case, "combination", given).pull.left.high.newtons == 2.0  # type: ignore[union-attr]
    v = values()
    v["pull"] = {"kind": "combination"}
    for side in SIDES:
        v["pull"][side] = {"force_gf": 150, "angle_deg": -20.0, "high": {"force_gf": 250, "angle_deg": 50.0}}
    own = parsed_case(v)
    kept = case_for(own, "combination", GivenForces()).pull.right
    assert (kept.newtons, kept.angle_deg) == pytest.approx((150 * N_PER_GF, -20.0))
    cap = case_for(own, "high_pull", GivenForces()).pull.right
    assert (cap.newtons, cap.angle_deg) == pytest.approx((400 * N_PER_GF, 50.0))
    with pytest.raises(BadValueError, match="up to 30 N; got -1"):
        GivenForces(neck=-1.0)


def test_a_pull_that_cannot_be_planned_says_why_and_the_others_stand():
    v = values()
    v["landmarks"]["high_strap_right_mm"] = [-68.0, -60.0, 75.0]
    found = compared_pulls(parsed_case(v), demo_folder())
    assert found.of("cervical").plan is not None
    assert "in front of the hook" in (found.of("high_pull").refused or "")
    text = comparison_text(found)
    assert "not planned" in text
    assert json.loads(json.dumps(comparison_as_dict(found), allow_nan=False))["pulls"][1]["sides"] == {}


def test_no_pull_at_all_is_one_line(tmp_path: Path):
    v = values()
    v["bow"]["arm_length_mm"] = 30.0
    with pytest.raises(BadValueError, match=r"no pull can be planned: .*longer arm") as caught:
        compared_pulls(parsed_case(v), demo_folder())
    assert "\n" not in str(caught.value)


def test_what_is_not_the_cases_is_told():
    v = values()
    for side in SIDES:
        del v["landmarks"][f"high_strap_{side}_mm"]
    case = parsed_case(v)
    told = {kind: assumed_lines(case_for(case, kind, GivenForces())) for kind in KINDS}
    assert told["cervical"] == ()
    assert "landmarks.high_strap_right_mm" in told["high_pull"][0]
    assert len(told["combination"]) == 1
    assert demo().of("high_pull").assumed == ()


@pytest.mark.parametrize(
    ("skin", "bend", "straps", "points"),
    [(5.0, 10.0, 1, 0), (2.0, 10.0, 1, 1), (0.5, -20.0, 2, 4), (0.5, 45.0, 2, 5), (None, 45.0, 1, 2)],
)
def test_comfort_is_counted_as_it_is_told(skin: float | None, bend: float, straps: int, points: int):
    found = comfort_of(skin_mm=skin, bend_deg=bend, straps=straps)
    assert found.points == points <= found.most == (3 if skin is None else 5)
    assert bool(found.reasons) == bool(points)


def test_text_and_table_carry_every_pull_and_the_caution():
    text = comparison_text(demo())
    for words in (
        *KIND_WORDS.values(),
        "extrudes",
        "intrudes",
        "key ridge",
        "Planning aid for licensed practitioners",
    ):
        assert words in text
    rows = dict(comparison_rows(demo(), "right"))
    assert rows["straps"] == ["4.00 N", "4.00 N", "2.00 N + 2.00 N"]
    assert all(len(cells) == 3 for cells in rows.values())
    tree = comparison_as_dict(demo())
    json.dumps(tree, allow_nan=False)
    assert [p["kind"] for p in tree["pulls"]] == list(KINDS)
