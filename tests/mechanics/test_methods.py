"""Estimates from anatomy and the rule of thumb: exact by construction, and carried along by the tooth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from root_shapes import cone, irregular
from scipy.spatial.transform import Rotation

from mechanics.centres.anatomical import (
    BUCCAL_FACE_MM,
    GANDHI_SD_MM,
    MEAN_CROWN_MM,
    at_furcation,
    at_root_centroid,
    at_root_fraction,
    below_average_crown,
)
from mechanics.centres.rule_of_thumb import rule_of_thumb, rule_of_thumb_without_tube, rule_point
from mechanics.centres.stiffness_centres import elastic_centre
from mechanics.ligament.foundation import foundation_stiffness
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError

X, Y, Z = np.eye(3)


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("apical", [1.0, -1.0])
def test_ten_up_and_two_back_of_a_four_mm_tube(side: float, apical: float) -> None:
    """Common practice, no source; the tube lies buccally at x = 27 side, its middle of tooth at x = 21 side."""
    mesial = np.array([27.0 * side, -40.0, 3.0])
    found = rule_of_thumb(
        mesial, mesial + 4.0 * Y, apical=apical * Z, middle_mm=[21.0 * side, 0.0, 0.0], lateral=-side * X
    )
    np.testing.assert_allclose(found.point_mm, [21.0 * side, -38.0, 3.0 + 10.0 * apical], atol=1e-12)
    assert not found.fallback
    assert found.source == "common practice, no source"


def test_up_is_square_to_the_occlusal_plane_whatever_the_tubes_tilt() -> None:
    tilted = np.array([0.0, np.cos(0.2), np.sin(0.2)]) * 5.0
    np.testing.assert_allclose(
        rule_point([1.0, 2.0, 3.0], tilted + np.array([1, 2, 3]), apical=Z), [1.0, 4.5, 13.0], atol=1e-12
    )


@given(seed=st.integers(0, 10_000), mirrored=st.booleans())
@settings(max_examples=30, deadline=None)
def test_the_rule_moves_with_the_tooth(seed: int, mirrored: bool) -> None:
    rng = np.random.default_rng(seed)
    turn = Rotation.random(rng=rng).as_matrix() @ np.diag([-1.0 if mirrored else 1.0, 1, 1])
    shift, mesial, along, middle = (rng.normal(size=3) * 10 for _ in range(4))
    along[:2] += np.sign(along[:2])

    def place(p: Array) -> Array:
        return np.asarray(turn @ p + shift)

    here = rule_of_thumb(mesial, mesial + along, apical=Z, middle_mm=middle, lateral=X)
    there = rule_of_thumb(
        place(mesial), place(mesial + along), apical=turn @ Z, middle_mm=place(middle), lateral=turn @ X
    )
    np.testing.assert_allclose(there.point_mm, place(here.point_mm), atol=1e-9)


def test_without_a_tube_a_usual_one_is_guessed_and_said() -> None:
    found = rule_of_thumb_without_tube(
        [27.0, -38.0, 3.0], apical=Z, mesial=-Y, middle_mm=[21.0, 0, 0], lateral=-X
    )
    with_tube = rule_of_thumb(
        [27.0, -40.0, 3.0], [27.0, -36.0, 3.0], apical=Z, middle_mm=[21.0, 0, 0], lateral=-X
    )
    np.testing.assert_allclose(found.point_mm, with_tube.point_mm, atol=1e-12)
    assert found.fallback
    assert "no tube given" in found.assumptions


def test_a_tube_that_stands_on_the_occlusal_plane_is_refused() -> None:
    with pytest.raises(BadValueError, match="tube axis in the occlusal plane must have a length"):
        rule_of_thumb([0, 0, 0], [0, 0, 4], apical=Z, middle_mm=[1, 0, 0], lateral=X)


def test_the_centroid_is_the_centre_of_equal_springs() -> None:
    root = irregular(7)
    equal = foundation_stiffness(*root, k_normal=1.0, k_shear=1.0)
    np.testing.assert_allclose(at_root_centroid(*root).point_mm, elastic_centre(equal), atol=1e-9)
    height = at_root_centroid(*cone(height=13.0)).point_mm[2]
    assert height == pytest.approx(13.0 / 3.0, rel=1e-3)


def test_fraction_and_furcation() -> None:
    apices = [[0.0, 0.0, 12.0], [3.0, 0.0, 14.0]]
    np.testing.assert_allclose(at_root_fraction([0.0, 0.0, 3.0], apices).point_mm, [0.6, 0.0, 7.0])
    found = at_furcation([1.0, 2.0, 3.0])
    np.testing.assert_allclose(found.point_mm, [1.0, 2.0, 3.0])
    assert found.scatter_mm == GANDHI_SD_MM


def test_an_average_crown_gives_the_published_place_and_a_larger_one_a_deeper() -> None:
    found = below_average_crown(
        [27.0, -38.0, 3.0], apical=Z, lingual=-X, distal=Y, sizes_mm=dict(MEAN_CROWN_MM)
    )
    np.testing.assert_allclose(found.point_mm - [27.0, -38.0, 3.0], [-4.94, 2.54, 7.86], atol=1e-12)
    tall = below_average_crown(
        [0, 0, 0], apical=Z, lingual=-X, distal=Y, sizes_mm={**MEAN_CROWN_MM, "height": 15.0}
    )
    assert tall.point_mm[2] == pytest.approx(2.0 * BUCCAL_FACE_MM["apical"])
    assert found.fallback
    assert found.scatter_mm is not None
