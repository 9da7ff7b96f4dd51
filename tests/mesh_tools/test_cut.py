"""Exact cuts: areas add up, borders are level curves, mirrors agree, closed forms on a sphere."""

from __future__ import annotations

import numpy as np
import pytest
from bad_stl_files import sphere
from hypothesis import given, settings
from hypothesis import strategies as st

from mesh_tools.cut import clipped, level_curve
from mesh_tools.surface import Surface
from mesh_tools.topology import boundary_loops, loop_length

BALL = Surface(*sphere(3, 8.0))


@settings(max_examples=40, deadline=None)
@given(level=st.floats(-7.5, 7.5))
def test_parts_add_up(level: float) -> None:
    z = BALL.points_mm[:, 2]
    low, high = clipped(BALL, z, level), clipped(BALL, -z, -level)
    assert low.areas_mm2.sum() + high.areas_mm2.sum() == pytest.approx(BALL.areas_mm2.sum(), rel=1e-12)
    assert low.points_mm[:, 2].max() <= level + 1e-12


def test_border_is_the_level_curve() -> None:
    z = BALL.points_mm[:, 2]
    part = clipped(BALL, z, 1.3)
    (loop,) = boundary_loops(part)
    (curve,) = level_curve(BALL, z, 1.3)
    assert np.array_equal(curve[0], curve[-1])
    assert np.allclose(curve[:, 2], 1.3, atol=1e-12)
    around = np.linalg.norm(np.diff(curve, axis=0), axis=1).sum()
    assert loop_length(part.points_mm, loop) == pytest.approx(around, rel=1e-12)
    assert around == pytest.approx(
        2 * np.pi * np.sqrt(64 - 1.3**2), rel=5e-3
    )  # circle of a plane on a sphere


def test_lower_side_lies_left() -> None:
    (curve,) = level_curve(BALL, BALL.points_mm[:, 2], 0.5)
    along, up = curve[1] - curve[0], 0.5 * (curve[1] + curve[0])
    assert np.cross(up, along)[2] < 0  # left of the walk, seen from outside, points to lower z


def test_level_through_points_makes_no_slivers() -> None:
    z = BALL.points_mm[:, 2]
    part = clipped(BALL, z, float(z[50]))
    assert part.areas_mm2.min() > 1e-9
    low, high = part.areas_mm2.sum(), clipped(BALL, -z, -float(z[50])).areas_mm2.sum()
    assert low + high == pytest.approx(BALL.areas_mm2.sum(), rel=1e-12)


def test_mirror_gives_the_mirrored_faces() -> None:
    tilt = BALL.points_mm @ np.array([0.3, 0.5, 0.81])
    mirror = np.diag([-1.0, 1.0, 1.0])
    one = clipped(BALL, tilt, 0.7).moved(mirror)
    two = clipped(BALL.moved(mirror), tilt, 0.7)
    centres = [s.face_centres_mm[np.lexsort(s.face_centres_mm.round(9).T)] for s in (one, two)]
    assert np.allclose(centres[0], centres[1], atol=1e-9)
