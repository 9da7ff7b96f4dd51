"""Rigid fit of landmark pairs: exact, against scipy, and every refusal by its words."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from mesh_tools.registration.errors import LandmarkPairError, MirroredDataError, UnitMismatchError
from mesh_tools.registration.landmark_fit import landmark_fit, rigid_fit
from mesh_tools.registration.motion import RigidMotion, turned
from tests.mesh_tools.registration_cases import a_motion

SIX = np.array([[0.0, 0, 0], [30, 2, 1], [-20, 25, 4], [5, 40, -8], [-9, 12, 20], [16, -11, 9]])


@given(seed=st.integers(0, 10_000), count=st.integers(3, 12))
@settings(max_examples=60, deadline=None)
def test_a_known_motion_comes_back(seed: int, count: int) -> None:
    points = np.random.default_rng(seed).normal(size=(count, 3)) * 20.0
    known = a_motion(seed)
    found = rigid_fit(points, known.applied(points))
    np.testing.assert_allclose(found.rotation, known.rotation, atol=1e-6)
    np.testing.assert_allclose(found.shift_mm, known.shift_mm, atol=1e-5)


def test_against_scipy() -> None:
    # An independent route: scipy's Rotation.align_vectors (Kabsch) on centred sets.
    rng = np.random.default_rng(1)
    fixed = a_motion(4).applied(SIX) + 0.5 * rng.normal(size=SIX.shape)
    found = landmark_fit(SIX, fixed)
    other, rssd = Rotation.align_vectors(fixed - fixed.mean(axis=0), SIX - SIX.mean(axis=0))
    np.testing.assert_allclose(found.motion.rotation, other.as_matrix(), atol=1e-9)
    assert found.rms_mm == pytest.approx(rssd / np.sqrt(len(SIX)), rel=1e-9)


def test_no_other_motion_leaves_less() -> None:
    fixed = a_motion(2).applied(SIX) + 0.7 * np.random.default_rng(3).normal(size=SIX.shape)
    found = landmark_fit(SIX, fixed)
    for k in range(20):
        nudge = a_motion(k, turn_deg=0.2, shift_mm=0.05).after(found.motion)
        assert np.sqrt(np.mean(np.sum((nudge.applied(SIX) - fixed) ** 2, axis=1))) > found.rms_mm


def test_expected_residual_of_picked_landmarks() -> None:
    # FRE^2 = (1 - 2 / N) FLE^2: Sibson R 1979 J R Stat Soc B 41:217-229, quoted by Fitzpatrick JM et al. 1998 IEEE
    # Trans Med Imaging 17:694-702 (from memory). FLE: rms length of the error of one landmark.
    rng = np.random.default_rng(0)
    squares = []
    for _ in range(800):
        squares.append(landmark_fit(SIX, SIX + 0.3 * rng.normal(size=SIX.shape)).rms_mm ** 2)
    assert np.mean(squares) == pytest.approx((1.0 - 2.0 / len(SIX)) * 3.0 * 0.3**2, rel=0.05)


def test_a_slipped_pair_is_named() -> None:
    fixed = a_motion(5).applied(SIX)
    fixed[3, 2] += 9.0
    with pytest.raises(
        LandmarkPairError, match=r"landmark pair 4 contradicts the others, which agree to 0\.0 mm"
    ):
        landmark_fit(SIX, fixed)


def test_exchanged_pairs_are_named() -> None:
    fixed = a_motion(6).applied(SIX)[[0, 4, 2, 3, 1, 5]]
    with pytest.raises(LandmarkPairError, match="pairs 2 and 5 look exchanged"):
        landmark_fit(SIX, fixed)


def test_hopeless_pairs_are_refused() -> None:
    fixed = SIX + 8.0 * np.random.default_rng(0).normal(size=SIX.shape)
    with pytest.raises(LandmarkPairError, match="contradict each other: residuals may be at most 3 mm; got"):
        landmark_fit(SIX, fixed)


def test_mirrored_landmarks_are_refused() -> None:
    with pytest.raises(MirroredDataError, match="fit as mirror images"):
        landmark_fit(SIX * [-1.0, 1, 1], a_motion(7).applied(SIX))


def test_three_landmarks_cannot_tell_a_mirror_image() -> None:
    three = SIX[:3] * [-1.0, 1, 1]
    assert landmark_fit(three, a_motion(7).applied(SIX[:3])).rms_mm < 1e-9


@pytest.mark.parametrize(
    ("factor", "text"),
    [(0.1, "moving scan is 10 times too small.*like cm"), (1 / 25.4, "like in beside"), (1e-3, "like m beside"),
     (10.0, "fixed scan is 10 times too small.*like cm"), (1 / 4.6, "no ratio of units")],
)  # fmt: skip
def test_a_unit_mismatch_is_named(factor: float, text: str) -> None:
    with pytest.raises((UnitMismatchError, LandmarkPairError), match=text):
        landmark_fit(factor * SIX, a_motion(8).applied(SIX))


@pytest.mark.parametrize(
    ("moving", "fixed", "text"),
    [
        (SIX[:2], SIX[:2], "three or more"),
        (SIX[:4], SIX[:3], "got 4 moving and 3 fixed"),
        (np.outer(np.arange(4.0), [1.0, 2, 3]), SIX[:4], "moving landmarks lie on one line"),
        (SIX[:4], np.ones((4, 3)), "fixed landmarks lie on one line"),
    ],
)
def test_sets_that_fix_nothing(moving: np.ndarray, fixed: np.ndarray, text: str) -> None:
    with pytest.raises(LandmarkPairError, match=text):
        landmark_fit(moving, fixed)


def test_motions_compose_and_turn_back() -> None:
    one, other = a_motion(1), a_motion(2)
    np.testing.assert_allclose(one.after(other).applied(SIX), one.applied(other.applied(SIX)), atol=1e-10)
    np.testing.assert_allclose(one.inverse.applied(one.applied(SIX)), SIX, atol=1e-10)
    for angle in (1e-4, 30.0, 179.999):
        assert a_motion(3, turn_deg=angle).angle_deg == pytest.approx(angle, abs=1e-6)
    np.testing.assert_allclose(
        turned([0.3, -0.2, 0.9])[0], Rotation.from_rotvec([0.3, -0.2, 0.9]).as_matrix(), atol=1e-12
    )


def test_a_mirroring_rotation_is_refused() -> None:
    with pytest.raises(ValueError, match="orthonormal and right-handed"):
        RigidMotion(np.diag([-1.0, 1, 1]), np.zeros(3))
