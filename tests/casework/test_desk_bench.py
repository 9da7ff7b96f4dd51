"""The bench: it answers as the plan does, makes again only what has changed, and follows the handles."""

from __future__ import annotations

import pickle
import shutil
from collections import OrderedDict
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from casework.case_file import CaseError
from casework.desk.bench import Workbench, aimed, keep_reports, workbench
from casework.desk.draft import (
    Draft,
    case_of,
    opened,
    saved,
    started,
    undone,
    with_landmark,
    with_scan,
    with_value,
    without_landmark,
    without_scan,
)
from casework.desk.handles import HANDLES, Handles, handled, handles_of, kept_handles, ranges
from casework.desk.live import Live, flexed_live, rigid_live
from casework.desk.readings import readings
from casework.desk.shelf import Shelf
from casework.desk.solving import offset_curve, solved, trued
from casework.desk.tasks import estimated
from casework.plan import Plan
from casework.planning import plan_case, with_choices
from demo_meshes import demo_folder
from mechanics.sides import SIDES
from mesh_tools.errors import BadFileError, BadValueError, BowtrueError

SHELF = Shelf()


@cache
def demo() -> Draft:
    return opened(demo_folder() / "case.toml")


@cache
def bench() -> Workbench:
    return workbench(demo(), shelf=SHELF)


@cache
def answer() -> tuple[Handles, Plan]:
    return solved(bench())


@cache
def plan() -> Plan:
    """The plan by the usual way, without the bench."""
    case = with_choices(case_of(demo()), rigid_bow=False, ideal_tubes=False, sampled=False)
    return plan_case(case, demo().folder)


@cache
def at_rest() -> Live:
    return flexed_live(bench(), handles_of(bench()))


# The same answer as the plan --------------------------------------------------------------------------------


def test_the_bench_solves_what_the_plan_solves():
    handles, found = answer()
    for side in SIDES:
        mine, theirs = found.sides[side], plan().sides[side]
        assert mine.bend_deg == pytest.approx(theirs.bend_deg, abs=1e-6)
        np.testing.assert_allclose(mine.target_mm, theirs.target_mm, atol=1e-9)
        np.testing.assert_allclose(mine.hook_mm, theirs.hook_mm, atol=1e-6)
        assert handles.side(side).bend_deg == mine.bend_deg
    assert found.warnings == plan().warnings


def test_the_live_answer_at_the_solution_is_the_plans():
    handles, _ = answer()
    live = flexed_live(bench(), handles)
    for side in SIDES:
        mine, theirs = live.sides[side], plan().sides[side]
        assert mine.offset_mm == pytest.approx(theirs.offset_after_mm, abs=2e-3)
        np.testing.assert_allclose(mine.hook_mm, theirs.hook_mm, atol=5e-3)
        np.testing.assert_allclose(mine.hook_bench_mm, theirs.hook_bench_mm, atol=1e-6)
        np.testing.assert_allclose(mine.direction, theirs.strap_direction, atol=1e-4)
        np.testing.assert_allclose(mine.wrench.force_n, theirs.wrench_at_centre.force_n, atol=5e-3)
        np.testing.assert_allclose(mine.wrench.moment_n_mm, theirs.wrench_at_centre.moment_n_mm, atol=0.05)
        assert mine.tip_n_mm == pytest.approx(theirs.tip_after_n_mm, abs=0.05)
        assert mine.lateral_n == pytest.approx(theirs.lateral_n, abs=5e-3)
        assert mine.skin_mm == pytest.approx(theirs.skin_mm, abs=0.02)
        assert (mine.movement is None) == (theirs.movement is None)
        assert mine.movement is not None
        assert mine.movement.kind == theirs.movement.kind  # type: ignore[union-attr]
    assert live.max_stress_mpa == pytest.approx(plan().worn_after.max_stress_mpa, rel=1e-3)
    np.testing.assert_allclose(live.worn_mm["outer"], plan().worn_after.outer.points_mm, atol=5e-3)
    np.testing.assert_allclose(live.bench_mm["outer"], plan().bow_bench.outer.points_mm, atol=1e-6)


def test_a_near_start_gives_the_same_answer():
    moved = handled(handles_of(bench()), "right", bend_deg=7.0, force_n=4.5)
    near, fresh = flexed_live(bench(), moved, near=at_rest()), flexed_live(bench(), moved)
    for side in SIDES:
        assert near.sides[side].offset_mm == pytest.approx(fresh.sides[side].offset_mm, abs=2e-3)
        np.testing.assert_allclose(near.sides[side].hook_mm, fresh.sides[side].hook_mm, atol=5e-3)


