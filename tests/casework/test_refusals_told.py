"""Refusals and warnings that say what to write: units by case key, a force in gf, sides swapped, no negative zero."""

from __future__ import annotations

import re
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from casework.case_file import CaseError, parsed_case
from casework.check.file import read_measured
from casework.limits import case_warnings, plan_warnings
from casework.pulls import KINDS, compared_pulls
from casework.question import TubeEnds, check_tube_near
from casework.scans import ScanError, read_scans
from demo_meshes import demo_folder
from mesh_tools.errors import BadValueError, BowtrueError
from tests.casework.moving import demo_values
from viewer.cli.force import force_key, newtons

GF_IN_N = "400 gf is 3.92 N"  # 400 * 0.00980665, standard gravity of the SI brochure, 9th edition


def test_a_unit_is_asked_for_by_its_case_key() -> None:
    values: dict[str, Any] = demo_values()
    values["scans"]["right_molar"]["unit"] = "cm"
    with pytest.raises(ScanError) as caught:
        read_scans(parsed_case(values), demo_folder())
    assert 'write scans.right_molar.unit = "mm"' in str(caught.value)
    assert "--unit" not in str(caught.value)


def test_a_force_in_gf_entered_as_newtons_says_what_to_write(tmp_path: Path) -> None:
    values = demo_values()
    values["pull"]["right"] = {"force_n": 400.0}
    with pytest.raises(CaseError) as caught:
        parsed_case(values)
    assert f"pull.right.force_n: must be at most 30 N; got 400: {GF_IN_N}, write force_gf = 400." in str(
        caught.value
    )
    file = tmp_path / "check.toml"
    file.write_text("[right]\nhook_up_mm = 1.0\nhook_back_mm = -30.0\nforce_n = 400\n", encoding="utf-8")
    with pytest.raises(BowtrueError, match=f"at most 30 N; got 400: {GF_IN_N}, write force_gf = 400"):
        read_measured(file)


def test_the_same_on_the_command_line() -> None:
    with pytest.raises(BadValueError, match=f"^--right-force must be .* {GF_IN_N}, write 400gf"):
        newtons("400", option="--right-force")
    with pytest.raises(BadValueError, match=r"^--right-force must be at most 30 N; got 4000 gf"):
        force_key("4000gf", option="--right-force")
    assert newtons("400gf", option="--right-force") == pytest.approx(3.92266)


def test_a_guess_at_a_key_ends_with_one_stop() -> None:
    values = demo_values()
    values["choices"]["bend_limit"] = 20.0
    with pytest.raises(CaseError, match=r"did you mean bend_limit_deg\?") as caught:
        parsed_case(values)
    assert "?." not in str(caught.value)


def test_swapped_tubes_are_named_as_such() -> None:
    near, far = (TubeEnds(np.array([x, 0.0, 0.0]), np.array([x, 4.0, 0.0])) for x in (27.0, -27.0))
    scan = np.array([[25.0, 0.0, 0.0], [25.0, 5.0, 5.0]])
    check_tube_near(near, scan, name="landmarks.tube_left", other=far)
    with pytest.raises(BadValueError, match=r"sides swapped\?"):
        check_tube_near(far, scan, name="landmarks.tube_left", other=near)
    with pytest.raises(BadValueError, match="share one frame"):
        check_tube_near(far, scan, name="landmarks.tube_left", other=far)


@pytest.mark.parametrize(("left_cap", "uneven"), [(2.0, False), (3.0, True)])
def test_the_caps_force_counts_toward_asymmetry(left_cap: float, uneven: bool) -> None:
    values = demo_values()
    values["pull"] |= {"kind": "combination", "right": {"force_n": 2.0, "high": {"force_n": 2.0}}}
    values["pull"]["left"] = {"force_n": 2.0, "high": {"force_n": left_cap}}
    assert any("asymmetric bow" in w for w in case_warnings(parsed_case(values))) == uneven


def test_pulls_keep_what_is_said_of_a_landmark_that_was_filled() -> None:
    values = demo_values()
    del values["scans"]["face"], values["landmarks"]["incisor_contact_mm"]
    found = compared_pulls(parsed_case(values), demo_folder())
    planned = [found.of(k).plan for k in KINDS]
    assert any(planned)
    for plan in planned:
        said = "" if plan is None else "\n".join(plan.warnings)
        assert plan is None or re.search(r"landmarks\.incisor_contact_mm was not given", said)


def test_no_negative_zero_is_left() -> None:
    offset, bend = -0.04, -0.3
    plan: Any = SimpleNamespace(
        solved=False, offset_after_mm=offset, bend_deg=bend, lateral_n=0.0, strap_force_n=4.0, movement=None,
        tip_after_n_mm=0.0, tipping_moment_after_n_mm=0.0, target_method="thin_layer",
        centre=SimpleNamespace(distance_mm=lambda *_: None),
    )  # fmt: skip
    worn: Any = SimpleNamespace(notes=(), max_stress_mpa=0.0)
    (line,) = plan_warnings({"right": plan}, worn, proof_mpa=1000.0)
    assert "+0.0 mm are left at +0 degrees" in line
