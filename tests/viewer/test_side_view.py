"""Outlines by painting against circles and squares known in closed form; the drawing's marks lie where they should."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest

from mesh_tools.arrays import Array
from tests.viewer.trial_plan import ellipsoid, joined
from viewer.scene import Scene, SurfaceItem
from viewer.side_view_svg import side_view_svg
from viewer.silhouette import outlines
from viewer.view import View, view_from

SIDEWAYS = View("t", np.array([1.0, 0, 0]), np.array([0, 0, 1.0]), np.zeros(3), 20.0, 20.0)


def item(points: Array, faces: Array) -> SurfaceItem:
    return SurfaceItem(name="s", group="g", role="molar", points_mm=points, faces=faces)


def enclosed(loop: Array) -> float:
    """Signed area of a closed curve by the shoelace formula."""
    x, y = loop.T
    return 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))


def test_a_ball_casts_a_circle() -> None:
    ball = ellipsoid([3.0, 1.0, -2.0], [5.0, 5.0, 5.0], n=96)
    loops = outlines(item(ball.points_mm, ball.faces), SIDEWAYS)
    assert len(loops) == 1
    middle = np.array([-1.0, -2.0])  # seen along +x with z up, the picture's right is -y
    radius = np.linalg.norm(loops[0] - middle, axis=1)
    assert np.abs(radius - 5.0).max() < 2.5 * 10.0 / 220  # two and a half cells
    assert abs(enclosed(loops[0])) == pytest.approx(np.pi * 25.0, rel=0.03)


def test_two_balls_apart_cast_two_outlines() -> None:
    pair = joined(
        [ellipsoid([0, -6.0, 0], [2.0, 2.0, 2.0], n=48), ellipsoid([0, 6.0, 0], [3.0, 3.0, 3.0], n=48)]
    )
    loops = outlines(item(pair.points_mm, pair.faces), SIDEWAYS)
    assert sorted(abs(enclosed(loop)) for loop in loops) == pytest.approx([4 * np.pi, 9 * np.pi], rel=0.06)


def test_two_large_faces_are_painted_without_gaps() -> None:
    corners = np.array([[0, -8, -8], [0, 8, -8], [0, 8, 8], [0, -8, 8]], dtype=float)
    loops = outlines(item(corners, np.array([[0, 1, 2], [0, 2, 3]])), SIDEWAYS)
    assert len(loops) == 1  # a gap would be a second loop
    assert abs(enclosed(loops[0])) == pytest.approx(256.0, rel=0.03)


def test_the_target_is_drawn_where_the_view_projects_it(scene: Scene) -> None:
    picture = ElementTree.fromstring(side_view_svg(scene, "left"))
    wide, high = (float(v) for v in picture.attrib["viewBox"].split()[2:])
    view = view_from(scene, "left", width_over_height=wide / high)
    target = next(p for p in scene.points if p.role == "target" and p.side == "left")
    right, up = view.flat(target.at_mm)
    wanted = 0.5 * wide * (1 + right / view.half_width_mm), 0.5 * high * (1 - up / view.half_height_mm)
    rings = [c for c in picture.iter() if c.tag.endswith("circle") and c.attrib["fill"] == "none"]
    places = [(float(c.attrib["cx"]), float(c.attrib["cy"])) for c in rings]
    assert min(np.hypot(x - wanted[0], y - wanted[1]) for x, y in places) < 0.1


def test_the_scale_bar_is_twenty_millimetres_long(scene: Scene) -> None:
    text = side_view_svg(scene, "right")
    wide, high = (float(v) for v in re.findall(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', text)[0])
    view = view_from(scene, "right", width_over_height=wide / high)
    long = float(re.findall(r'<path d="M10 [\d.]+h([\d.]+)"', text)[0])
    assert long == pytest.approx(20.0 * 0.5 * high / view.half_height_mm, abs=0.1)


def test_only_one_side_is_drawn_in_a_side_view(scene: Scene) -> None:
    right = ElementTree.fromstring(side_view_svg(scene, "right"))
    paths = [p for p in right.iter() if p.tag.endswith("path") and p.attrib.get("fill-rule") == "evenodd"]
    assert len(paths) == 1
