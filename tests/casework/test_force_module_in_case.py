"""The module in a case: the plan's answer, forces taken from it, the hole to choose, bad tables; numbers invented."""

from __future__ import annotations

import copy
import json
from functools import cache
from typing import Any

import numpy as np
import pytest

from casework.case_file import CaseError, parsed_case
from casework.module_answer import ModuleAnswer, module_as_dict
from casework.module_words import hole_name, module_lines, module_table
from casework.plan import Plan
from casework.planning import plan_case
from casework.summary import plan_text
from demo_meshes import demo_folder
from mechanics.sides import SIDES
from mesh_tools.errors import BadValueError, NoAnswerError
from tests.casework.moving import demo_values

# An invented module: no maker's numbers.
TABLE = [[0.0, 0.0], [10.0, 1.5], [20.0, 3.2], [30.0, 5.0], [50.0, 9.5]]


def values(module: dict[str, Any], *, bow: str = "rigid") -> dict[str, Any]:
    """The demo without scans (the target is the rule of thumb) and with ``module``; a rigid bow is quick."""
    found = copy.deepcopy(demo_values())
    del found["scans"]
    found["choices"] |= {"samples": 0, "bow": bow}
    found["module"] = module
    return found


@cache
def planned() -> Plan:
    return plan_case(parsed_case(values({"table_mm_n": TABLE})), demo_folder())


def answer() -> ModuleAnswer:
    found = planned().module
    assert found is not None
    return found


@pytest.mark.slow
def test_the_strap_length_asked_for_gives_the_wanted_force():
    # The length comes from the planned hooks alone; the search finds the force from it, bow and module in equilibrium.
    v = values({"table_mm_n": TABLE, "grip": "free"}, bow="elastic")
    found = plan_case(parsed_case(v), demo_folder()).module
    assert found is not None
    row = found.row(0)
    assert row is not None
    assert row.sides is not None
    for s in SIDES:
        assert row.sides[s].tension_n == pytest.approx(4.0, abs=0.02)
        assert row.sides[s].offset_mm == pytest.approx(0.0, abs=0.05)
        assert row.sides[s].extension_mm == pytest.approx(np.interp(4.0, [3.2, 5.0], [20.0, 30.0]), abs=0.15)
    assert found.best_hole == found.hole == 0
    assert found.relative


def test_holes_pull_in_order_and_the_envelope_holds_every_posture():
    straight = [answer().row(h) for h in (-2, -1, 0, 1, 2)]
    forces = [r.sides["left"].tension_n for r in straight if r is not None and r.sides is not None]
    assert len(forces) == 5
    assert np.all(np.diff(forces) > 0.3)
    for h in (-2, 0, 2):
        span = answer().envelope(h, "right")
        assert span is not None
        for row in (r for r in answer().rows if r.hole == h and r.grip == "free" and r.sides is not None):
            assert row.sides is not None
            side = row.sides["right"]
            assert span.tension_n[0] <= side.tension_n <= span.tension_n[1]
            assert side.angle_deg is not None
            assert span.angle_deg[0] <= side.angle_deg <= span.angle_deg[1]


def test_posture_turns_force_and_line_the_way_geometry_says():
    rows = {(r.posture.name, r.grip): r.sides for r in answer().rows if r.hole == 0}
    straight = rows["straight", "free"]
    assert straight is not None
    for name, sign in (("chin up", 1.0), ("chin down", -1.0)):
        nodded = rows[name, "free"]
        assert nodded is not None
        for s in SIDES:
            assert sign * (nodded[s].tension_n - straight[s].tension_n) > 0.5
            assert sign * ((nodded[s].angle_deg or 0.0) - (straight[s].angle_deg or 0.0)) > 3.0
    held, free = rows["turned left", "held"], rows["turned left", "free"]
    assert held is not None
    assert free is not None
    assert free["right"].tension_n == pytest.approx(free["left"].tension_n, abs=2e-3)
    assert held["right"].tension_n > held["left"].tension_n + 1.0  # face to the left draws the right strap


def test_a_hole_is_chosen_and_its_force_taken():
    asked = answer().slack_wanted_mm
    module = {
        "table_mm_n": TABLE, "hole_pitch_mm": 5.0, "holes": 4, "slack_mm": asked + 10.0, "grip": "free",
    }  # fmt: skip
    v = values(module)
    found = plan_case(parsed_case(v), demo_folder()).module
    assert found is not None
    assert found.best_hole == found.hole == 2  # 5 mm off each end at hole 2: the length that gives 4 N
    assert not found.relative
    v["module"]["hole"] = 3
    for s in SIDES:
        v["pull"][s]["from_module"] = True
    taken = plan_case(parsed_case(v), demo_folder())
    assert taken.module is not None
    assert taken.module.hole == 3
    row = taken.module.row(3)
    assert row is not None
    assert row.sides is not None
    for s in SIDES:
        force = taken.sides[s].strap_force_n
        assert force > 4.3
        assert row.sides[s].tension_n == pytest.approx(force, abs=0.03)
        assert taken.sides[s].solved
    assert "the plan stands on hole 3 as the case says" in plan_text(taken)


