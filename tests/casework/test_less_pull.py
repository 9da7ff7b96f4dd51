"""A pull under which the bow yields, the pull that would do instead, and how far the arms are widened.

12 and 20 N on the demo bow  <> refused in one line; the pull it names is planned, and no wire passes proof stress there
widened_mm                   <> the hooks of the bow as fitted and of the bow as made, from two separate ways
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import demo_meshes
from casework.case_file import CaseModel, read_case
from casework.frame import treatment_rotation
from casework.plan import Plan
from casework.planning import plan_case, with_choices
from casework.scans import read_scans
from casework.solving import unbent_bow
from casework.summary import plan_text
from mechanics.rod.stress import YieldError
from mechanics.sides import SIDES, Side, outward_sign

FOLDER = Path(demo_meshes.__file__).parent


def pulled(newtons: float) -> CaseModel:
    case = with_choices(read_case(FOLDER / "case.toml"), rigid_bow=False, ideal_tubes=False, sampled=False)
    sides: dict[str, object] = {
        s: getattr(case.pull, s).model_copy(update={"force_n": newtons}) for s in SIDES
    }
    return case.model_copy(update={"pull": case.pull.model_copy(update=sides)})


@cache
def planned(newtons: float) -> Plan:
    return plan_case(pulled(newtons), FOLDER)


def refusal(newtons: float) -> str:
    with pytest.raises(
        YieldError, match=r"wire yields: \d+ MPa .*less pull would do it: at most about"
    ) as told:
        planned(newtons)
    return str(told.value)


def named_n(text: str) -> float:
    found = re.search(r"at most about ([\d.]+) N a side", text)
    assert found is not None
    return float(found[1])


def side_turns(plan: Plan, side: Side) -> tuple[float, float]:
    found = re.search(
        r"at (\d+) mm from the middle .* back at (\d+) mm", " ".join(plan.sides[side].bench.told)
    )
    assert found is not None
    return float(found[1]), float(found[2])


def test_too_strong_a_pull_is_refused_with_one_that_does() -> None:
    text = refusal(12.0)
    assert "\n" not in text
    assert "under 12.0 N a side" in text
    less = named_n(text)
    assert 8.0 <= less < 10.0  # 8 and 9 N were planned, 10 N yields
    plan = planned(less)
    assert plan.bendable
    assert plan.worn_after.max_stress_mpa < 1400.0


@pytest.mark.slow
@pytest.mark.parametrize("newtons", [10.0, 11.0, 14.0, 20.0])
def test_every_stronger_pull_is_refused_alike(newtons: float) -> None:
    assert named_n(refusal(newtons)) == pytest.approx(named_n(refusal(12.0)), abs=0.7)


def test_the_plan_tells_how_far_the_arms_are_widened() -> None:
    plan, case = planned(4.0), pulled(4.0)
    rotation = treatment_rotation(np.asarray(case.landmarks.occlusal_plane_mm))
    face = read_scans(case, FOLDER)["face"].surface.moved(rotation)
    _, fitted = unbent_bow(case, rotation, skin=face)
    for side in SIDES:
        moved = rotation @ plan.bow_before.hook_mm[side] - fitted.hook_mm[side]
        assert plan.sides[side].widened_mm > 1.0
        assert moved[0] * outward_sign(side) == pytest.approx(plan.sides[side].widened_mm, abs=0.05)
        assert side_turns(plan, side) == pytest.approx(
            (31.0, 56.0), abs=1.5
        )  # where steering turns this wire
        told = f"widened (carried outward) by {plan.sides[side].widened_mm:.1f} mm"
        assert any(told in note for note in plan.sides[side].bench.told)
    assert re.search(
        r"arms widened \d\.\d mm (each|\(right\), .*) so that they keep clear as worn", plan_text(plan)
    )
