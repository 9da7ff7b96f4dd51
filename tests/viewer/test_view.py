"""Views are orthographic, true to scale and the right way round."""

from __future__ import annotations

import numpy as np
import pytest

from viewer.scene import Scene
from viewer.view import close_up, view_from

UP, BACK, LEFT = np.eye(3)[2], np.eye(3)[1], np.eye(3)[0]


@pytest.mark.parametrize("where", ["right", "left", "front", "above"])
def test_axes_of_a_view_are_square_and_right_handed(scene: Scene, where: str) -> None:
    view = view_from(scene, where, width_over_height=1.2)
    axes = np.array([view.right, view.up, -view.forward])
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(axes) == pytest.approx(1.0)


def test_a_face_seen_from_its_right_looks_to_the_right(scene: Scene) -> None:
    """Common practice, no source: a profile from the patient's right faces right, from the left it faces left."""
    assert view_from(scene, "right", width_over_height=1.0).right @ BACK == -1.0
    assert view_from(scene, "left", width_over_height=1.0).right @ BACK == 1.0
    assert view_from(scene, "right", width_over_height=1.0).up @ UP == 1.0


def test_from_above_the_front_is_up_and_nothing_is_mirrored(scene: Scene) -> None:
    view = view_from(scene, "above", width_over_height=1.0)
    assert view.up @ BACK == -1.0
    assert (
        view.right @ LEFT == -1.0
    )  # looking down with the face up in the picture, the patient's left is at the left


@pytest.mark.parametrize("where", ["right", "left", "front", "above"])
def test_bow_and_molars_are_inside_the_frame(scene: Scene, where: str) -> None:
    view = view_from(scene, where, width_over_height=1.2)
    assert view.half_width_mm == pytest.approx(1.2 * view.half_height_mm)
    points = np.concatenate([w.points_mm for w in scene.wires if view.shows(w)])
    flat = np.abs(view.flat(points))
    assert (flat[:, 0] < view.half_width_mm).all()
    assert (flat[:, 1] < view.half_height_mm).all()


def test_side_views_show_their_side_alone(scene: Scene) -> None:
    view = view_from(scene, "right", width_over_height=1.0)
    assert {i.side for i in scene.items() if view.shows(i)} == {"right"}
    assert not any(view.shows(i) for i in scene.items() if i.hidden_at_first)


def test_close_ups_hold_the_whole_molar(scene: Scene) -> None:
    for focus in scene.focuses:
        view = close_up(focus, width_over_height=1.5)
        molar = next(s for s in scene.surfaces if s.side == focus.side)
        assert (np.abs(view.flat(molar.points_mm)[:, 1]) < view.half_height_mm).all()