def test_the_offset_is_the_distance_of_line_and_target_in_side_view():
    # Second route: the foot given for drawing lies on the line, at a right angle, |offset| from the target.
    for live in (rigid_live(bench(), handles_of(bench())), at_rest()):
        for side in SIDES:
            one = live.sides[side]
            x = bench().rotation[0]
            flat = one.direction - (one.direction @ x) * x
            away = one.foot_mm - one.target_mm
            away = away - (away @ x) * x
            assert np.linalg.norm(away) == pytest.approx(abs(one.offset_mm), abs=1e-9)
            assert away @ flat == pytest.approx(0.0, abs=1e-9)
            np.testing.assert_allclose(np.cross(one.foot_mm - one.hook_mm, one.direction), 0.0, atol=1e-8)
            force = one.strap_force_n * np.linalg.norm(flat)
            assert one.tipping_moment_n_mm == pytest.approx(force * one.offset_mm, abs=1e-9)


@pytest.mark.parametrize("rigid", [True, False])
def test_straps_and_molars_balance(rigid: bool):
    live = rigid_live(bench(), handles_of(bench())) if rigid else at_rest()
    assert live.rigid is rigid
    pull = sum(s.strap_force_n * s.direction for s in live.sides.values())
    felt = sum(s.wrench.force_n for s in live.sides.values())
    np.testing.assert_allclose(felt, pull, atol=1e-7)


def test_trued_holds_the_other_handles_and_meets_the_target():
    start = handled(handles_of(bench()), "right", force_n=3.0, arm_mm=95.0, strap_up_mm=4.0)
    ends, live = trued(bench(), start)
    for side in SIDES:
        assert abs(live.sides[side].offset_mm) < 0.03
        for name in set(HANDLES) - {"bend_deg"}:
            assert getattr(ends.side(side), name) == pytest.approx(getattr(start.side(side), name), abs=1e-9)
        assert live.sides[side].strap_force_n == pytest.approx(3.0, abs=1e-9)
    assert ends.linked == start.linked


# Handles ----------------------------------------------------------------------------------------------------


def test_linked_handles_go_together_and_unlinked_alone():
    both = handles_of(bench())
    assert handled(both, "right", bend_deg=5.0).left.bend_deg == 5.0
    alone = handled(handles_of(bench(), linked=False), "right", bend_deg=5.0)
    assert (alone.right.bend_deg, alone.left.bend_deg) == (5.0, 0.0)
    with pytest.raises(BadValueError, match="unknown handle 'twist_deg'; known are bend_deg"):
        handled(both, "right", twist_deg=1.0)
    with pytest.raises(BadValueError, match="right bend_deg must be a finite number; got nan"):
        handled(both, "right", bend_deg=float("nan"))


def test_a_bend_up_lifts_the_hook_and_a_moved_strap_turns_the_line():
    # Cervical: a bend up carries the hook up (common practice, no source); a strap 5 mm up turns the line up.
    start = handles_of(bench())
    low = rigid_live(bench(), start)
    up = rigid_live(bench(), handled(start, "right", bend_deg=10.0))
    strap = rigid_live(bench(), handled(start, "right", strap_up_mm=5.0))
    z = bench().rotation[2]
    for side in SIDES:
        assert (up.sides[side].hook_mm - low.sides[side].hook_mm) @ z > 3.0
        assert strap.sides[side].direction @ z > low.sides[side].direction @ z
        np.testing.assert_allclose(strap.sides[side].hook_mm, low.sides[side].hook_mm, atol=1e-12)


def test_every_handle_works_to_the_ends_of_its_range():
    start = handles_of(bench())
    for name, (low, high) in ranges(bench(), start)["right"].items():
        for value in (low, high):
            told = refusal(handled(start, "right", **{name: value}))
            if name in ("strap_back_mm", "arm_mm"):  # the hook may pass the strap point
                assert told == "" or "in front of the hook" in told
            else:
                assert told == ""


def refusal(handles: Handles) -> str:
    """The line that refuses a setting of the handles, or nothing for one that is answered."""
    try:
        rigid_live(bench(), handles)
    except BowtrueError as err:
        return str(err)
    return ""


