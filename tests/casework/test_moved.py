"""Movement between two scans: known motions of the demo arch's molars found back, noise, growth, and refusals."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from casework.moved.moved import Moved, moved_molars
from casework.moved.regions import Hold, RegionError, crown_faces, held_faces
from casework.moved.telling import moved_as_dict, moved_text
from casework.moved.toothmove import ToothMove, prediction
from casework.moved.tracking import TrackError
from casework.moved.verdict import compared
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array
from mesh_tools.registration.motion import RigidMotion
from mesh_tools.surface import Surface
from tests.casework.moved_arch import case_and_plan, elsewhere, motion_of, moved_arch

RIGHT = {"back": 2.4, "up": -0.3, "out": 0.2, "tip": 5.0, "torque": -2.0, "turn": 3.0}
LEFT = {"back": 1.0, "up": 0.4, "out": -0.3, "tip": -3.0}


@cache
def course(kind: str = "rest", noise_mm: float = 0.03) -> tuple[dict[Side, RigidMotion], Moved]:
    """Both molars moved as known, the later scan shaken and in a frame of its own."""
    case, plan = case_and_plan()
    motions: dict[Side, RigidMotion] = {
        "right": motion_of(plan, "right", **RIGHT), "left": motion_of(plan, "left", **LEFT),
    }  # fmt: skip
    later = elsewhere().moved(moved_arch(plan, motions, noise_mm=noise_mm))
    assert plan.arch is not None
    return motions, moved_molars(case, plan, plan.arch, later, hold=Hold(kind), months=6.0)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", ["rest", pytest.param("palate", marks=pytest.mark.slow)])
def test_a_known_movement_is_found(kind: str):
    # Tolerances: 0.05 mm and 0.4 deg, what 0.03 mm of noise and a finite mesh leave of one crown.
    _, found = course(kind)
    for side, made in (("right", RIGHT), ("left", LEFT)):
        move = found.sides[side].move
        wanted = [made.get(k, 0.0) for k in ("out", "back", "up")]
        np.testing.assert_allclose(move.target_mm, wanted, atol=0.12)
        turns = [made.get(k, 0.0) for k in ("tip", "torque", "turn")]
        np.testing.assert_allclose(move.motion.turn_deg, turns, atol=0.4)


def test_axis_and_centre_of_rotation_are_those_of_the_motion():
    # Second route: from the known motion itself, the points that it leaves in place in side view and the screw's line.
    _, plan = case_and_plan()
    motions, found = course("rest")
    x = plan.treatment_rotation[0]
    for side in SIDES:
        move, motion = found.sides[side].move, motions[side]
        assert move.screw is not None
        assert move.pole_mm is not None
        travel = motion.applied(move.pole_mm[None])[0] - move.pole_mm
        assert np.linalg.norm(travel - (travel @ x) * x) < 0.25
        values, vectors = np.linalg.eig(motion.rotation)
        axis = np.real(vectors[:, np.argmin(np.abs(values - 1.0))])
        assert abs(axis @ move.screw.axis) > np.cos(np.radians(5.0))
        gone = motion.applied(move.screw.point_mm[None])[0] - move.screw.point_mm
        assert np.linalg.norm(gone - (gone @ axis) * axis) < 0.25
        assert move.pole_up_mm == pytest.approx(
            float(plan.treatment_rotation[2] @ (move.pole_mm - plan.sides[side].target_mm)), abs=0.5
        )


def test_the_crown_is_the_middle_of_its_faces():
    _, plan = case_and_plan()
    assert plan.arch is not None
    motions, found = course("rest")
    for side in SIDES:
        faces = crown_faces(plan.arch, plan, side)
        middle = plan.arch.face_centres_mm[faces].mean(axis=0)
        travel = plan.treatment_rotation @ (motions[side].applied(middle[None])[0] - middle)
        np.testing.assert_allclose(np.abs(found.sides[side].move.motion.crown_mm), np.abs(travel), atol=0.05)


def test_nothing_moved_is_said():
    case, plan = case_and_plan()
    assert plan.arch is not None
    later = elsewhere(3).moved(moved_arch(plan, {}, noise_mm=0.04, seed=5))
    found = moved_molars(case, plan, plan.arch, later, months=3.0)
    for side in found.sides.values():
        assert side.compared.verdict == "nothing moved"
        assert side.move.screw is None or np.degrees(side.move.screw.angle) < 2.5
    assert "no movement beyond the noise" in moved_text(found)


def predicted_motion(side: Side, crown_mm: float) -> RigidMotion:
    """The molar moved as the plan predicts, its crown by so much."""
    _, plan = case_and_plan()
    middle = found_middle(side)
    way = prediction(plan, side, middle)
    assert way is not None
    out, back, up, tip, torque, turn = crown_mm * way.way
    turned = motion_of(plan, side, tip=tip, torque=torque, turn=turn)
    sign = -1.0 if side == "right" else 1.0
    want = middle + plan.treatment_rotation.T @ np.array([sign * out, back, up])
    return RigidMotion(turned.rotation, turned.shift_mm + want - turned.applied(middle[None])[0])


def found_middle(side: Side) -> Array:
    _, plan = case_and_plan()
    assert plan.arch is not None
    return np.asarray(plan.arch.face_centres_mm[crown_faces(plan.arch, plan, side)].mean(axis=0))


@pytest.mark.parametrize("grown", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_a_predicted_movement_agrees_and_growth_is_allowed_for(grown: bool):
    case, plan = case_and_plan()
    assert plan.arch is not None
    extra = plan.treatment_rotation.T @ np.array([0.0, -0.8, -1.5]) if grown else None
    motions: dict[Side, RigidMotion] = {s: predicted_motion(s, 1.5) for s in SIDES}
    later = moved_arch(plan, motions, noise_mm=0.03, grown=extra)
    found = moved_molars(case, plan, plan.arch, later, months=24.0)
    for side in found.sides.values():
        assert side.compared.verdict == ("growth may explain it" if grown else "as predicted")
        if not grown:
            assert side.compared.along_mm == pytest.approx(1.5, abs=0.15)
            assert side.compared.angle_deg is not None
            assert side.compared.angle_deg < 6.0
    if grown:
        soon = moved_molars(case, plan, plan.arch, later, months=1.0)
        assert all(s.compared.verdict == "differs" for s in soon.sides.values())


def test_growth_is_not_allowed_for_without_months_or_age_or_in_an_adult():
    _, plan = case_and_plan()
    _, found = course("rest")
    move = found.sides["right"].move
    way = prediction(plan, "right", found_middle("right"))
    for months, age in ((None, 10.0), (24.0, None), (24.0, 30.0)):
        assert not compared(move, way, months=months, age_years=age).growth_mm.any()
    assert compared(move, None, months=None, age_years=None).verdict == "no prediction"


@pytest.mark.slow
def test_the_noise_told_covers_what_noise_does():
    # Resampling told against repetition: 12 shaken scans scatter by no more than what one of them says of itself.
    _, plan = case_and_plan()
    assert plan.arch is not None
    case, _ = case_and_plan()
    motions: dict[Side, RigidMotion] = {"right": motion_of(plan, "right", back=1.0, tip=2.0)}
    seen: list[ToothMove] = []
    for seed in range(12):
        later = moved_arch(plan, motions, noise_mm=0.08, seed=seed)
        seen.append(moved_molars(case, plan, plan.arch, later).sides["right"].move)
    scatter = np.std([np.concatenate([m.motion.crown_mm, m.motion.turn_deg]) for m in seen], axis=0)
    told = np.concatenate([seen[0].sd.crown_mm, seen[0].sd.turn_deg])
    assert (scatter < 2.0 * told).all()
    off = np.abs([m.motion.turn_deg[0] - 2.0 for m in seen])
    assert (off < 3.0 * told[3]).all()


@pytest.mark.slow
def test_chosen_teeth_and_a_box_are_held():
    _, plan = case_and_plan()
    case, _ = case_and_plan()
    assert plan.arch is not None
    planes = np.array(case.landmarks.occlusal_plane_mm)
    seeds = np.array([[0.0, 0.0, 3.0], [-14.0, 8.0, 3.0], [14.0, 8.0, 3.0]])
    teeth = held_faces(plan.arch, plan, Hold("teeth", seeds, 6.0), occlusal_mm=planes)
    away = np.linalg.norm(plan.arch.face_centres_mm[teeth][:, None] - seeds, axis=2).min(axis=1)
    assert away.max() < 6.0
    box = held_faces(
        plan.arch, plan, Hold("box", box_mm=np.array([[-15, -8, -2], [15, 12, 9.0]])), occlusal_mm=planes
    )
    assert plan.arch.face_centres_mm[box][:, 1].max() <= 12.0
    later = moved_arch(plan, {"right": motion_of(plan, "right", **RIGHT)}, noise_mm=0.02)
    found = moved_molars(case, plan, plan.arch, later, hold=Hold("teeth", seeds, 6.0))
    assert found.sides["right"].move.motion.turn_deg[0] == pytest.approx(5.0, abs=0.5)
    assert "3 chosen places within 6 mm" in moved_text(found)


@pytest.mark.slow
def test_without_a_scan_of_the_molar_the_tube_leads_to_the_crown():
    case, plan = case_and_plan()
    assert plan.arch is not None
    bare = replace(plan, molars={})
    later = moved_arch(plan, {"right": motion_of(plan, "right", back=1.5, tip=4.0)}, noise_mm=0.02)
    found = moved_molars(case, bare, plan.arch, later)
    assert found.sides["right"].move.motion.turn_deg[0] == pytest.approx(4.0, abs=0.6)
    assert found.sides["right"].move.target_mm[1] == pytest.approx(1.5, abs=0.2)


def lump() -> Surface:
    """A wavy sheet that is no arch."""
    x, y = np.meshgrid(np.linspace(-25, 25, 60), np.linspace(-5, 45, 60))
    z = 3.0 * np.sin(0.35 * x + 0.02 * np.abs(y) ** 1.4) * np.cos(0.31 * y) + 0.004 * x**2
    points = np.stack([x.ravel(), y.ravel(), z.ravel()], axis=1)
    k = (np.arange(59)[:, None] * 60 + np.arange(59)[None]).ravel()
    faces = np.concatenate([np.stack([k, k + 60, k + 1], 1), np.stack([k + 1, k + 60, k + 61], 1)])
    return Surface(points, faces)


@pytest.mark.slow
def test_scans_that_share_nothing_are_one_line():
    case, plan = case_and_plan()
    assert plan.arch is not None
    with pytest.raises(TrackError, match="the later scan does not fit the earlier one: ") as told:
        moved_molars(case, plan, plan.arch, lump())
    assert len(str(told.value).splitlines()) == 1


def test_refusals():
    case, plan = case_and_plan()
    assert plan.arch is not None
    far = plan.arch.moved(np.eye(3), [0.0, 40.0, 0.0])
    with pytest.raises(RegionError, match=r"shows \d+ mm2 of the right molar's crown where the case has it"):
        moved_molars(case, plan, far, plan.arch)
    with pytest.raises(RegionError, match="give a --seed on each"):
        moved_molars(case, plan, plan.arch, plan.arch, hold=Hold("teeth"))
    with pytest.raises(RegionError, match="1 chosen place within 1 mm hold 0 mm2"):
        moved_molars(case, plan, plan.arch, plan.arch, hold=Hold("teeth", np.zeros((1, 3)) + 90.0, 1.0))
    with pytest.raises(RegionError, match="give --box"):
        moved_molars(case, plan, plan.arch, plan.arch, hold=Hold("box"))
    front = plan.arch.with_faces(plan.arch.face_centres_mm[:, 1] < 24.0)
    with pytest.raises(TrackError, match="right molar"):
        moved_molars(case, plan, plan.arch, front)


def test_text_and_json_tell_the_same():
    _, found = course("rest")
    text, tree = moved_text(found), moved_as_dict(found)
    right = tree["sides"]["right"]
    assert f"{right['turn_deg']['tip']:.1f} ± " in text
    assert right["verdict"] == "differs"
    assert "DIFFERS from the prediction" in text
    assert right["screw"]["angle_deg"] == pytest.approx(np.sqrt(5.0**2 + 2.0**2 + 3.0**2), abs=0.5)
    assert "cephalogram" in text
    assert "not a medical device" in text
