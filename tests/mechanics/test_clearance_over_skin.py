"""Lengths over the skin against closed forms: plane, tilted plane, cylinders across and along, a ball.

Route                 <> closed form
way over a plane      <> straight distance
tilted by a           <> height / cos a
cylinder along y      <> radius times angle (up), along z the same (back)
ball                  <> radius times angle on the small circle that the plane cuts
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skin_shapes import sheet

from mechanics.clearance.over_skin import HoleInSkinError, on_skin, way_over_skin
from mechanics.sides import Side, outward_sign
from mesh_tools.arrays import Array
from mesh_tools.surface import Surface


def way_mm(
    skin: Surface, start_yz: tuple[float, float], end_yz: tuple[float, float], side: Side = "left"
) -> float:
    inside = outward_sign(side) * 5.0
    ends = [on_skin(skin, side, np.array([inside, *p])) for p in (start_yz, end_yz)]
    return way_over_skin(skin, side, *ends).length_mm


@pytest.mark.parametrize("side", ["right", "left"])
def test_on_a_plane_lengths_are_the_flat_ones(side: Side) -> None:
    skin = sheet(lambda y, z: 12.0, side=side)
    assert way_mm(skin, (1.3, -2.1), (1.3, 7.9), side) == pytest.approx(10.0, abs=1e-12)
    assert way_mm(skin, (1.3, 7.9), (3.3, 7.9), side) == pytest.approx(2.0, abs=1e-12)
    assert on_skin(skin, side, np.array([0.0, 1.3, 4.0]))[0] == pytest.approx(outward_sign(side) * 12.0)


@pytest.mark.parametrize("tilt_deg", [-50.0, 10.0, 35.0])
def test_on_a_tilted_plane_up_is_height_over_cosine(tilt_deg: float) -> None:
    slope = np.tan(np.radians(tilt_deg))
    skin = sheet(lambda y, z: 30.0 + slope * z)
    assert way_mm(skin, (0.2, -3.0), (0.2, 6.0)) == pytest.approx(
        9.0 / np.cos(np.radians(tilt_deg)), abs=1e-11
    )
    assert way_mm(skin, (0.2, 6.0), (4.2, 6.0)) == pytest.approx(4.0, abs=1e-11)


@pytest.mark.parametrize("axis", ["y", "z"])
def test_on_a_cylinder_lengths_are_arcs_and_errors_fall_with_the_square_of_the_cell(axis: str) -> None:
    radius, errors = 32.0, []
    a, b = np.arcsin(-4.0 / radius), np.arcsin(10.0 / radius)
    for n in (20, 40, 80):
        skin = sheet(lambda y, z: np.sqrt(radius**2 - (z if axis == "y" else y) ** 2), n=n)
        ends = ((1.0, -4.0), (1.0, 10.0)) if axis == "y" else ((-4.0, 1.0), (10.0, 1.0))
        errors.append(radius * (b - a) - way_mm(skin, *ends))
    assert 0.0 < errors[-1] < 2e-3
    assert np.log2(errors[0] / errors[-1]) / 2.0 == pytest.approx(2.0, abs=0.25)
    flat = sheet(lambda y, z: np.sqrt(radius**2 - (z if axis == "y" else y) ** 2), n=40)
    along = ((1.0, 2.0), (9.0, 2.0)) if axis == "y" else ((2.0, 1.0), (2.0, 9.0))
    assert way_mm(flat, *along) == pytest.approx(8.0, abs=1e-10)


def test_on_a_ball_back_is_an_arc_of_the_circle_at_that_height() -> None:
    radius, height = 60.0, 12.0
    small = np.sqrt(radius**2 - height**2)
    skin = sheet(lambda y, z: np.sqrt(radius**2 - y**2 - z**2), n=160)
    arc = small * (np.arcsin(9.0 / small) - np.arcsin(2.0 / small))
    assert way_mm(skin, (2.0, height), (9.0, height)) == pytest.approx(arc, abs=2e-4)


@given(
    st.tuples(*[st.floats(-14.0, 14.0)] * 4),
    st.floats(-0.6, 0.6),
    st.floats(-0.6, 0.6),
)
def test_any_way_on_any_plane_is_its_distance_and_the_same_backward(
    ends: tuple[float, float, float, float], slope_y: float, slope_z: float
) -> None:
    skin = sheet(lambda y, z: 40.0 + slope_y * y + slope_z * z, n=7)
    one, other = np.array(ends[:2]), np.array(ends[2:])
    step: Array = np.append((other - one) @ [slope_y, slope_z], other - one)
    there = way_mm(skin, tuple(one), tuple(other))
    assert there == pytest.approx(float(np.linalg.norm(step)), abs=1e-7)
    assert way_mm(skin, tuple(other), tuple(one)) == pytest.approx(there, abs=1e-9)


def test_the_outermost_skin_counts_and_the_other_cheek_does_not() -> None:
    near, far = sheet(lambda y, z: 20.0), sheet(lambda y, z: 26.0)
    both = Surface(
        np.concatenate([near.points_mm, far.points_mm]),
        np.concatenate([near.faces, far.faces + len(near.points_mm)]),
    )
    assert on_skin(both, "left", np.array([10.0, 0.0, 0.0]))[0] == pytest.approx(26.0)
    with pytest.raises(HoleInSkinError, match="no skin beside the target on the right"):
        on_skin(both, "right", np.array([-20.0, 0.0, 0.0]), what="the target")


def test_a_hole_is_crossed_straight_and_its_width_is_told() -> None:
    skin = sheet(lambda y, z: 30.0, n=40)
    z = skin.face_centres_mm[:, 2]
    torn = skin.with_faces((z < 2.0) | (z > 5.0))
    way = way_over_skin(torn, "left", [30.0, 0.0, 0.0], [30.0, 0.0, 9.0])
    assert way.length_mm == pytest.approx(9.0, abs=1e-12)
    assert way.bridged_mm == pytest.approx(3.0, abs=1e-9)
    assert way_over_skin(skin, "left", [30.0, 0.0, 0.0], [30.0, 0.0, 9.0]).bridged_mm == 0.0
    with pytest.raises(HoleInSkinError, match="close the hole"):
        on_skin(torn, "left", np.array([20.0, 0.0, 3.5]))
