"""Shapes of a load: colours of a tube follow the stations, a curved arrow turns the way of its moment."""

from __future__ import annotations

import numpy as np
import pytest

from viewer.load_shapes import curl_arc, curl_shape, curl_sweep, stressed_tube
from viewer.stress_colours import stress_colours


def test_each_face_has_the_colour_of_its_place_along_the_wire() -> None:
    """The face's own middle gives its place; the stress is linear there, so the mean of its ends is its own."""
    line = np.stack([np.linspace(0.0, 30.0, 16), np.zeros(16), np.zeros(16)], axis=-1)
    stress = 20.0 * line[:, 0]
    points, faces, colours = stressed_tube(line, stress, radius_mm=0.5, top_mpa=700.0)
    assert colours.shape == (len(faces), 3)
    x = points[faces][:, :, 0]
    middle = 0.5 * (x.min(axis=1) + x.max(axis=1))  # a wall face spans one piece, a cap face none
    np.testing.assert_allclose(colours, stress_colours(20.0 * middle, top_mpa=700.0), atol=1e-12)


@pytest.mark.parametrize("axis", [np.eye(3)[0], -np.eye(3)[2], np.array([0.6, 0.0, 0.8])])
def test_a_curved_arrow_turns_right_handed_about_its_axis(axis: np.ndarray) -> None:
    arc = curl_arc(axis=axis, middle=np.array([0.1, 1.0, 0.2]), radius_mm=8.0, sweep=2.0)
    np.testing.assert_allclose(arc @ axis, 0.0, atol=1e-12)
    np.testing.assert_allclose(np.linalg.norm(arc, axis=1), 8.0, atol=1e-12)
    turned = np.cross(arc[:-1], arc[1:]) @ axis  # r x dr along the axis: positive for a right-handed turn
    assert (turned > 0.0).all()
    assert np.arcsin(turned / 64.0).sum() == pytest.approx(2.0, abs=1e-9)


def test_the_head_lies_at_the_end_of_the_turn_and_the_wire_is_as_thick_as_said() -> None:
    axis = np.array([0.0, 0.0, 1.0])
    points, faces = curl_shape(
        axis=axis, middle=np.array([0.0, 1.0, 0.0]), radius_mm=8.0, wire_mm=0.8, sweep=3.0
    )
    end = curl_arc(axis=axis, middle=np.array([0.0, 1.0, 0.0]), radius_mm=8.0, sweep=3.0)[-1]
    height = np.abs(points[:, 2])
    assert height.max() == pytest.approx(1.2, abs=0.02)  # the head: three times the wire's radius
    assert np.linalg.norm(points[height > 0.5] - end, axis=1).max() < 4.0
    assert np.linalg.norm(points - end, axis=1).min() < 0.02
    assert faces.max() == len(points) - 1


def test_a_larger_moment_turns_farther_within_what_can_be_drawn() -> None:
    """6 degrees a N mm, as the picture's note says."""
    assert np.degrees(curl_sweep(20.0)) == pytest.approx(120.0)
    assert curl_sweep(-20.0) == curl_sweep(20.0)
    assert np.degrees(curl_sweep(0.6)) == pytest.approx(45.0)
    assert np.degrees(curl_sweep(500.0)) == pytest.approx(300.0)
