"""The treatment frame: the occlusal plane's normal is z, x stays nearest the patient's left."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from casework.frame import treatment_rotation
from mesh_tools.errors import BadValueError

FLAT = np.array([[25.0, 40.0, 0.0], [-25.0, 40.0, 0.0], [0.0, 0.0, 0.0], [3.0, 20.0, 0.0]])


def test_a_level_plane_leaves_lps_alone():
    np.testing.assert_allclose(treatment_rotation(FLAT), np.eye(3), atol=1e-15)


@given(pitch=st.floats(-40, 40), roll=st.floats(-15, 15))
def test_the_plane_becomes_level_and_x_has_no_back_part_turned_in(pitch: float, roll: float):
    tilted = FLAT @ Rotation.from_euler("xy", [pitch, roll], degrees=True).as_matrix().T
    rotation = treatment_rotation(tilted)
    np.testing.assert_allclose(rotation @ rotation.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(rotation) == pytest.approx(1.0)
    assert np.ptp((tilted @ rotation.T)[:, 2]) < 1e-10
    assert (
        abs(rotation[1, 0]) < 1e-12
    )  # y of the frame is square to LPS x: x is as near the left as it can be


def test_mirroring_the_points_mirrors_the_frame():
    tilted = FLAT @ Rotation.from_euler("xy", [12.0, 5.0], degrees=True).as_matrix().T
    mirror = np.diag([-1.0, 1.0, 1.0])
    np.testing.assert_allclose(
        treatment_rotation(tilted @ mirror), mirror @ treatment_rotation(tilted) @ mirror, atol=1e-12
    )


def test_points_on_a_line_are_refused():
    with pytest.raises(BadValueError, match=r"must span a plane; the points lie within 0.00 mm of one line"):
        treatment_rotation([[0, 0, 0], [1, 1, 0], [2, 2, 0]])


def test_an_upright_plane_is_refused():
    with pytest.raises(BadValueError, match="tilted 90 degrees from the axial plane"):
        treatment_rotation([[0, 0, 0], [10, 0, 0], [0, 0, 10]])