def test_a_bend_with_no_room_is_refused_in_one_line():
    with pytest.raises(BowtrueError, match="this arm takes it between") as caught:
        rigid_live(bench(), handled(handles_of(bench()), "right", place_mm=104.0, bend_deg=5.0))
    assert "\n" not in str(caught.value)


def test_a_bow_that_yields_is_answered_with_a_note():
    soft = workbench(with_value(demo(), "bow.proof_mpa", 250.0), shelf=SHELF)
    assert "yields" in soft.refusal  # the plan refuses it
    live = flexed_live(soft, handles_of(soft))
    assert live.max_stress_mpa > live.proof_mpa
    assert any("yields" in note for note in live.notes)
    again = flexed_live(soft, handled(handles_of(soft), "right", bend_deg=1.0), near=live)
    assert any("yields" in note for note in again.notes)


def test_handles_are_kept_in_the_draft_as_one_step_and_make_the_same_bow(tmp_path: Path):
    moved = handled(handles_of(bench()), "right", force_n=3.5, strap_up_mm=3.0, strap_back_mm=-2.0)
    draft = kept_handles(demo(), bench(), moved)
    assert draft.value("pull.right.force_n") == 3.5
    assert undone(draft).values == demo().values
    again = workbench(draft, shelf=SHELF, clear=False)
    there = flexed_live(again, handles_of(again))
    here = flexed_live(workbench(demo(), shelf=SHELF, clear=False), moved)
    for side in SIDES:
        assert there.sides[side].offset_mm == pytest.approx(here.sides[side].offset_mm, abs=5e-3)
    apart = handled(handles_of(bench(), linked=False), "right", place_mm=50.0)
    with pytest.raises(BadValueError, match="a case has one place for both sides: link the sides"):
        kept_handles(demo(), bench(), apart)
    assert kept_handles(demo(), bench(), handles_of(bench())) is demo()


def test_a_strap_along_an_angle_has_no_place_to_move():
    draft = with_value(demo(), "pull.right", {"force_n": 4.0, "angle_deg": -25.0})
    draft = without_landmark(draft, "strap_right_mm")
    angled = workbench(draft, shelf=SHELF, clear=False)
    start = handles_of(angled, linked=False)
    assert ranges(angled, start)["right"]["strap_up_mm"] == (0.0, 0.0)
    assert ranges(angled, start)["left"]["strap_up_mm"] != (0.0, 0.0)
    moved = handled(start, "right", strap_up_mm=5.0)
    assert rigid_live(angled, moved).sides["right"].offset_mm == pytest.approx(
        rigid_live(angled, start).sides["right"].offset_mm
    )
    with pytest.raises(
        BadValueError, match=r"the right strap was moved, but .* place landmarks\.strap_right_mm first"
    ):
        kept_handles(draft, angled, moved)


def test_straps_laid_taut_follow_the_hooks_live():
    draft = without_landmark(without_landmark(demo(), "strap_left_mm"), "strap_right_mm")
    taut = workbench(draft, shelf=SHELF, clear=False)
    assert all(taut.ready.straps[s].straps[0].band is not None for s in SIDES)
    start = handles_of(taut)
    low, up = (flexed_live(taut, handled(start, "right", bend_deg=b)) for b in (0.0, 15.0))
    for side in SIDES:
        assert up.sides[side].offset_mm > low.sides[side].offset_mm
    ends, live = trued(taut, start)
    assert all(abs(live.sides[s].offset_mm) < 0.03 for s in SIDES)
    assert ends.right.bend_deg > 0.0


# Only what has changed ----------------------------------------------------------------------------------------


@cache
def first_shelf() -> Shelf:
    shelf = Shelf()
    workbench(demo(), shelf=shelf)
    return shelf


def copied(shelf: Shelf) -> Shelf:
    """A shelf of its own with the same things on it."""
    new = Shelf()
    new.made = dict(shelf.made)
    new._kinds = {kind: OrderedDict(row) for kind, row in shelf._kinds.items()}
    return new


def made(before: dict[str, int], shelf: Shelf) -> dict[str, int]:
    """What was made since ``before``."""
    new = {kind: count - before.get(kind, 0) for kind, count in shelf.made.items()}
    return {kind: count for kind, count in new.items() if count}


