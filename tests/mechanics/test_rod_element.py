"""The rod element: exact derivatives, no stress in rigid motion."""

from __future__ import annotations

import numpy as np
import pytest

from mechanics.rod import quaternion as quat
from mechanics.rod.element import ElementState, end_forces, stored_energy, strain_state, tangent
from mesh_tools.arrays import Array

N = 5


class Ends:
    """Random elements, moved by a step of both ends."""

    def __init__(self, bend_rad: float, seed: int) -> None:
        rng = np.random.default_rng(seed)
        self.first, self.chord = rng.normal(size=(N, 3)), rng.normal(size=(N, 3))
        self.q1 = quat.from_vector(rng.normal(size=(N, 3)))
        self.q2 = quat.product(self.q1, quat.from_vector(bend_rad * rng.normal(size=(N, 3))))
        self.length = rng.uniform(1.0, 2.0, N)
        self.stretch, self.bend = rng.uniform(1.0, 3.0, (N, 3)), rng.uniform(1.0, 3.0, (N, 3))

    def state(self, step: Array) -> ElementState:
        chord = self.chord + step[:, 6:9] - step[:, :3]
        q1 = quat.product(quat.from_vector(step[:, 3:6]), self.q1)
        q2 = quat.product(quat.from_vector(step[:, 9:]), self.q2)
        return strain_state(chord, q1, q2, length_mm=self.length, stretch=self.stretch, bend=self.bend)


@pytest.mark.parametrize("bend_rad", [0.0, 0.02, 0.15, 1.0])
def test_the_tangent_is_the_derivative_of_the_forces(bend_rad: float) -> None:
    ends = Ends(bend_rad, seed=1)
    step = np.random.default_rng(2).normal(size=(N, 12))
    eps = 1e-5
    ahead, behind = (end_forces(ends.state(k * eps * step)) for k in (1.0, -1.0))
    exact = tangent(ends.state(0.0 * step))
    np.testing.assert_allclose(np.einsum("nij,nj->ni", exact, step), (ahead - behind) / (2 * eps), atol=2e-8)


@pytest.mark.parametrize("bend_rad", [0.0, 0.02, 0.15, 1.0])
def test_the_forces_are_the_derivative_of_the_energy(bend_rad: float) -> None:
    ends = Ends(bend_rad, seed=3)
    step = np.random.default_rng(4).normal(size=(N, 12))
    eps = 1e-5
    ahead, behind = (stored_energy(ends.state(k * eps * step)) for k in (1.0, -1.0))
    work = float(np.sum(end_forces(ends.state(0.0 * step)) * step))
    assert (ahead - behind) / (2 * eps) == pytest.approx(work, rel=1e-7, abs=1e-8)


def test_a_rigid_motion_carries_the_forces_with_it() -> None:
    ends = Ends(0.6, seed=5)
    still = np.zeros((N, 12))
    turn = quat.from_vector(np.array([2.1, -0.7, 1.3]))
    matrix = quat.to_matrix(turn)
    before = end_forces(ends.state(still)).reshape(N, 4, 3) @ matrix.T
    ends.chord = ends.chord @ matrix.T
    ends.q1, ends.q2 = quat.product(turn, ends.q1), quat.product(turn, ends.q2)
    after = end_forces(ends.state(still)).reshape(N, 4, 3)
    np.testing.assert_allclose(after, before, atol=1e-12)


def test_the_end_forces_are_in_balance() -> None:
    ends = Ends(0.6, seed=6)
    forces = end_forces(ends.state(np.zeros((N, 12)))).reshape(N, 4, 3)
    np.testing.assert_allclose(forces[:, 0] + forces[:, 2], 0.0, atol=1e-13)
    about_first = forces[:, 1] + forces[:, 3] + np.cross(ends.chord, forces[:, 2])
    np.testing.assert_allclose(about_first, 0.0, atol=1e-12)


def test_quaternions_agree_with_the_reference_library() -> None:
    from scipy.spatial.transform import Rotation

    vectors = np.random.default_rng(7).normal(size=(20, 3))
    vectors[0], vectors[1] = 0.0, [1e-13, 0.0, 0.0]
    q = quat.from_vector(vectors)
    np.testing.assert_allclose(quat.to_matrix(q), Rotation.from_rotvec(vectors).as_matrix(), atol=1e-14)
    np.testing.assert_allclose(quat.to_vector(q), vectors, atol=1e-13)
    both = quat.to_matrix(quat.product(q[:10], q[10:]))
    np.testing.assert_allclose(both, quat.to_matrix(q[:10]) @ quat.to_matrix(q[10:]), atol=1e-14)


def test_an_aligned_frame_starts_along_its_direction() -> None:
    v = np.random.default_rng(8).normal(size=(30, 3))
    v[:3] = [[-1.0, 0.0, 0.0], [-1.0, 1e-9, 0.0], [1.0, 0.0, 0.0]]
    v /= np.linalg.norm(v, axis=1, keepdims=True)
    np.testing.assert_allclose(quat.to_matrix(quat.aligning(v))[:, :, 0], v, atol=1e-14)
