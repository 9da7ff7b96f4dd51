"""The two sides as the clinician stands: what is drawn on which side, the picture itself, and the report's rows."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from casework.plan import CheekMarks, Plan
from mechanics.clearance.along import Clearance, MouthExit, WireClearance
from mechanics.sides import SIDES, Side, outward_sign
from mechanics.strap.path import StrapPath
from tests.viewer.trial_plan import ellipsoid, trial_plan
from viewer.cheek_items import CHEEK, NEAREST, STRAP_SKIN, exit_words, gap_words
from viewer.palette import look
from viewer.report import report_html
from viewer.report_on_face import cheek_rows, clearance_rows
from viewer.scene_of_plan import scene_of_plan
from viewer.scene_of_sides import scene_of_sides
from viewer.side_png import write_side_png
from viewer.view import beside, close_up, view_from


def marks(side: Side) -> CheekMarks:
    x = 48.0 * outward_sign(side)
    mark, corner, dot = np.array([[x, -3.2, -2.0], [x, -3.2, 7.4], [x, 0.7, 7.4]])
    path = np.array([mark, corner, dot])
    return CheekMarks(mark, dot, np.array([x, -1.2, 8.0]), corner, 9.4, 3.9, 10.0, -2.0, path, path, 23.0)


def neck() -> StrapPath:
    t = np.linspace(-0.5, np.pi + 0.5, 60)
    around = np.stack([-50.0 * np.cos(t), 80.0 + 45.0 * np.sin(t), np.full_like(t, -40.0)], axis=1)
    points = np.concatenate([[[-57.0, 10.0, -5.0]], around, [[57.0, 10.0, -5.0]]])
    on = np.ones(len(points), dtype=bool)
    on[[0, -1]] = False
    ends: dict[Side, Any] = {"right": points[1], "left": points[-2]}
    return StrapPath("neck", points, on, ends, 260.0, 2.0 * on)


def clearance(plan: Plan) -> Clearance:
    wire = plan.worn_after.outer
    s = np.linspace(-80.0, 80.0, 161)
    at = wire.at(s + 0.5 * wire.length_mm)
    region = tuple("lips" if abs(v) < 20.0 else "mouth corner" if abs(v) < 30.0 else "cheek" for v in s)
    gap = np.where(np.abs(s) < 20.0, -3.0, 4.0 + 0.02 * np.abs(s))
    exits = {side: MouthExit(side, 4.2, 1.0, 20.0, at[100 if side == "left" else 60]) for side in SIDES}
    return Clearance(WireClearance("outer", s, gap, at, at, region), None, exits)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def plan() -> Plan:
    plain = trial_plan()
    sides = {s: replace(plain.sides[s], cheek=marks(s)) for s in SIDES}
    face = ellipsoid([0.0, 20.0, 0.0], [52.0, 70.0, 90.0], n=60)
    return replace(plain, sides=sides, face=face, strap_paths=(neck(),), clearance=clearance(plain))


def test_each_side_sees_its_own_cheek_marks_strap_and_half_face(plan: Plan) -> None:
    scene = scene_of_sides(plan)
    for side in SIDES:
        view = beside(scene, side, width_over_height=1.2)
        seen = [i for i in scene.items() if view.shows(i)]
        roles = [i.role for i in seen]
        assert roles.count("face") == roles.count("cheek_dot") == roles.count("cheek_mark") == 1
        assert all(i.side in (None, side) for i in seen)
        texts = {d.text for d in scene.dimensions if view.shows(d)}
        assert texts == {"9.4 mm up over the skin", "3.9 mm back over the skin"}
        assert {n.text for n in scene.labels if view.shows(n)} == {"neck strap, 260 mm hook to hook"}
        points = [i.points_mm for i in scene.lines if view.shows(i) and i.role == "strap_skin"]
        assert np.abs(view.flat(np.concatenate(points)))[:, 0].max() <= view.half_width_mm


def test_the_halves_of_the_strap_meet_at_the_back_and_leave_out_the_free_ends(plan: Plan) -> None:
    lines = {i.side: i.points_mm for i in scene_of_plan(plan).lines if i.group == STRAP_SKIN}
    np.testing.assert_allclose(lines["right"][-1], lines["left"][0])
    np.testing.assert_allclose(lines["right"][0], plan.strap_paths[0].points_mm[1])
    np.testing.assert_allclose(lines["left"][-1], plan.strap_paths[0].points_mm[-2])


def test_the_page_can_switch_the_marks_on_and_still_pictures_leave_them_out(plan: Plan) -> None:
    scene = scene_of_plan(plan)
    on_face = (CHEEK, NEAREST, STRAP_SKIN)
    assert set(on_face) <= set(scene.groups())
    wide = view_from(scene, "right", width_over_height=1.2)
    assert not any(wide.shows(i) for i in scene.items() if i.group in (CHEEK, NEAREST))
    near = close_up(scene.focuses[0], width_over_height=1.2)
    assert not any(near.shows(i) for i in scene_of_sides(plan).items() if i.group in on_face)


def test_in_a_turned_frame_everything_is_turned_with_it(plan: Plan) -> None:
    turn = np.array([[1.0, 0.0, 0.0], [0.0, np.cos(0.2), -np.sin(0.2)], [0.0, np.sin(0.2), np.cos(0.2)]])
    scene, turned = scene_of_sides(plan), scene_of_sides(replace(plan, treatment_rotation=turn))
    for role in ("cheek_dot", "cheek_mark", "gap"):
        one = [p.at_mm for p in scene.points if p.role == role]
        other = [p.at_mm for p in turned.points if p.role == role]
        np.testing.assert_allclose(np.array(other), np.array(one) @ turn.T, atol=1e-9)


def test_without_face_marks_straps_and_clearance_the_sides_are_drawn_all_the_same(tmp_path: Path) -> None:
    scene = scene_of_sides(trial_plan())
    assert not [i for i in scene.items() if i.group in (CHEEK, NEAREST, STRAP_SKIN)]
    write_side_png(scene, tmp_path / "side.png", window=None)
    assert (tmp_path / "side.png").stat().st_size > 10_000


def test_side_png_shows_dot_strap_and_bow_in_both_panels(plan: Plan, tmp_path: Path) -> None:
    from matplotlib.colors import to_rgb
    from PIL import Image

    write_side_png(scene_of_sides(plan), tmp_path / "side.png", window=None)
    pixels = np.asarray(Image.open(tmp_path / "side.png").convert("RGB")).astype(int)
    middle = pixels.shape[1] // 2
    for half in (pixels[200:, :middle], pixels[200:, middle:]):  # below the header
        for role, least in (("cheek_dot", 40), ("strap_skin", 150), ("bow_after", 300)):
            wanted = np.round(255 * np.array(to_rgb(look(role).colour)))  # type: ignore[arg-type]
            assert (np.abs(half - wanted).max(axis=2) < 60).sum() > least, role


def test_the_report_says_marks_and_gaps_in_words(plan: Plan) -> None:
    sides = [(s, plan.sides[s]) for s in SIDES]
    rows = {r["name"]: r["cells"] for r in [*cheek_rows(sides), *clearance_rows(plan, sides)]}
    assert rows["Mark to dot"] == ["9.4 mm up, 3.9 mm back"] * 2
    assert rows["Mark to the rule of thumb's dot"] == ["10.0 mm up, 2.0 mm forward"] * 2
    assert rows["Outer arm to the cheek"] == ["4.6 mm, 30 mm from the middle"] * 2
    assert rows["Outer bow to the lips"] == ["between the lips, 3.0 mm inside them as scanned"] * 2
    assert rows["Leaves the mouth"] == ["4.2 mm above the mouth corner"] * 2
    page = report_html(plan, scene_of_plan(plan), side_png=b"\x89PNG")
    assert "On the cheek" in page
    assert "As you stand beside the patient" in page
    bare = report_html(trial_plan(), scene_of_plan(trial_plan()))
    assert "On the cheek" not in bare
    assert "The worn bow and the face" not in bare


def test_words_of_gaps_and_exits() -> None:
    assert gap_words(5.23) == "5.2 mm off the cheek"
    assert gap_words(-1.0) == "presses 1.0 mm into the cheek"
    assert exit_words(-2.0) == "2.0 mm below the mouth corner"
    assert exit_words(0.01) == "at the height of the mouth corner"
