"""Rigid algebra: work does not depend on the point or the frame it is written in; what is loose is refused."""

from __future__ import annotations

import numpy as np
import pytest
from root_shapes import spring_bed
from scipy.spatial.transform import Rotation

from mechanics.ligament.foundation import isotropic_stiffness
from mechanics.rigid import compliance, condition_number, motion_shift, stiffness_about, stiffness_turned
from mesh_tools.errors import NoAnswerError


@pytest.mark.parametrize("seed", range(3))
def test_work_is_the_same_about_any_point(seed: int) -> None:
    rng = np.random.default_rng(seed)
    k, point = spring_bed(seed), rng.normal(size=3) * 10.0
    motion = rng.normal(size=6)
    at_origin = motion_shift(point) @ motion
    moved_by_hand = motion[:3] + np.cross(motion[3:], -point)
    np.testing.assert_allclose(at_origin[:3], moved_by_hand, rtol=1e-12)
    assert motion @ stiffness_about(k, point) @ motion == pytest.approx(at_origin @ k @ at_origin, rel=1e-10)


def test_there_and_back() -> None:
    k = spring_bed()
    back = stiffness_about(stiffness_about(k, (4.0, -7.0, 2.0)), (-4.0, 7.0, -2.0))
    np.testing.assert_allclose(back, k, atol=1e-9 * np.abs(k).max())


def test_a_turn_keeps_the_energy() -> None:
    k, rng = spring_bed(1), np.random.default_rng(4)
    turn = Rotation.random(rng=rng).as_matrix()
    motion = rng.normal(size=6)
    turned = np.concatenate([turn @ motion[:3], turn @ motion[3:]])
    assert turned @ stiffness_turned(k, turn) @ turned == pytest.approx(motion @ k @ motion, rel=1e-10)


def test_compliance_is_the_inverse_far_from_the_origin() -> None:
    k = stiffness_about(spring_bed(2), (-300.0, 200.0, 100.0))
    scale = np.array([1.0] * 3 + [1.0 / 300.0] * 3)
    unity = (compliance(k) @ k) * np.outer(1.0 / scale, scale)
    np.testing.assert_allclose(unity, np.eye(6), atol=1e-7)


def test_condition_of_equal_springs() -> None:
    corners = np.array([[x, y, z] for x in (-1.0, 1.0) for y in (-1.0, 1.0) for z in (-1.0, 1.0)])
    k = isotropic_stiffness(corners, np.ones(8))  # 8 in translation, 16 in rotation
    assert condition_number(k, length_mm=1.0) == pytest.approx(2.0)
    assert condition_number(k, length_mm=np.sqrt(2.0)) == pytest.approx(1.0)


def test_a_tooth_that_can_spin_is_refused_with_its_condition() -> None:
    on_a_line = np.array([[0.0, 0.0, z] for z in range(5)])
    with pytest.raises(NoAnswerError, match=r"condition number .*limit 1e\+08.*crest level"):
        compliance(isotropic_stiffness(on_a_line, np.ones(5)))
