"""The neck and hinges of a case: found from its straps, assumed where it is silent, set where it is not."""

from __future__ import annotations

import copy
from functools import cache

import numpy as np
import pytest

from casework.bow_needs import landmark
from casework.case_file import CaseError, CaseModel, parsed_case
from casework.frame import treatment_rotation
from casework.module_setup import ModuleSetup, module_setup
from casework.posture import NOD_ABOVE_TUBES_MM, hinges_of, postures_of, strap_points
from casework.side_centre import side_centre
from casework.solving import SolvedBend, solved_bend
from demo_meshes import demo_folder
from demo_meshes.face import NECK_FOOT, NECK_HALF_MM, NECK_TOP
from mechanics.sides import SIDES
from mesh_tools.arrays import Array
from mesh_tools.axes import to_lps
from mesh_tools.read import read_surface
from mesh_tools.surface import Surface
from tests.casework.moving import demo_values


def case_of(**module: object) -> CaseModel:
    values = copy.deepcopy(demo_values())
    del values["scans"]
    values["choices"] |= {"samples": 0, "bow": "rigid"}
    values["module"] = {"rate_n_per_mm": 0.15, **module}
    return parsed_case(values)


@cache
def solved() -> tuple[Array, SolvedBend]:
    case = case_of()
    rotation = treatment_rotation(landmark(case, "occlusal_plane_mm"))
    centres = {s: side_centre(case, s, None, rotation) for s in SIDES}
    return rotation, solved_bend(case, centres, rotation)


@cache
def solved_with_face() -> tuple[Surface, SolvedBend]:
    """The flexed bow clear of the face, whose hooks the demo's strap points were made for."""
    case = case_of()
    case = case.model_copy(update={"choices": case.choices.model_copy(update={"bow": "elastic"})})
    face = to_lps(read_surface(demo_folder() / "face.stl"), "LSA")
    centres = {s: side_centre(case, s, None, solved()[0]) for s in SIDES}
    return face, solved_bend(case, centres, solved()[0], face=face)


def setup(case: CaseModel) -> ModuleSetup:
    return module_setup(case, solved()[1], solved()[0])


def test_the_neck_is_the_one_the_demo_was_made_with():
    # The invented head's neck: half axes 43 and 45 mm about an axis through NECK_TOP and NECK_FOOT.
    neck = module_setup(case_of(), solved_with_face()[1], solved()[0]).neck
    assert neck is not None
    assert neck.radius_mm == pytest.approx(float(np.mean(NECK_HALF_MM)), abs=2.5)
    strap = solved()[0] @ landmark(case_of(), "strap_left_mm")
    share = (NECK_TOP[2] - strap[2]) / (NECK_TOP[2] - NECK_FOOT[2])
    axis = NECK_TOP + share * (NECK_FOOT - NECK_TOP)
    np.testing.assert_allclose(
        neck.centre_mm[:2], axis[:2], atol=6.0
    )  # that neck leans back, ours stands upright


def test_the_straight_strap_is_the_plans_own():
    found, (_, bend) = setup(case_of()), solved()
    hooks = bend.solution.worn_after.hook_mm
    points, lain = strap_points(bend, 0, stem="strap"), found.lay(hooks)
    for s in SIDES:
        np.testing.assert_allclose(lain.leaves_mm[s], points[s], atol=1e-9)
        assert lain.half_mm[s] == found.half_mm[s]


def test_the_scanned_neck_and_the_cylinder_give_lengths_alike():
    # Independent routes to one length: a taut line over the scan's faces, and a helix round a fitted cylinder.
    face, bend = solved_with_face()
    round_it = module_setup(case_of(), bend, solved()[0])
    over_it = module_setup(case_of(), bend, solved()[0], face=face)
    assert over_it.on_skin
    assert not round_it.on_skin
    for s in SIDES:
        assert over_it.half_mm[s] == pytest.approx(round_it.half_mm[s], rel=0.02)
        assert over_it.half_mm[s] != round_it.half_mm[s]


def test_hinges_are_assumed_above_the_neck_or_taken_from_the_case():
    rotation, bend = solved()
    found = setup(case_of())
    assert found.neck is not None
    assert found.hinges is not None
    tubes = bend.case.bow.tubes
    height = np.mean([tubes[s].middle_mm[2] for s in SIDES]) + NOD_ABOVE_TUBES_MM
    np.testing.assert_allclose(found.hinges.nod_mm, [*found.neck.centre_mm[:2], height])
    np.testing.assert_allclose(found.hinges.turn_mm, found.neck.centre_mm)
    given = case_of(turn_axis_mm=[1.0, 70.0, 5.0], nod_axis_mm=[0.0, 75.0, 30.0])
    own = hinges_of(given, rotation, found.neck, tubes)
    np.testing.assert_allclose(own.turn_mm, rotation @ [1.0, 70.0, 5.0])
    np.testing.assert_allclose(own.nod_mm, rotation @ [0.0, 75.0, 30.0])


def test_postures_are_the_cases_and_none_for_a_cap():
    case = case_of(turn_deg=25.0, nod_deg=10.0)
    found = {p.name: (p.turn_deg, p.nod_deg) for p in postures_of(case, neck=True)}
    assert found == {
        "straight": (0.0, 0.0), "turned right": (-25.0, 0.0), "turned left": (25.0, 0.0),
        "chin down": (0.0, 10.0), "chin up": (0.0, -10.0),
    }  # fmt: skip
    assert [p.name for p in postures_of(case, neck=False)] == ["straight"]


def test_holes_shorten_both_ends_by_the_pitch():
    found = setup(case_of(slack_mm=200.0, hole_pitch_mm=4.0, holes=3))
    assert found.holes == (1, 2, 3)
    first, third = found.slack_mm(1), found.slack_mm(3)
    assert sum(first.values()) == pytest.approx(200.0)
    for s in SIDES:
        assert first[s] - third[s] == pytest.approx(8.0)
        assert found.half_mm[s] - first[s] == pytest.approx(0.5 * (sum(found.half_mm.values()) - 200.0))


def test_a_strap_without_a_place_is_refused():
    values = copy.deepcopy(demo_values())
    del values["scans"]
    values["choices"] |= {"samples": 0, "bow": "rigid"}
    for s in SIDES:
        del values["landmarks"][f"strap_{s}_mm"]
    case = parsed_case(values)
    rotation = treatment_rotation(landmark(case, "occlusal_plane_mm"))
    bend = solved_bend(case, {s: side_centre(case, s, None, rotation) for s in SIDES}, rotation)
    with pytest.raises(CaseError, match=r"landmarks\.strap_right_mm: is missing"):
        strap_points(bend, 0, stem="strap")
