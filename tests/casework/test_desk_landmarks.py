"""Landmarks: where they lie, what speaks against them, and their mirror images, on the demo's scans."""

from __future__ import annotations

import re
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from casework.bow_needs import PLAN_LANDMARKS
from casework.case_file import LandmarksModel
from casework.desk.draft import Draft, opened, with_landmark, without_landmark
from casework.desk.landmarks import (
    KINDS,
    LANDMARKS,
    Plane,
    kind_of,
    lies_on,
    midsagittal,
    mirrored,
    missing,
    point_of,
    snapped,
)
from casework.desk.plausible import plausibility
from casework.desk.readings import readings
from casework.desk.shelf import Shelf
from demo_meshes import demo_folder
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface

PAIRED = [k.name for k in LANDMARKS if k.partner and not k.name.startswith("high_")]


@cache
def demo() -> Draft:
    return opened(demo_folder() / "case.toml")


@cache
def scans() -> dict[str, Surface]:
    return readings(demo(), Shelf()).surfaces


def placed(name: str) -> np.ndarray:
    point = point_of(demo(), name)
    assert point is not None
    return point


def test_every_landmark_a_plan_needs_is_listed_and_every_listed_one_is_a_key():
    assert {k.name for k in LANDMARKS if k.needed} == set(PLAN_LANDMARKS)
    assert set(KINDS) <= set(LandmarksModel.model_fields)
    assert all(kind_of(k.partner).partner == k.name for k in LANDMARKS if k.partner)
    assert len({k.label_key for k in LANDMARKS}) == len(LANDMARKS)


def test_missing_landmarks_are_named_in_the_order_of_placing():
    assert missing(demo()) == ()
    less = without_landmark(without_landmark(demo(), "incisor_contact_mm"), "tube_left_distal_mm")
    assert missing(less) == ("tube_left_distal_mm", "incisor_contact_mm")
    two = demo()
    for _ in range(2):
        two = without_landmark(two, "occlusal_plane_mm", index=0)
    assert missing(two) == ("occlusal_plane_mm",)


def test_an_unknown_landmark_is_refused():
    with pytest.raises(BadValueError, match="unknown landmark 'chin'; known are tube_right_mesial_mm"):
        plausibility(demo(), scans(), "chin")


# Where it lies --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", LANDMARKS, ids=lambda k: k.name)
def test_nothing_speaks_against_the_demos_landmarks(kind: object):
    assert plausibility(demo(), scans(), kind.name) == []  # type: ignore[attr-defined]


def test_the_scan_a_landmark_lies_on_is_the_nearest():
    on = lies_on("occlusal_plane_mm", placed("occlusal_plane_mm")[1], scans())
    assert on is not None
    assert on[0] == "left_molar"
    assert abs(on[1]) < 0.1
    assert lies_on("strap_right_mm", (0, 0, 0), {}) is None


def test_snapping_ends_on_the_surface_and_does_not_move_what_lies_there():
    off = placed("mouth_corner_left_mm") + np.array([2.0, -3.0, 0.5])
    foot = snapped("mouth_corner_left_mm", off, scans())
    face = scans()["face"]
    corners = face.corners_mm
    # Independent: the least distance to a fine sampling of the faces near by is that to the foot, to its spacing.
    near = corners[np.linalg.norm(corners.mean(axis=1) - off, axis=1) < 12.0]
    shares = np.random.default_rng(0).dirichlet(np.ones(3), 400)
    dense = np.einsum("sk,nkc->nsc", shares, near).reshape(-1, 3)
    assert np.linalg.norm(off - foot) <= np.linalg.norm(dense - off, axis=1).min() + 1e-9
    assert np.linalg.norm(off - foot) == pytest.approx(np.linalg.norm(dense - off, axis=1).min(), abs=0.05)
    np.testing.assert_allclose(snapped("mouth_corner_left_mm", foot, scans()), foot, atol=1e-6)


# What speaks against it -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "point", "told"),
    [
        ("tube_right_mesial_mm", (-36, 28.6, 7.8), r"lies \d\.\d mm outside the surface of right_molar; expected"),
        ("tube_right_mesial_mm", (-28.6, 20.0, 7.8), r"the tube is 12\.6 mm long; expected 2 to 8 mm, about 4"),
        ("tube_right_mesial_mm", (-28.9, 36.6, 8.2), "the mesial end lies behind the distal end; mesial is in front"),
        ("tube_right_mesial_mm", (-28.6, 30.0, 6.0), r"tilted 3\d degrees to the occlusal plane; usual is less"),
        ("tube_right_mesial_mm", (-32.9, 30.0, 8.0), r"points 5\d degrees away from straight back; no bow fits"),
        ("tube_left_mesial_mm", (28.4, 28.7, 13.0), r"lies \+10\.\d mm over the occlusal plane; .* 1 to 8 mm apical"),
        ("tube_left_mesial_mm", (-40.0, 28.7, 7.0), "the right and the left one seem exchanged"),
        ("tube_left_mesial_mm", (28.4, 22.0, 7.0), r"lies 6\.\d mm from the mirror image of the other side's"),
        ("mouth_corner_left_mm", (2.0, -10.0, 2.0), r"the mouth corners lie 23 mm apart; about 40 mm in a child"),
        ("mouth_corner_left_mm", (20.0, 40.0, 2.0), r"lies \d+\.\d mm behind the tube's mesial end"),
        ("strap_left_mm", (45.0, 40.0, -13.0), r"lies 9\.\d mm behind the tube; .* expected at least 20 mm"),
        ("strap_left_mm", (41.0, 100.0, 60.0), r"lies \d+ mm above the occlusal plane; a neck strap comes from below"),
        ("high_strap_left_mm", (41.0, 100.0, -40.0), r"lies \d+ mm below the occlusal plane; a head cap's strap"),
        ("incisor_contact_mm", (0.0, 20.0, 4.3), r"lies 8\.\d mm in front of the tubes; a bow needs at least 12 mm"),
        ("incisor_contact_mm", (9.0, -2.0, 4.3), r"lies \d\.\d mm from the middle between both sides"),
    ],
)  # fmt: skip
def test_a_misplaced_landmark_is_told_with_its_number(name: str, point: tuple[float, ...], told: str):
    lines = plausibility(with_landmark(demo(), name, point), scans(), name)
    assert any(re.search(told, line) for line in lines), lines