@pytest.mark.parametrize(
    ("change", "again"),
    [
        (lambda d: d, {}),
        (lambda d: with_value(d, "choices.target", "furcation"), {"bend": 1}),
        (lambda d: with_value(d, "age_years", 12.0), {}),
        (lambda d: with_value(d, "pull.right.force_n", 3.9), {"bend": 1}),
        pytest.param(
            lambda d: with_value(d, "bow.arm_length_mm", 104.0), {"bow": 1, "bend": 1}, marks=pytest.mark.slow
        ),
        (lambda d: with_landmark(d, "strap_left_mm", (41.0, 103.0, -12.0)), {"bend": 1}),
        pytest.param(
            lambda d: with_landmark(d, "mouth_corner_left_mm", (20.4, -3.9, 1.9)),
            {"bow": 1, "bend": 1},
            marks=pytest.mark.slow,
        ),
        (
            lambda d: with_landmark(d, "tube_left_mesial_mm", (28.4, 28.7, 7.0)),
            {"report": 1, "bow": 1, "bend": 1},
        ),
        (lambda d: without_scan(d, "arch"), {"scans in one frame": 1}),
    ],
)
def test_only_what_depends_on_a_change_is_made_again(change: Any, again: dict[str, int]):
    shelf = copied(first_shelf())
    before = dict(shelf.made)
    workbench(change(demo()), shelf=shelf)
    assert made(before, shelf) == again


def test_switching_the_target_makes_nothing_and_answers_as_a_new_case_does():
    bench()
    before = dict(SHELF.made)
    switched = aimed(bench(), "furcation")
    assert made(before, SHELF) == {}
    fresh = workbench(with_value(demo(), "choices.target", "furcation"), shelf=SHELF)
    for side in SIDES:
        np.testing.assert_array_equal(switched.centres[side].target_mm, fresh.centres[side].target_mm)
        np.testing.assert_array_equal(switched.ready.targets_mm[side], fresh.ready.targets_mm[side])
    here = solved(switched)[1]
    there = solved(fresh)[1]
    for side in SIDES:
        assert here.sides[side].bend_deg == pytest.approx(there.sides[side].bend_deg, abs=1e-9)
    with pytest.raises(BadValueError, match="finite elements have not been solved for this case"):
        aimed(bench(), "finite_elements")
    with pytest.raises(BadValueError, match="unknown method 'guess'"):
        aimed(bench(), "guess")


def test_estimates_made_in_a_child_are_found_by_the_bench():
    case = case_of(with_value(demo(), "choices.samples", 0))
    reports = estimated(case, demo().folder, progress=lambda _: None)
    travelled = pickle.loads(pickle.dumps(reports))
    shelf = Shelf()
    keep_reports(demo(), travelled, shelf)
    before = dict(shelf.made)
    found = workbench(demo(), shelf=shelf, clear=False)
    assert "report" not in made(before, shelf)
    assert found.reports["right"] is travelled["right"]
    np.testing.assert_array_equal(found.centres["left"].target_mm, bench().centres["left"].target_mm)


def test_a_file_that_changes_is_read_again(tmp_path: Path):
    for file in (*demo_folder().glob("*.stl"), demo_folder() / "case.toml"):
        shutil.copy(file, tmp_path)
    shelf = Shelf()
    draft = opened(tmp_path / "case.toml")
    first = readings(draft, shelf)
    before = dict(shelf.made)
    with (tmp_path / "arch.stl").open("r+b") as stream:
        stream.write(b"exported again")  # within the header of 80 bytes
    second = readings(draft, shelf)
    assert made(before, shelf) == {"hash": 1, "scan": 1, "scans in one frame": 1}
    assert second.scans["arch"].sha256 != first.scans["arch"].sha256
    assert second.scans["face"].surface is first.scans["face"].surface


def test_the_shelf_is_bounded_and_keeps_refusals():
    shelf = Shelf()
    for k in range(100):
        shelf.kept("thing", k, lambda k=k: k)
    assert shelf.has("thing", 99)
    assert not shelf.has("thing", 0)
    for _ in range(2):
        with pytest.raises(BadFileError, match="cut"):
            shelf.kept("bad", 1, cut)
    assert shelf.made["bad"] == 1
    assert not shelf.has("bad", 1)


def cut() -> None:
    raise BadFileError("the file is cut.")


# Incomplete and wrong cases -----------------------------------------------------------------------------------


