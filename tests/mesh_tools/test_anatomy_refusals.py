"""What tooth anatomy refuses, each with one clear line; and what landmarks override."""

from __future__ import annotations

import json

import numpy as np
import pytest
from synthetic_teeth import single_root

from mesh_tools.anatomy import (
    CrownOnlyError,
    LandmarkError,
    ToothNumberError,
    ToothOnItsSideError,
    ToothUpsideDownError,
    crown_measures,
    tooth_anatomy,
)
from mesh_tools.anatomy.checks import check_number, volume_centroid_share
from mesh_tools.arrays import Array
from mesh_tools.cut import clipped
from mesh_tools.errors import BadValueError
from mesh_tools.fdi import ToothNumber
from mesh_tools.surface import Surface


@pytest.fixture(scope="module")
def canine() -> Surface:
    return single_root(23, crown_mm=10.0, root_mm=16.0, deep_mm=7.0, wide_mm=5.5, columns=90, rows=90)[0]


@pytest.mark.parametrize("turn", [np.diag([1.0, -1.0, -1.0]), np.diag([1.0, 1.0, -1.0])])
def test_crown_up_is_refused(canine: Surface, turn: Array) -> None:
    with pytest.raises(
        ToothUpsideDownError, match=r"tooth 23 is wrong way up: its crown points up.*axes code"
    ):
        tooth_anatomy(canine.moved(turn), ToothNumber(23))


def test_an_upper_tooth_given_as_lower_is_refused(canine: Surface) -> None:
    with pytest.raises(ToothUpsideDownError, match=r"a lower tooth's root belongs.*tooth number"):
        tooth_anatomy(canine, ToothNumber(33))


def test_a_lying_tooth_is_refused(canine: Surface) -> None:
    lying = canine.moved([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])
    with pytest.raises(ToothOnItsSideError, match="leans 90 degrees from the vertical, more than 60"):
        tooth_anatomy(lying, ToothNumber(23))


def test_a_crown_without_root_is_told_apart_and_measured(canine: Surface) -> None:
    crown = clipped(canine, canine.points_mm[:, 2], 9.5)
    with pytest.raises(
        CrownOnlyError, match="crown without root; only the rule of thumb and average anatomy"
    ):
        tooth_anatomy(crown, ToothNumber(23))
    measured = crown_measures(crown, ToothNumber(23))
    assert measured.height_mm == pytest.approx(9.5, abs=1e-6)
    assert 5.5 < measured.mesiodistal_mm < 8.5
    assert 6.0 < measured.buccolingual_mm < 9.0
    assert measured.occlusal_centre_mm[2] == pytest.approx(crown.points_mm[:, 2].min())


@pytest.mark.parametrize(
    ("scale", "text"), [(10.0, "Cut the one tooth out, or check the unit"), (0.1, "unit")]
)
def test_a_wrong_unit_is_refused(canine: Surface, scale: float, text: str) -> None:
    with pytest.raises(BadValueError, match=text):
        tooth_anatomy(canine.mapped(lambda p: p * scale), ToothNumber(23))


def test_a_handful_of_triangles_is_no_tooth() -> None:
    with pytest.raises(BadValueError, match="needs at least 200 triangles with an area; got 1 of"):
        tooth_anatomy(Surface(10.0 * np.eye(3), [[0, 1, 2]]), ToothNumber(26))


def test_a_void_inside_is_no_root(canine: Surface) -> None:
    middle = canine.points_mm.mean(axis=0)
    inner = middle + 0.5 * (canine.points_mm - middle)
    hollow = Surface(
        np.concatenate([canine.points_mm, inner]),
        np.concatenate([canine.faces, canine.faces[:, ::-1] + len(inner)]),
    )
    assert tooth_anatomy(hollow, ToothNumber(23)).separate_roots == 1


def test_a_neck_without_any_bend_says_so() -> None:
    smooth, _ = single_root(23, step_mm=0.0, crown_mm=10.0, root_mm=16.0, flat=0.0)
    found = tooth_anatomy(smooth, ToothNumber(23)).finding("cervical_line_mm")
    assert found.confidence < 0.15
    assert "hardly any bend at the neck" in found.how


def test_a_whole_scan_is_no_crown(canine: Surface) -> None:
    with pytest.raises(BadValueError, match="one crown is 3-16 mm wide"):
        crown_measures(canine.mapped(lambda p: p * [5.0, 5.0, 0.4]), ToothNumber(23))


THREE = np.array([[3.0, 2.0], [2.5, -2.5], [-4.0, 0.0]])


