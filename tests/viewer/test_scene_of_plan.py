"""The scene says what the plan says, in the treatment frame."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from casework.plan import Plan
from mechanics.sides import SIDES, Side
from mechanics.strap.pull import StrapPull
from mesh_tools.errors import BadValueError
from tests.viewer.trial_plan import estimates, trial_plan
from viewer import scene_of_plan as sp
from viewer.load_items import MOMENTS
from viewer.scene import PointItem, Scene
from viewer.words import method_name


def shapes(scene: Scene) -> np.ndarray:
    """Every coordinate of a scene in one array."""
    arrays = [i.points_mm for i in (*scene.surfaces, *scene.wires, *scene.lines)]
    arrays += [np.atleast_2d(i.at_mm) for i in (*scene.points, *scene.arrows, *scene.labels)]
    arrays += [np.array([d.from_mm, d.to_mm]) for d in scene.dimensions]
    return np.concatenate([*arrays, *(a.vector_mm[None] for a in scene.arrows)])


@pytest.mark.parametrize("turn_deg", [(9.0, -4.0, 6.0), (-20.0, 0.0, 0.0)])
def test_the_scene_does_not_depend_on_how_the_patient_was_held(
    scene: Scene, turn_deg: tuple[float, ...]
) -> None:
    turned = sp.scene_of_plan(trial_plan(Rotation.from_euler("xyz", turn_deg, degrees=True).as_matrix()))
    np.testing.assert_allclose(shapes(turned), shapes(scene), atol=1e-9)


@pytest.mark.parametrize("side", SIDES)
def test_every_estimate_is_a_named_point_at_its_place(scene: Scene, side: Side) -> None:
    found = {p.name: p.at_mm for p in scene.points if p.side == side and p.group == sp.ESTIMATES}
    for method, point in estimates(side).items():
        np.testing.assert_allclose(found[method_name(method)], point, atol=1e-12)
    np.testing.assert_allclose(
        found["target: elastic foundation"], estimates(side)["elastic_foundation"], atol=1e-12
    )


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("when", ["before", "after"])
def test_the_offset_ends_on_its_line_of_force(scene: Scene, side: Side, when: str) -> None:
    """The foot, found from the plan's signed offset, lies on the line drawn from the hook: two routes, one place."""
    drawn = next(d for d in scene.dimensions if d.name == f"{side} offset {when}")
    line = next(i for i in scene.lines if i.name == f"{side} line of force {when} the bend").points_mm[:, 1:]
    along = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    away = drawn.to_mm[1:] - line[0]
    assert abs(along[0] * away[1] - along[1] * away[0]) < 1e-9
    assert abs((drawn.to_mm - drawn.from_mm)[1:] @ along) < 1e-9
    assert drawn.to_mm[0] == pytest.approx(drawn.from_mm[0], abs=1e-12)


@pytest.mark.parametrize("side", SIDES)
def test_lines_of_force_start_in_front_of_the_target_and_run_along_the_strap(
    scene: Scene, side: Side
) -> None:
    target = estimates(side)["elastic_foundation"]
    after = next(i for i in scene.lines if i.role == "line_after" and i.side == side).points_mm
    strap = next(i for i in scene.lines if i.role == "strap" and i.side == side).points_mm
    assert after[0][1] < target[1] - 10.0
    np.testing.assert_allclose(after[1], strap[1], atol=1e-9)


@pytest.mark.parametrize("side", SIDES)
def test_rule_of_thumb_dimensions_are_ten_up_and_two_back(scene: Scene, side: Side) -> None:
    up, back = (d for d in scene.dimensions if d.side == side and d.group == sp.RULE)
    np.testing.assert_allclose(up.to_mm - up.from_mm, [0.0, 0.0, 10.0], atol=1e-12)
    np.testing.assert_allclose(back.to_mm - back.from_mm, [0.0, 2.0, 0.0], atol=1e-12)
    assert (up.text, back.text) == ("10 mm up", "2 mm back")


@pytest.mark.parametrize("side", SIDES)
def test_the_bend_mark_lies_on_the_bent_bow_at_its_arc_length(plan: Plan, scene: Scene, side: Side) -> None:
    mark = next(p for p in scene.points if p.role == "bend" and p.side == side)
    wire = plan.worn_after.outer
    nearest = int(np.argmin(np.linalg.norm(wire.points_mm - mark.at_mm, axis=1)))
    from_middle = abs(wire.s_mm[nearest] - 0.5 * wire.length_mm)
    assert from_middle == pytest.approx(62.0, abs=1.5)  # a station's spacing
    assert mark.name == "bend here: UP 14.5°"


def test_halves_of_a_bow_meet_in_the_middle(scene: Scene) -> None:
    right, left = (w for w in scene.wires if w.group == sp.AFTER and w.name.endswith("outer bow"))
    np.testing.assert_array_equal(right.points_mm[-1], left.points_mm[0])
    assert right.points_mm[0][0] < 0.0 < left.points_mm[-1][0]


def test_a_bend_that_was_not_found_is_not_ordered() -> None:
    plan = trial_plan()
    sides = {**plan.sides, "left": dataclasses.replace(plan.sides["left"], solved=False)}
    scene = sp.scene_of_plan(trial_plan(sides=sides))
    for side in ("right", "left"):  # both share one bow: neither is bent
        assert scene.captions[side].startswith(f"Do not bend the {side} outer arm")
        assert "UP" not in next(p.name for p in scene.points if p.role == "bend" and p.side == side)
    assert sp.scene_of_plan(trial_plan()).captions["right"] == (
        "Bend the right outer arm UP 14.5° at 62 mm from the middle."
    )


def test_face_and_arch_are_drawn_when_there_are_some(plan: Plan, scene: Scene) -> None:
    assert {s.group for s in scene.surfaces} == {sp.MOLARS, MOMENTS}
    more = sp.scene_of_plan(trial_plan(face=plan.molars["left"], arch=plan.molars["right"]))
    assert {s.group for s in more.surfaces} == {sp.MOLARS, sp.FACE, sp.ARCH, MOMENTS}
    assert all(s.opacity < 1.0 for s in more.surfaces if s.group != MOMENTS)


@pytest.mark.parametrize(("name", "opacity"), [("", 1.0), ("x", 0.0), ("x", 1.2)])
def test_items_are_checked_at_the_door(name: str, opacity: float) -> None:
    with pytest.raises(BadValueError, match=r"opacity of|needs a name"):
        PointItem(name=name, group="g", role="target", opacity=opacity, at_mm=np.zeros(3))


def test_both_straps_of_a_combination_are_drawn_from_the_worn_hook() -> None:
    plan = trial_plan()
    hook = plan.sides["left"].hook_mm
    neck, cap = (
        StrapPull.toward(np.add(hook, [0, 60, -30]), force_n=3.0),
        StrapPull.along([0, 0.8, 0.6], force_n=2.0),
    )
    pulls = {"right": plan.straps["right"], "left": neck.combined_with(cap)}
    straps = [
        i for i in sp.scene_of_plan(trial_plan(straps=pulls)).lines if i.role == "strap" and i.side == "left"
    ]
    assert [i.name for i in straps] == ["left strap 1: 3.0 N", "left strap 2: 2.0 N"]
    np.testing.assert_allclose([i.points_mm[0] for i in straps], [hook, hook], atol=1e-12)
    np.testing.assert_allclose(straps[0].points_mm[1], np.add(hook, [0, 60, -30]), atol=1e-12)
    np.testing.assert_allclose(straps[1].points_mm[1] - hook, [0, 48.0, 36.0], atol=1e-12)
