"""Bench beside worn: two scenes in one frame, one scale, and what the details of the report say."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from casework.plan import Plan, SideBands, Wrench
from mechanics.bow.wire import PartName
from mechanics.making.bend_schedule import BenchBend, BendSchedule
from mechanics.making.springback import PlierBend
from mechanics.sides import SIDES
from tests.viewer.trial_plan import trial_plan
from viewer import report_details as details
from viewer.bow_png import one_scale_views, write_bow_png
from viewer.load_items import MOMENTS, STRESS, moment_items, stress_scale, stress_surfaces
from viewer.scene_of_bow import bench_and_worn
from viewer.scene_of_plan import scene_of_plan
from viewer.scene_traces import traces_of
from viewer.stress_colours import stress_colours
from viewer.view import view_from


def stressed(plan: Plan) -> Plan:
    """The plan with an invented stress: linear along the outer wire, none along the inner one."""
    worn = plan.worn_after
    stress: dict[PartName, np.ndarray] = {
        "inner": np.zeros(len(worn.inner.points_mm)),
        "outer": 4.0 * worn.outer.s_mm,
    }
    return dataclasses.replace(plan, worn_after=dataclasses.replace(worn, stress_mpa=stress))


@pytest.fixture(scope="module")
def loaded() -> Plan:
    return stressed(trial_plan())


def test_bench_and_worn_share_the_molars_and_differ_at_the_hooks(loaded: Plan) -> None:
    bench, worn = bench_and_worn(loaded)
    for one, other in zip(bench.surfaces, [s for s in worn.surfaces if s.group == "Molars"], strict=True):
        np.testing.assert_array_equal(one.points_mm, other.points_mm)
    for side in SIDES:
        there = next(p.at_mm for p in bench.points if p.side == side and p.name.startswith("hook"))
        here = next(p.at_mm for p in worn.points if p.side == side)
        travel = loaded.sides[side].hook_travel_mm
        assert np.linalg.norm(here - there) == pytest.approx(travel, abs=1e-9)
        detail = next(p.detail for p in worn.points if p.side == side)
        assert detail == f"{travel:.1f} mm away"


def test_all_views_have_one_scale_and_hold_both_shapes(loaded: Plan) -> None:
    bench, worn = bench_and_worn(loaded)
    views = one_scale_views(bench, worn)
    assert len({round(v.half_width_mm, 9) for v in views.values()}) == 1
    for view in views.values():
        shown = [w.points_mm for w in bench.wires if view.shows(w)]
        shown += [line.points_mm for line in worn.lines if view.shows(line)]
        flat = np.abs(view.flat(np.concatenate(shown)))
        assert (flat < [view.half_width_mm, view.half_height_mm]).all()


def test_colours_of_the_wire_are_those_of_its_stress(loaded: Plan) -> None:
    scale = stress_scale(loaded)
    assert scale is not None
    assert scale.largest_mpa == pytest.approx(4.0 * loaded.worn_after.outer.length_mm)
    outer = next(s for s in stress_surfaces(loaded, np.eye(3), hidden=True) if "left outer" in s.name)
    assert outer.hidden_at_first
    hook = int(np.argmax(outer.points_mm[outer.faces].mean(axis=1)[:, 1]))
    assert outer.face_colours is not None
    wanted = stress_colours([scale.largest_mpa], top_mpa=scale.top_mpa)[0]
    np.testing.assert_allclose(outer.face_colours[hook], wanted, atol=0.03)  # the hook ends the linear stress
    assert scale.place.startswith("outer bow, left")


def test_a_rigid_bow_has_no_stress_to_show(plan: Plan) -> None:
    assert stress_scale(plan) is None
    assert stress_surfaces(plan, np.eye(3), hidden=False) == []
    assert details.stress_words(plan) == "The bow was taken as rigid: no stress is known."
    assert any(w.role == "bow_after" for w in bench_and_worn(plan)[1].wires)


def test_stress_and_moments_can_be_switched_on_in_the_scene(loaded: Plan) -> None:
    scene = scene_of_plan(loaded)
    groups = {i.group: i.hidden_at_first for i in scene.items()}
    assert groups[STRESS]
    assert groups[MOMENTS]
    coloured = [t for t in traces_of(scene) if "facecolor" in t]
    assert len(coloured) == 4
    assert all(not t["visible"] and len(set(t["facecolor"])) >= 1 for t in coloured)
    assert max(len(set(t["facecolor"])) for t in coloured) > 20


def test_a_moment_is_drawn_only_where_it_is_seen_face_on(loaded: Plan) -> None:
    """The trial moment (0.1, 20, 60) N mm: no tip to speak of, a torque seen from the front, a yaw from above."""
    worn = bench_and_worn(loaded)[1]
    views = {w: view_from(worn, w, width_over_height=1.0) for w in ("right", "left", "front", "above")}
    curls = [s for s in worn.surfaces if s.group == MOMENTS]
    seen = {where: [s.name for s in curls if view.shows(s)] for where, view in views.items()}
    assert seen["right"] == seen["left"] == []
    assert [n.split(":")[0] for n in seen["front"]] == ["right torque 20 N mm", "left torque 20 N mm"]
    assert [n.split(":")[0] for n in seen["above"]] == ["right yaw 60 N mm", "left yaw 60 N mm"]


def test_a_small_moment_has_no_arrow(plan: Plan) -> None:
    side = dataclasses.replace(plan.sides["left"], wrench_at_centre=Wrench(np.ones(3), np.full(3, 0.3)))
    assert moment_items("left", side, np.eye(3), hidden=False) == ([], [])


def test_bow_png_has_six_panels_and_the_scale(loaded: Plan, tmp_path: Path) -> None:
    write_bow_png(*bench_and_worn(loaded), tmp_path / "bow.png", title="t", window=None)
    pixels = np.asarray(Image.open(tmp_path / "bow.png").convert("RGB")).astype(int)
    wide = pixels.shape[1]
    sky = np.abs(pixels - np.array([0x56, 0xB4, 0xE9])).sum(axis=2) < 30
    assert sky[:, : wide // 2].sum() > 3000  # the bench shape, full colour on the left only
    assert sky[:, wide // 2 :].sum() < 0.2 * sky[:, : wide // 2].sum()
    dark = np.abs(pixels - np.array([0x16, 0x0B, 0x39])).sum(axis=2) < 40
    assert dark[-250:].sum() > 100  # the dark end of the scale


def test_wrench_cells_are_the_plan_in_words() -> None:
    cells = details.wrench_cells("right", np.array([-1.0, 3.0, -2.0]), np.array([0.2, 5.0, -30.0]))
    assert cells["Distal force"] == "distal 3.00 N (306 gf)"  # 3 / 9.80665e-3 = 305.9
    assert cells["Vertical force"].startswith("extrusive 2.00 N")
    assert cells["Lateral force"].startswith("buccal 1.00 N")
    assert cells["Tip"] == "next to none (0.2 N mm)"
    assert cells["Yaw"] == "30.0 N mm: turns the crown's mesial side outward"
    assert cells["Torque"] == "5.0 N mm: rolls the crown outward, the roots inward"


def test_the_wrench_is_told_in_the_treatment_frame(plan: Plan) -> None:
    turn = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    force = turn.T @ np.array([0.0, 3.0, 0.0])
    side = dataclasses.replace(plan.sides["left"], wrench_at_centre=Wrench(force, np.zeros(3)))
    turned = dataclasses.replace(plan, treatment_rotation=turn, sides={"left": side})
    rows = details.wrench_rows(turned, [("left", side)])
    assert rows[0]["cells"] == ["distal 3.00 N (306 gf)"]
    assert rows[2]["cells"] == ["no lateral force"]


def test_before_any_strap_is_told_only_for_a_bow_that_is_not_passive(plan: Plan) -> None:
    sides = [(s, plan.sides[s]) for s in SIDES]
    assert details.inserted_rows(plan, sides) == []
    force = {s: np.array([0.5, 0.0, 0.0]) for s in SIDES}
    inserted = dataclasses.replace(plan.worn_after, force_n=force)
    rows = details.inserted_rows(dataclasses.replace(plan, inserted=inserted), sides)
    assert rows[2]["cells"] == ["palatal 0.50 N (51 gf)", "buccal 0.50 N (51 gf)"]


def test_bench_rows_bands_and_sensitivities_are_told_with_units(plan: Plan) -> None:
    bend = BenchBend(64.0, 64.0, 3.0, 3.0, 23.9, PlierBend(23.9, 25.6, 3.0))
    schedule = BendSchedule("left", (bend,), 0.02, ("mind the old bend",))
    s = dataclasses.replace(
        plan.sides["left"],
        bench=dataclasses.replace(plan.sides["left"].bench, schedule=schedule),
        bands=SideBands(23.6, 25.1, -1.4, 1.3, 0.2, 512),
        sensitivities={"per_degree": 0.476, "per_newton": -1.93, "per_pull_degree": 0.0},
    )
    table = details.bench_tables([("left", s)])[0]
    row = table["rows"][0]
    assert (row["place"], row["feed"], row["way"], row["angle"], row["plier"]) == (
        "64.0 mm", "64.0 mm", "up, turned 3° outward", "23.9°", "25.6°",
    )  # fmt: skip
    assert "mind the old bend" in table["notes"]
    assert [r["cells"][0] for r in details.sure_rows([("left", s)])] == [
        "+23.6 to +25.1",
        "\N{MINUS SIGN}1.4 to +1.3",
    ]
    assert details.samples_words([("left", s)]) == "512 samples a side"
    told = {r["name"]: r["cells"][0] for r in details.sensitivity_rows([("left", s)])}
    assert told == {"1° more bend up here": "0.48 mm apical", "1 N more pull": "1.93 mm occlusal"}