def test_a_cap_stays_with_the_head():
    v = values({"rate_n_per_mm": 0.15})
    v["pull"]["kind"] = "high_pull"
    v["landmarks"] |= {"high_strap_right_mm": [-68.0, 70.0, 75.0], "high_strap_left_mm": [68.0, 70.0, 75.0]}
    found = plan_case(parsed_case(v), demo_folder()).module
    assert found is not None
    assert {r.posture.name for r in found.rows} == {"straight"}
    assert found.band == "head"
    assert found.neck_radius_mm is None
    row = found.row(0)
    assert row is not None
    assert row.sides is not None
    assert row.sides["left"].tension_n == pytest.approx(4.0, abs=0.02)
    assert any("head cap moves with the head" in text for text in found.assumptions)


def test_text_table_and_json_show_the_answer():
    text = "\n".join(module_lines(answer()))
    assert "mm of strap at rest (hook to hook)" in text
    assert "1 tighter" in text
    assert "our assumption" in text
    heads, rows = module_table(answer(), "right")
    assert heads == ["2 looser", "1 looser", "as wanted", "1 tighter", "2 tighter"]
    assert rows[0][0] == "straight"
    assert all(len(cells) == 5 for _, cells in rows)
    assert hole_name(answer(), 0) in plan_text(planned())
    tree = json.loads(json.dumps(module_as_dict(answer()), allow_nan=False))
    assert len(tree["rows"]) == len(answer().rows)


BAD = [
    ({"hole_pitch_mm": 5.0}, CaseError, "module: give the module's force once"),
    ({"table_mm_n": TABLE, "rate_n_per_mm": 0.1}, CaseError, "module: give the module's force once"),
    ({"table_mm_n": [[0.0, 0.0], [10.0, 2.0], [20.0, 1.5]]}, CaseError, r"module: .*row 3 \(20 mm, 1.5 N\)"),
    ({"table_mm_n": TABLE, "longest_mm": 9.0}, CaseError, "longest_mm belongs to rate_n_per_mm"),
    ({"table_mm_n": TABLE, "hole": 2}, CaseError, "hole needs slack_mm"),
    ({"table_mm_n": TABLE, "slack_mm": 200.0, "hole": 9}, CaseError, "one of the 5 holes"),
    ({"table_mm_n": TABLE, "slak_mm": 9.0}, CaseError, "module.slak_mm: unknown key; did you mean slack_mm"),
    ({"rate_n_per_mm": 0.1, "high": {"rate_n_per_mm": 0.1}}, CaseError, 'module.high belongs to kind = "combination"'),
    ({"rate_n_per_mm": 0.1, "slack_mm": 60.0}, NoAnswerError, "no hole gives a force"),
]  # fmt: skip


@pytest.mark.parametrize(("module", "kind", "text"), BAD, ids=[str(k) + b[2][:22] for k, b in enumerate(BAD)])
def test_a_bad_module_is_one_clear_line(module: dict[str, Any], kind: type[Exception], text: str):
    with pytest.raises(kind, match=text) as caught:
        plan_case(parsed_case(values(module)), demo_folder())
    assert "\n" not in str(caught.value)


def test_a_slack_or_overdrawn_hole_has_no_force_to_take():
    for length, words in ((400.0, "slack"), (80.0, "beyond the table")):
        v = values({"table_mm_n": TABLE, "slack_mm": length, "hole": 1})
        for s in SIDES:
            v["pull"][s]["from_module"] = True
        with pytest.raises(BadValueError, match=f"module.hole 1: the right neck strap's module is {words}"):
            plan_case(parsed_case(v), demo_folder())


def test_a_strap_by_angle_only_has_no_length():
    v = values({"rate_n_per_mm": 0.1})
    del v["landmarks"]["strap_right_mm"], v["landmarks"]["strap_left_mm"]
    with pytest.raises(
        CaseError, match=r"landmarks.strap_right_mm: is missing; .module. needs where the strap leaves"
    ):
        plan_case(parsed_case(v), demo_folder())


def test_from_module_without_a_module_is_refused():
    v = values({"rate_n_per_mm": 0.1})
    del v["module"]
    v["pull"]["right"]["from_module"] = True
    with pytest.raises(CaseError, match=r"from_module needs the .module. table"):
        parsed_case(v)