def test_a_lone_landmark_on_the_wrong_side_is_told_by_the_midline():
    draft = without_landmark(demo(), "strap_left_mm")
    lines = plausibility(with_landmark(draft, "strap_right_mm", (41.0, 103.0, -13.0)), {}, "strap_right_mm")
    assert any("mm beyond the middle, on the other side" in line for line in lines), lines


def test_the_hook_of_a_bow_at_hand_decides_about_the_strap():
    hooks = {"left": placed("strap_left_mm") + np.array([0.0, 3.0, 0.0])}
    lines = plausibility(demo(), scans(), "strap_left_mm", hooks_mm=hooks)
    assert any(re.search(r"lies \d\.\d mm in front of the hook", line) for line in lines), lines


def test_the_occlusal_plane_is_doubted():
    def doubts(*points: tuple[float, float, float]) -> str:
        draft = without_landmark(demo(), "occlusal_plane_mm")
        for point in points:
            draft = with_landmark(draft, "occlusal_plane_mm", point)
        return " / ".join(plausibility(draft, {}, "occlusal_plane_mm"))

    right, left, front = (-25.0, 29.0, 3.7), (25.0, 29.0, 3.0), (0.0, 0.0, 0.3)
    assert doubts(right, left, front) == ""
    assert "2 of at least 3 points are placed" in doubts(right, left)
    assert "within 0.00 mm of one line" in doubts(right, left, (0.0, 29.0, 3.35))
    assert "tilted" in doubts(right, left, (0.0, 20.0, -30.0))
    assert "in front view the plane leans" in doubts((-25.0, 29.0, 8.0), left, front)
    assert "point 4 lies 2." in doubts(right, left, front, (0.0, 20.0, 6.0))


# Mirror images --------------------------------------------------------------------------------------------------


@given(st.tuples(*[st.floats(-50, 50)] * 3), st.tuples(*[st.floats(-1, 1)] * 2))
@settings(max_examples=50, deadline=None)
def test_a_mirror_image_of_a_mirror_image_is_the_point(point: tuple[float, ...], lean: tuple[float, float]):
    plane = Plane(np.array([1.0, 2.0, 3.0]), np.array([1.0, *lean]))
    image = plane.mirrored(point)
    np.testing.assert_allclose(plane.mirrored(image), point, atol=1e-9)
    assert plane.height_mm(image) == pytest.approx(-plane.height_mm(point), abs=1e-9)


def test_the_midsagittal_plane_of_a_symmetric_case_is_its_own():
    # The demo made exactly symmetric about a plane turned 5 degrees: the plane is found again.
    turn = np.radians(5.0)
    normal = np.array([np.cos(turn), np.sin(turn), 0.0])
    wanted = Plane(np.array([2.0, 0.0, 0.0]), normal)
    draft = without_landmark(without_landmark(demo(), "incisor_contact_mm"), "occlusal_plane_mm")
    for name in PAIRED:
        if kind_of(name).side == "right":
            draft = with_landmark(draft, kind_of(name).partner or "", wanted.mirrored(placed(name)))
    for point in ((-25, 29, 0), (25, 29, 0), (0, 0, 0)):
        draft = with_landmark(draft, "occlusal_plane_mm", point)
    found = midsagittal(draft)
    assert found is not None
    np.testing.assert_allclose(found.normal, normal, atol=1e-4)
    assert float(found.height_mm(wanted.point_mm)) == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize("name", PAIRED)
def test_a_landmark_from_the_other_side_lands_where_the_demo_has_it(name: str):
    # The demo's child is nearly symmetric by its making (jitter below a millimetre).
    found = mirrored(without_landmark(demo(), name), name, surfaces=scans())
    assert np.linalg.norm(found.point_mm - placed(name)) < 1.5
    on, other = lies_on(name, found.point_mm, scans()), lies_on(kind_of(name).partner or "", placed(
        kind_of(name).partner or ""), scans())  # fmt: skip
    assert on is not None
    assert other is not None
    assert on[1] == pytest.approx(other[1], abs=0.3)
    assert plausibility(with_landmark(demo(), name, found.point_mm), scans(), name) == []


def test_what_cannot_be_mirrored_is_told():
    with pytest.raises(BadValueError, match="incisor_contact_mm: has no other side"):
        mirrored(demo(), "incisor_contact_mm")
    with pytest.raises(BadValueError, match="its partner high_strap_right_mm is not placed yet"):
        mirrored(demo(), "high_strap_left_mm")
    bare = demo()
    for name in PAIRED:
        if not name.startswith("strap_right"):
            bare = without_landmark(bare, name)
    with pytest.raises(BadValueError, match="no plane of symmetry yet; place another pair"):
        mirrored(bare, "strap_left_mm")
    given_plane = mirrored(bare, "strap_left_mm", Plane(np.zeros(3), np.array([1.0, 0.0, 0.0])))
    np.testing.assert_allclose(given_plane.point_mm, placed("strap_right_mm") * [-1, 1, 1])
    assert given_plane.told == ("no scan to lie on: it is the mirror image alone",)
