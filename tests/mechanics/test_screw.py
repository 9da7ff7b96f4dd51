"""The screw axis against motions made from a known axis, closed forms, a second route, and under noise.

route                       second route                          what must agree
screw_of                    the motion it was made from           axis, angle, slide, line
screw_of                    eigenvector of R, least squares       line: (I - R) c = t - d n
centre_of_rotation          screw about the plane's normal        point
centre_of_rotation          Movement of a ligament, small load    point, sign of the turn
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from mechanics.centres.movement import movement_under
from mechanics.rigid import compliance
from mechanics.screw import centre_of_rotation, planar_turn, rotation_vector, screw_of
from mesh_tools.errors import BadValueError
from mesh_tools.registration.landmark_fit import rigid_fit

X = np.array([1.0, 0.0, 0.0])


def made(axis: np.ndarray, angle: float, point: np.ndarray, along: float) -> tuple[np.ndarray, np.ndarray]:
    r = Rotation.from_rotvec(axis * angle).as_matrix()
    return r, point - r @ point + along * axis


coordinates = st.floats(-40, 40)
points = st.tuples(coordinates, coordinates, coordinates).map(np.array)


@given(
    points.filter(lambda v: np.linalg.norm(v) > 1.0), st.floats(1e-4, 3.1), points, st.floats(-8, 8), points
)
@settings(max_examples=120, deadline=None)
def test_a_made_screw_is_found(way, angle, point, along, near):
    axis = way / np.linalg.norm(way)
    found = screw_of(*made(axis, angle, point, along), near_mm=near)
    assert found.angle == pytest.approx(angle, rel=1e-6, abs=1e-9)
    np.testing.assert_allclose(found.axis, axis, atol=1e-6)
    assert found.along_mm == pytest.approx(along, abs=1e-4)
    assert found.point_mm is not None
    off = found.point_mm - point
    assert np.linalg.norm(off - (off @ axis) * axis) < 1e-4 / min(1.0, angle)  # the line itself
    assert abs((found.point_mm - near) @ axis) < 1e-4 / min(
        1.0, angle
    )  # its point nearest to the one asked for


def test_the_line_by_linear_algebra():
    # Second route: (I - R) c = t - d n has rank 2; its least-norm solution is the point nearest the origin.
    rng = np.random.default_rng(1)
    for _ in range(20):
        r = Rotation.random(random_state=rng.integers(1 << 30)).as_matrix()
        t = rng.normal(0, 10, 3)
        values, vectors = np.linalg.eig(r)
        n = np.real(vectors[:, np.argmin(np.abs(values - 1.0))])
        c = np.linalg.lstsq(np.eye(3) - r, t - (t @ n) * n, rcond=1e-9)[0]
        found = screw_of(r, t, near_mm=np.zeros(3))
        np.testing.assert_allclose(found.point_mm, c, atol=1e-8)
        assert abs(found.axis @ n) == pytest.approx(1.0)


def test_a_translation_turns_about_nothing():
    found = screw_of(np.eye(3), [0.0, 3.0, 4.0], near_mm=[1, 2, 3])
    assert (found.angle, found.along_mm, found.point_mm) == (0.0, 5.0, None)
    np.testing.assert_allclose(found.axis, [0.0, 0.6, 0.8])
    assert centre_of_rotation(np.eye(3), [0, 1, 0], through_mm=[0, 0, 0], normal=X) is None
    assert screw_of(np.eye(3), np.zeros(3), near_mm=[0, 0, 0]).along_mm == 0.0


def test_half_a_turn():
    found = screw_of(
        *made(np.array([0.0, 0.0, 1.0]), np.pi, np.array([2.0, 3.0, 0.0]), 1.5), near_mm=[0, 0, 7]
    )
    assert found.angle == pytest.approx(np.pi)
    np.testing.assert_allclose(found.point_mm, [2.0, 3.0, 7.0], atol=1e-9)
    assert abs(found.along_mm) == pytest.approx(1.5)


@pytest.mark.parametrize("degrees", [-12.0, -0.01, 0.5, 25.0])
def test_a_turn_in_the_plane_is_about_its_point(degrees: float):
    point = np.array([5.0, 2.0, -3.0])
    r, t = made(X, np.radians(degrees), point, 0.7)
    assert planar_turn(r, normal=X) == pytest.approx(np.radians(degrees), rel=1e-9)
    found = centre_of_rotation(r, t, through_mm=[5.0, -9.0, 4.0], normal=X)
    np.testing.assert_allclose(found, point, atol=1e-7)


def test_a_turn_aslant_is_seen_as_its_share_in_the_plane():
    # A small turn about (1, 1, 0) / sqrt 2 by a shows a / sqrt 2 about x; closed form to second order.
    a = np.radians(0.5)
    r = Rotation.from_rotvec(a / np.sqrt(2.0) * np.array([1.0, 1.0, 0.0])).as_matrix()
    assert planar_turn(r, normal=X) == pytest.approx(a / np.sqrt(2.0), rel=1e-4)


def test_it_is_the_centre_that_the_movement_of_a_tooth_has():
    # Second route: a ligament's answer to a small load, as a finite motion, against the movement's own centre.
    k = np.diag([40.0, 40.0, 90.0, 900.0, 900.0, 700.0])
    force, moment = np.array([0.0, 1.0, -0.2]), np.array([3.0, 0.0, 0.0])
    u = compliance(k) @ np.concatenate([force, moment]) * 1e-3
    r = Rotation.from_rotvec(u[3:]).as_matrix()
    seen = movement_under(
        k, force=force, moment=moment, about_mm=np.zeros(3), crown_mm=[0, 0, -8], apex_mm=[0, 0, 7]
    )
    found = centre_of_rotation(r, u[:3], through_mm=np.zeros(3), normal=X)
    np.testing.assert_allclose(found, seen.centre_of_rotation_mm, atol=1e-3)
    assert seen.tip_deg_per_mm is not None
    assert np.sign(planar_turn(r, normal=X)) == np.sign(seen.tip_deg_per_mm)  # crown back is positive in both


def test_under_noise_the_axis_scatters_as_the_points_do():
    # A crown of 400 points 5 mm about its middle, moved 2.5 mm back and tipped 6 deg; 0.1 mm of noise on each point.
    # Turn: SD = noise / (radius sqrt(2 n / 3)); centre of rotation: SD of the turn times distance over the turn.
    rng = np.random.default_rng(4)
    crown = rng.normal(size=(400, 3))
    crown = 5.0 * crown / np.linalg.norm(crown, axis=1)[:, None] + [25.0, 30.0, 7.0]
    angle, pole = np.radians(6.0), np.array([25.0, 30.0, 7.0 + 2.5 / np.radians(6.0)])
    r, t = made(X, angle, pole, 0.0)
    turns, poles = [], []
    for _ in range(200):
        fit = rigid_fit(crown, crown @ r.T + t + rng.normal(0.0, 0.1, crown.shape))
        turns.append(planar_turn(fit.rotation, normal=X))
        poles.append(centre_of_rotation(fit.rotation, fit.shift_mm, through_mm=crown.mean(axis=0), normal=X))
    sd_turn = 0.1 / (5.0 * np.sqrt(2.0 * 400 / 3.0))
    assert np.mean(turns) == pytest.approx(angle, abs=4.0 * sd_turn / np.sqrt(200))
    assert np.std(turns) == pytest.approx(sd_turn, rel=0.2)
    np.testing.assert_allclose(np.mean(poles, axis=0)[1:], pole[1:], atol=0.06)
    assert np.std(poles, axis=0)[2] == pytest.approx(sd_turn / angle * (pole[2] - 7.0), rel=0.25)


def test_what_is_no_rotation_is_refused():
    with pytest.raises(BadValueError, match="must be orthonormal and right-handed"):
        screw_of(np.diag([1.0, 1.0, -1.0]), np.zeros(3), near_mm=np.zeros(3))
    with pytest.raises(BadValueError, match="must be orthonormal"):
        rotation_vector(2.0 * np.eye(3))
