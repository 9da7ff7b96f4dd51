"""Straps: their force, how it turns with the hook, tangency to the neck, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from mechanics.sides import SIDES, Side, outward_sign
from mechanics.strap.direction import check_behind, strap_direction, tangent_point
from mechanics.strap.pull import Strap, StrapPull
from mesh_tools.errors import BadValueError

HOOK = np.array([50.0, 4.0, -2.0])
BOTH = StrapPull.toward([45.0, 90.0, -40.0], force_n=3.0).combined_with(
    StrapPull.along([0, 1, 1], force_n=2.0)
)


def test_a_pull_toward_a_point_has_its_force_and_line() -> None:
    """3-4-12-13: a strap from the origin to (3, 12, 4) with 13 N pulls (3, 12, 4) N."""
    np.testing.assert_allclose(
        StrapPull.toward([3, 12, 4], force_n=13.0).force_at(np.zeros(3)), [3, 12, 4], atol=1e-12
    )


def test_two_straps_add_as_vectors() -> None:
    apart = StrapPull.toward([45.0, 90.0, -40.0], force_n=3.0).force_at(HOOK) + 2.0 * np.array(
        [0, 1, 1]
    ) / np.sqrt(2)
    np.testing.assert_allclose(BOTH.force_at(HOOK), apart, atol=1e-12)
    np.testing.assert_allclose(BOTH.scaled(0.25).force_at(HOOK), 0.25 * apart, atol=1e-12)


def test_the_tangent_is_the_derivative() -> None:
    h = 1e-4
    columns = [(BOTH.force_at(HOOK + h * e) - BOTH.force_at(HOOK - h * e)) / (2 * h) for e in np.eye(3)]
    np.testing.assert_allclose(BOTH.tangent_at(HOOK), np.stack(columns, axis=1), atol=1e-9)
    np.testing.assert_array_equal(StrapPull.along([0, 1, 0], force_n=2.0).tangent_at(HOOK), 0.0)


@pytest.mark.parametrize("side", SIDES)
def test_direction_by_angles(side: Side) -> None:
    d = strap_direction(side, angle_deg=-25.0, midline_deg=40.0)
    assert np.degrees(np.arcsin(d[2])) == pytest.approx(-25.0)
    assert np.degrees(np.arctan2(-outward_sign(side) * d[0], d[1])) == pytest.approx(40.0)
    assert np.linalg.norm(d) == pytest.approx(1.0)


@pytest.mark.parametrize("side", SIDES)
def test_the_strap_touches_the_neck_on_its_own_side(side: Side) -> None:
    g, centre = outward_sign(side), np.array([1.0, 85.0, -40.0])
    hook = np.array([g * 52.0, 5.0, 0.0])
    p = tangent_point(hook, centre_mm=centre, radius_mm=48.0, side=side)
    spoke = (p - centre)[:2]
    assert np.linalg.norm(spoke) == pytest.approx(48.0)
    assert spoke @ (p - hook)[:2] == pytest.approx(0.0, abs=1e-9)  # tangent: at right angles to the radius
    assert g * spoke[0] > 0.0
    assert p[2] == -40.0


def test_refusals() -> None:
    with pytest.raises(BadValueError, match=r"zero or more newtons; got -1"):
        Strap(-1.0, direction=np.array([0, 1.0, 0]))
    with pytest.raises(BadValueError, match="exactly one of the three"):
        Strap(1.0)
    with pytest.raises(BadValueError, match="exactly one of the three"):
        Strap(1.0, toward_mm=HOOK, direction=HOOK)
    with pytest.raises(BadValueError, match="at least one strap"):
        StrapPull(())
    with pytest.raises(BadValueError, match="strap direction must have a length"):
        StrapPull.along([0, 0, 0], force_n=1.0)
    with pytest.raises(BadValueError, match=r"is 0.50 mm from the hook"):
        StrapPull.toward(HOOK + np.array([0, 0.5, 0]), force_n=1.0).force_at(HOOK)
    with pytest.raises(BadValueError, match="angle_deg must lie between"):
        strap_direction("left", angle_deg=95.0)
    with pytest.raises(BadValueError, match="outside the neck's radius"):
        tangent_point(HOOK, centre_mm=HOOK + np.array([0, 10.0, 0]), radius_mm=48.0, side="left")
    with pytest.raises(BadValueError, match=r"left strap point lies 10.0 mm in front of the hook"):
        check_behind("left", StrapPull.toward(HOOK - [0, 10.0, 0], force_n=1.0), HOOK)