def test_an_incomplete_draft_has_no_bench_but_shows_its_scans(tmp_path: Path):
    for file in demo_folder().glob("*.stl"):
        shutil.copy(file, tmp_path)
    (tmp_path / "cut.stl").write_bytes((demo_folder() / "arch.stl").read_bytes()[:-200])
    draft = with_scan(started(tmp_path, "crane"), "right_molar", "molar_16.stl", tooth=16, axes="RAS")
    draft = with_scan(with_scan(draft, "arch", "cut.stl"), "left_molar", "molar_26.stl")
    seen = readings(draft, Shelf())
    assert list(seen.scans) == ["right_molar"]
    assert seen.refused["arch"].startswith("scans.arch: ")
    assert seen.refused["left_molar"].startswith("scans.left_molar.tooth: is missing")
    with pytest.raises(CaseError, match="pull: is missing"):
        workbench(draft)
    less = without_landmark(demo(), "incisor_contact_mm")
    with pytest.raises(CaseError, match=r"landmarks\.incisor_contact_mm: is missing; a plan needs it"):
        workbench(less)


def test_a_scan_outside_the_folder_is_not_read(tmp_path: Path):
    (tmp_path / "case").mkdir()
    shutil.copy(demo_folder() / "arch.stl", tmp_path)
    text = (demo_folder() / "case.toml").read_text("utf-8").replace('"arch.stl"', '"../arch.stl"')
    (tmp_path / "case" / "case.toml").write_text(text, "utf-8")
    for name in ("molar_16.stl", "molar_26.stl", "face.stl"):
        shutil.copy(demo_folder() / name, tmp_path / "case")
    draft = opened(tmp_path / "case" / "case.toml")
    seen = readings(draft, Shelf())
    assert "must lie in the case's folder" in seen.refused["arch"]
    assert set(seen.scans) == {"right_molar", "left_molar", "face"}
    with pytest.raises(BowtrueError, match=r"^scans\.arch: '\.\./arch\.stl' must lie in the case's folder"):
        workbench(draft)


def test_a_bend_that_is_refused_is_told_and_the_bench_stands():
    # A strap point in front of the hooks: no plan, but the handles still show where the bow is.
    draft = with_landmark(demo(), "strap_left_mm", (60.0, -20.0, -10.0))
    found = workbench(draft, shelf=SHELF)
    assert found.answer is None
    assert "in front of the hook" in found.refusal
    with pytest.raises(BowtrueError, match="in front of the hook"):
        solved(found)
    with pytest.raises(BowtrueError, match="in front of the hook"):
        rigid_live(found, handles_of(found))


def test_a_case_saved_by_the_desk_is_planned_as_it_was(tmp_path: Path):
    for file in (*demo_folder().glob("*.stl"), demo_folder() / "case.toml"):
        shutil.copy(file, tmp_path)
    draft = saved(with_value(opened(tmp_path / "case.toml"), "choices.samples", 0))
    _, found = solved(workbench(opened(draft.file), shelf=SHELF))
    for side in SIDES:
        assert found.sides[side].bend_deg == pytest.approx(plan().sides[side].bend_deg, abs=1e-6)


# The curve ------------------------------------------------------------------------------------------------------


def test_the_curve_meets_the_wanted_offset_where_the_solver_ends():
    handles, _ = answer()
    around = handles.left.bend_deg + np.array([-6.0, -3.0, 0.0, 3.0, 6.0])
    other = Handles(handles.right, handles.left, linked=False)
    curve = offset_curve(bench(), other, "left", around.tolist(), near=at_rest())
    assert curve.flexed_meets_deg == pytest.approx(handles.left.bend_deg, abs=0.1)
    assert curve.flexed_mm[2] == pytest.approx(0.0, abs=0.03)
    assert bool((np.diff(curve.flexed_mm) > 0.0).all())
    assert bool((np.diff(curve.rigid_mm) > 0.0).all())
    assert bool((curve.rigid_mm > curve.flexed_mm).all())  # the load lowers the hook, and the line with it


def test_a_curve_has_gaps_where_a_bend_is_refused():
    start = handled(handles_of(bench()), "right", place_mm=101.0)
    curve = offset_curve(bench(), start, "right", [-95.0, 0.0, 5.0])
    assert np.isnan(curve.rigid_mm[0])
    assert np.isnan(curve.flexed_mm[0])
    assert bool(np.isfinite(curve.flexed_mm[1:]).all())
    with pytest.raises(BadValueError, match="each greater than the one before"):
        offset_curve(bench(), start, "right", [1.0, 1.0])
