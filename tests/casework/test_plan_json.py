"""plan.json and the summary of a sound plan and of one that is not to be bent, from the demo case."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from casework.case_file import read_case
from casework.plan import Plan
from casework.plan_json import plan_as_dict
from casework.planning import plan_case, with_choices
from casework.side_bands import bands_about
from casework.summary import plan_text
from mechanics.sides import SIDES

DEMO = Path(__file__).resolve().parents[2] / "demo_meshes"


@pytest.fixture(scope="module")
def plan() -> Plan:
    """The demo case on its elastic bow, with bands of round numbers."""
    case = with_choices(read_case(DEMO / "case.toml"), rigid_bow=False, ideal_tubes=False, sampled=False)
    found = plan_case(case, DEMO)
    bands = bands_about(20.0, 0.0, (3.0, 5.0, 0.4), samples=64)
    return replace(found, sides={k: replace(s, bands=bands) for k, s in found.sides.items()})


def missed(plan: Plan) -> Plan:
    return replace(plan, sides={**plan.sides, "left": replace(plan.sides["left"], solved=False)})


def test_a_sound_plan_gives_bend_bands_and_bench_work(plan: Plan) -> None:
    tree = plan_as_dict(plan)
    assert tree["bendable"]
    for side in SIDES:
        row = tree["sides"][side]
        assert row["bend_deg"] == plan.sides[side].bend_deg
        assert row["stopped_at_deg"] is None
        assert row["bands"]["samples"] == 64
        assert row["bench"]["plier_deg"] == plan.sides[side].bench.plier_deg


def test_a_plan_with_one_side_missed_gives_neither_side_a_bend(plan: Plan) -> None:
    tree = plan_as_dict(missed(plan))
    assert not tree["bendable"]
    for side in SIDES:
        row = tree["sides"][side]
        assert [row[k] for k in ("bend_deg", "bands", "bench")] == [None, None, None]
        assert row["stopped_at_deg"] == plan.sides[side].bend_deg


def test_the_summary_of_a_missed_plan_prints_no_angle(plan: Plan) -> None:
    sound, refused = plan_text(plan), plan_text(missed(plan))
    for side in SIDES:
        angle = f"{abs(plan.sides[side].bend_deg):.1f} deg"
        assert angle in sound
        assert angle not in refused
    assert "NOT REACHED, do not bend from this plan (search stopped at its limit)" in refused
    assert "reached, but do not bend from this plan" in refused
    for said in ("95 % of the sampled inputs", "predicted in side view", "under the plier"):
        assert said in sound
        assert said not in refused
