"""Where the line of force passes: against the moment of the force by cross product, and under shifts and mirrors."""

from __future__ import annotations

import numpy as np
import pytest

from mechanics.line_of_force import force_line, through_height_mm
from mechanics.sides import Side
from mesh_tools.errors import BadValueError


@pytest.mark.parametrize("seed", range(6))
def test_the_tipping_moment_is_the_moment_about_x(seed: int) -> None:
    r = np.random.default_rng(seed)
    hook, target = r.normal(size=3) * 30.0, r.normal(size=3) * 10.0
    force = np.array([r.normal(), 1.0 + r.random(), r.normal()])
    line = force_line(hook, force, target_mm=target, side="left")
    assert line.tipping_moment_n_mm == pytest.approx(-np.cross(hook - target, force)[0], rel=1e-12)
    assert line.in_plane_n == pytest.approx(np.hypot(force[1], force[2]))
    shift = r.normal(size=3) * 100.0
    assert force_line(hook + shift, force, target_mm=target + shift, side="left").offset_mm == pytest.approx(
        line.offset_mm, abs=1e-9
    )
    mirror = np.array([-1.0, 1.0, 1.0])
    assert force_line(hook * mirror, force * mirror, target_mm=target * mirror, side="right") == line


def test_sliding_the_hook_along_the_line_changes_nothing() -> None:
    force = np.array([0.3, 3.0, -1.4])
    a = force_line([50, 5, 2], force, target_mm=[26, 2, 10], side="left")
    b = force_line(np.array([50, 5, 2]) + 9.0 * force, force, target_mm=[26, 2, 10], side="left")
    assert a.offset_mm == pytest.approx(b.offset_mm, abs=1e-12)


def test_apical_is_up_for_upper_and_down_for_lower_teeth() -> None:
    """A level pull 3 mm over the target passes 3 mm apical of an upper molar's, 3 mm occlusal of a lower one's."""
    for sign in (1, -1):
        line = force_line([50, 5, 8], [0, 2, 0], target_mm=[26, 2, 5], side="left", apical_sign=sign)
        assert line.offset_mm == pytest.approx(3.0 * sign)
        assert line.tipping_moment_n_mm == pytest.approx(6.0 * sign)


def test_parts_and_angle() -> None:
    line = force_line([-50, 5, 8], [-0.5, 2, -2], target_mm=[-26, 2, 5], side="right")
    assert (line.distal_n, line.apical_n, line.lateral_n) == (2.0, -2.0, 0.5)
    assert line.angle_deg == pytest.approx(-45.0)


@pytest.mark.parametrize("side", ["right", "left"])
def test_a_forward_or_sideways_pull_is_refused(side: Side) -> None:
    with pytest.raises(BadValueError, match=f"{side} strap pulls forward"):
        force_line([0, 0, 0], [0, -1, 0.5], target_mm=[0, 0, 5], side=side)
    with pytest.raises(BadValueError, match="no part in the sagittal plane"):
        force_line([0, 0, 0], [1, 0, 0], target_mm=[0, 0, 5], side=side)


def test_a_hook_at_the_height_for_the_target_has_no_offset() -> None:
    z = through_height_mm([0, 2.5, 7.9], hook_y_mm=-10.0, angle_deg=40.0)
    force = [0, np.cos(np.radians(40)), np.sin(np.radians(40))]
    assert force_line([0, -10.0, z], force, target_mm=[0, 2.5, 7.9], side="left").offset_mm == pytest.approx(
        0.0
    )