@pytest.mark.parametrize(
    ("fdi", "centres", "width", "text"),
    [
        (21, THREE[:2], 7.0, "given as an incisor, but the surface shows 2 separate roots"),
        (13, THREE, 7.0, "given as a canine, but the surface shows 3 separate roots"),
        (14, THREE, 9.0, "given as a premolar, but a 9.0 mm wide crown on 3 separate roots is a molar's"),
        (35, THREE[:1], 10.0, "given as a premolar, but a 10.0 mm wide crown"),
        (26, THREE[:1], 6.5, "given as a molar, but a 6.5 mm wide crown on 1 separate"),
        (26, -THREE, 10.0, r"lone root lies on the cheek's side by .* mm, as it does in tooth 16"),
        (16, -THREE, 10.0, "as it does in tooth 26"),
    ],
)
def test_numbers_that_contradict_the_roots(fdi: int, centres: Array, width: float, text: str) -> None:
    with pytest.raises(ToothNumberError, match=text):
        check_number(centres, width, ToothNumber(fdi))


@pytest.mark.parametrize(
    ("fdi", "centres", "width"),
    [(26, THREE, 10.5), (26, THREE[:1], 10.0), (36, THREE, 10.5), (33, THREE[:2], 7.0), (14, THREE, 8.0),
     (28, -THREE, 9.0), (48, THREE[:1], 7.0)],
)  # fmt: skip
def test_what_happens_in_people_is_let_through(fdi: int, centres: Array, width: float) -> None:
    check_number(centres, width, ToothNumber(fdi))


def test_volume_centroid_of_a_pyramid_is_a_quarter_up() -> None:
    base = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0.5, 0.5, 1]], dtype=float)
    faces = np.array([[0, 2, 1], [0, 3, 2], [0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    assert volume_centroid_share(base, faces) == pytest.approx(0.25)


def test_landmarks_override_what_is_found(canine: Surface) -> None:
    free = tooth_anatomy(canine, ToothNumber(23))
    ring = free.cervical_line_mm[::12] + 2.0 * free.long_axis
    apex = free.apices_mm["single"] + np.array([0.4, 0.0, -0.5])
    given = {f"cervical_{k}": p for k, p in enumerate(ring)} | {"apex_single": apex}
    found = tooth_anatomy(canine, ToothNumber(23), landmarks=given)
    assert np.abs(found.below_line_mm(ring)).max() < 0.1
    np.testing.assert_allclose(found.apices_mm["single"], apex, atol=1e-9)
    assert found.root_length_mm == pytest.approx(free.root_length_mm - 2.5, abs=0.2)
    assert found.finding("cervical_line_mm").how == "landmark"


def test_the_axis_can_be_given(canine: Surface) -> None:
    given = {"axis_occlusal": [0.0, 0.0, 0.0], "axis_apical": [0.0, 2.0, 20.0]}
    found = tooth_anatomy(canine, ToothNumber(23), landmarks=given)
    np.testing.assert_allclose(found.long_axis, np.array([0.0, 2.0, 20.0]) / np.hypot(2.0, 20.0))
    assert found.finding("long_axis").confidence == 1.0


@pytest.mark.parametrize(
    ("given", "text"),
    [
        ({"apex_singel": [0, 0, 26]}, "landmark apex_singel is not known; did you mean apex_single"),
        ({"apex_single": [0, 0, 260]}, r"lies 2\d\d mm from the middle of the tooth"),
        ({"axis_apical": [0, 0, 26]}, "axis_apical needs the other end too"),
        ({"cervical_line": [[3, 0, 10], [0, 3, 10], [-3, 0, 10]]}, "needs at least 4 points"),
        (
            {"cervical_line": [[3, 0, 10], [3, 1, 10], [3, -1, 10], [3, 0.5, 10]]},
            "must go round the long axis",
        ),
        ({"apex_palatal": [0, 0, 26]}, "apex_palatal names a root that is not separate here; found: single"),
    ],
)
def test_landmarks_that_cannot_be(canine: Surface, given: dict[str, Array], text: str) -> None:
    with pytest.raises(LandmarkError, match=text):
        tooth_anatomy(canine, ToothNumber(23), landmarks=given)


def test_the_record_goes_to_json_and_names_its_findings(canine: Surface) -> None:
    found = tooth_anatomy(canine, ToothNumber(23))
    read = json.loads(json.dumps(found.as_dict()))
    assert read["separate_roots"] == 1
    assert read["trifurcation_mm"] is None
    assert len(read["cervical_line_mm"]) == len(found.cervical_line_mm)
    assert set(read["apices_mm"]) == {"single"}
    assert {"long_axis", "cervical_line_mm", "separate_roots"} <= set(read["findings"])
    assert all(0.0 <= f["confidence"] <= 1.0 for f in read["findings"].values())
