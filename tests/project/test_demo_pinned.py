"""The demo plan's numbers, pinned: a change that moves them is noticed; threads do not move them."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

CASE = Path(__file__).resolve().parents[2] / "demo_meshes" / "case.toml"
# bend deg, hook mm (LPS), target mm (LPS), hook's travel under load mm, arm's distance from the skin mm
PINNED = {
    "right": (25.734, (-55.812, 49.028, 9.860), (-21.415, 31.077, 17.177), 16.968, 4.298),
    "left": (23.927, (56.513, 50.246, 8.209), (21.990, 31.119, 16.665), 16.826, 3.725),
}
BEND_DEG, PLACE_MM = 0.02, 0.02


def planned(out, *, threads="1"):
    command = [sys.executable, "-m", "viewer.cli", "plan", str(CASE), "--out", str(out), "--no-pictures"]
    subprocess.run(
        command, check=True, capture_output=True, env={**os.environ, "OPENBLAS_NUM_THREADS": threads}
    )
    return json.loads((out / "plan.json").read_text("utf-8"))["sides"]


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    return planned(tmp_path_factory.mktemp("plan"))


@pytest.mark.parametrize("side", ["right", "left"])
def test_the_demo_plan_has_its_pinned_numbers(plan, side):
    bend, hook, target, travel, skin = PINNED[side]
    found = plan[side]
    assert found["solved"]
    assert found["bend_deg"] == pytest.approx(bend, abs=BEND_DEG)
    assert found["hook_mm"] == pytest.approx(hook, abs=PLACE_MM)
    assert found["target_mm"] == pytest.approx(target, abs=PLACE_MM)
    assert found["hook_travel_mm"] == pytest.approx(travel, abs=PLACE_MM)
    assert found["skin_mm"] == pytest.approx(skin, abs=2 * PLACE_MM)


def test_the_number_of_threads_does_not_move_the_plan(plan, tmp_path):
    other = planned(tmp_path, threads="2")
    for side, found in plan.items():
        assert other[side]["bend_deg"] == pytest.approx(found["bend_deg"], abs=1e-6)
        assert other[side]["hook_mm"] == pytest.approx(found["hook_mm"], abs=1e-6)
