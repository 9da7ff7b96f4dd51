"""A taut band against closed forms and independent routes, its derivatives, invariances and refusals.

route                     <>  route
band on a cylinder        <>  tangent and helix, unrolled
band on a cone            <>  straight line in the unrolled sector, minimised over the leaving point
band on an ellipse        <>  tangent of the ellipse, arc length by quadrature
derivative of the leaving <>  central differences
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import minimize_scalar
from scipy.spatial.transform import Rotation

from mechanics.sides import SIDES, Side
from mechanics.strap.band import BandLine, band_line, taut_band
from mechanics.strap.bed import Bed
from mechanics.strap.direction import tangent_point
from mechanics.strap.follow import BandEnd
from mechanics.strap.pressure import friction_along
from mechanics.strap.pull import Strap, StrapPull
from mechanics.strap.tauten import StrapSlipsError
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface
from tests.mechanics.strap_shapes import CENTRE, HOOKS, column

RADIUS = 48.0


def off(x: float, y: float, z: float) -> Array:
    """A point by its place from the neck's centre."""
    return np.asarray(CENTRE + np.array([x, y, z]))


def waist(z: Array) -> Array:
    """A neck whose hollow lies 20 mm below the hooks."""
    return RADIUS + 0.004 * (z + 20.0) ** 2


def hooks_at(right_z: float, left_z: float) -> dict[Side, Array]:
    return {"right": HOOKS["right"] + [0, 0, right_z], "left": HOOKS["left"] + [0, 0, left_z]}


@pytest.mark.parametrize(("right_z", "left_z"), [(0.0, 0.0), (5.0, 5.0), (8.0, -8.0)])
def test_a_cylinder_is_left_at_its_tangent_and_wound_as_a_helix(right_z: float, left_z: float) -> None:
    hooks = hooks_at(right_z, left_z)
    path = taut_band(column(), hooks, band="neck", tension_n=4.0, width_mm=5.0)
    reach = np.hypot(65.0, 75.0)
    wrap = 2.0 * (np.pi - np.arctan2(65.0, 75.0) - np.arccos(RADIUS / reach))
    flat = 2.0 * np.sqrt(reach**2 - RADIUS**2) + RADIUS * wrap
    assert path.length_mm == pytest.approx(np.hypot(flat, left_z - right_z), abs=0.02)
    for side in SIDES:
        touch = tangent_point(hooks[side], centre_mm=CENTRE, radius_mm=RADIUS, side=side)
        level = path.direction(side)[:2] / np.linalg.norm(path.direction(side)[:2])
        expected = (touch - hooks[side])[:2] / np.linalg.norm((touch - hooks[side])[:2])
        np.testing.assert_allclose(level, expected, atol=2e-4)
        rise = (left_z - right_z) / flat * (1.0 if side == "right" else -1.0)
        slope = path.direction(side)[2] / np.linalg.norm(path.direction(side)[:2])
        assert slope == pytest.approx(rise, abs=2e-3)


def test_an_ellipse_is_left_at_its_tangent() -> None:
    a, b = 45.0, 54.0
    path = taut_band(column(a, squash=b / a), hooks_at(0, 0), band="neck", tension_n=4.0, width_mm=5.0)
    x, y = 65.0 / a, -75.0 / b  # the hook where the ellipse is the unit circle
    turn = np.arctan2(y, x) + np.arccos(1.0 / np.hypot(x, y))
    touch = np.array([a * np.cos(turn), 85.0 + b * np.sin(turn)])
    way = (touch - HOOKS["left"][:2]) / np.linalg.norm(touch - HOOKS["left"][:2])
    np.testing.assert_allclose(path.direction("left")[:2], way, atol=3e-4)
    arc = quad(lambda t: np.hypot(a * np.sin(t), b * np.cos(t)), turn, np.pi - turn)[0]
    assert path.length_mm == pytest.approx(2.0 * np.linalg.norm(touch - HOOKS["left"][:2]) + arc, abs=0.03)


def test_a_cone_is_wound_as_a_straight_line_in_its_sector() -> None:
    slope = 0.15  # mm of radius for each mm down: the strap climbs at the back

    def leaving(z: float) -> tuple[float, Array]:
        """Angle and place at height ``z`` where a line from the left hook is tangent to the cone."""
        r, hook = RADIUS - slope * z, HOOKS["left"] - CENTRE
        angle = np.arctan2(hook[1], hook[0]) + np.arccos((r + slope * z) / np.hypot(hook[0], hook[1]))
        return float(angle), off(r * np.cos(angle), r * np.sin(angle), z)

    def length(z: float) -> float:
        angle, at = leaving(z)
        slant = np.hypot(1.0, slope) / slope * (RADIUS - slope * z)
        sector = (np.pi - 2.0 * angle) * slope / np.hypot(1.0, slope)
        return float(2.0 * np.linalg.norm(at - HOOKS["left"]) + 2.0 * slant * np.sin(0.5 * sector))

    best = minimize_scalar(length, bounds=(-30.0, 40.0), method="bounded", options={"xatol": 1e-8})
    shape = column(lambda z: RADIUS - slope * z)
    path = taut_band(shape, hooks_at(0, 0), band="neck", tension_n=4.0, width_mm=5.0)
    assert path.length_mm == pytest.approx(best.fun, abs=0.03)
    at = leaving(best.x)[1]
    assert abs(at[2]) > 1.0  # it climbs
    way = (at - HOOKS["left"]) / np.linalg.norm(at - HOOKS["left"])
    np.testing.assert_allclose(path.direction("left"), way, atol=1e-3)


def test_length_converges_with_the_square_of_the_mesh() -> None:
    reach = np.hypot(65.0, 75.0)
    wrap = 2.0 * (np.pi - np.arctan2(65.0, 75.0) - np.arccos(RADIUS / reach))
    exact = 2.0 * np.sqrt(reach**2 - RADIUS**2) + RADIUS * wrap
    counts = np.array([12, 24, 48])
    errors = [
        exact
        - taut_band(column(around=int(n)), hooks_at(0, 0), band="neck", tension_n=4.0, width_mm=5.0).length_mm
        for n in counts
    ]
    assert np.polyfit(np.log(1.0 / counts), np.log(errors), 1)[0] == pytest.approx(2.0, abs=0.25)


def test_a_free_strap_settles_in_the_hollow_wherever_it_starts() -> None:
    shape, middle = column(waist), []
    for start in (-8.0, -20.0, -35.0):
        line = band_line(shape, hooks_at(-20, -20), band="neck")
        back = off(0, RADIUS, start)
        tilted = BandLine("neck", _bed(shape, back), line.hooks_mm, None)
        middle.append(tilted.path(line.hooks_mm, tension_n=4.0).points_mm[:, 2])
    assert all(abs(z[len(z) // 2] + 20.0) < 0.2 for z in middle)


def _bed(shape: Surface, back: Array) -> Bed:
    return band_line(shape, hooks_at(-20, -20), band="neck", back_mm=back).bed


def test_a_strap_on_a_ball_slips() -> None:
    ball = column(lambda z: np.sqrt(np.maximum(70.0**2 - z**2, 1.0)), half_height=69.0)
    near: dict[Side, Array] = {"right": np.array([-72.0, 40.0, 0.0]), "left": np.array([72.0, 40.0, 0.0])}
    line = band_line(ball, near, band="neck")
    with pytest.raises(StrapSlipsError, match="give nape_mm"):
        line.path({"right": near["right"] + [0, 0, 6.0], "left": near["left"] + [0, 0, 6.0]}, tension_n=4.0)


@pytest.mark.parametrize("held", [False, True])
def test_the_leaving_points_derivative_by_both_hooks(held: bool) -> None:
    hooks = hooks_at(3.0, -4.0)
    back = off(0.0, float(waist(np.array([-30.0]))[0]), -30.0) if held else None
    line = band_line(column(waist), hooks, band="neck", back_mm=back)
    found, step, checked = line.leaving(line.hooks_mm), 1e-3, 0
    for hook in SIDES:
        for axis in range(3):
            moved = []
            for sign in (1.0, -1.0):
                there = {s: np.array(line.hooks_mm[s]) for s in SIDES}
                there[hook][axis] += sign * step
                moved.append(line.leaving(there).points_mm)
            for side in SIDES:
                slope = (moved[0][side] - moved[1][side]) / (2.0 * step)
                if np.abs(slope).max() < 50.0:  # the touching set did not change between the two
                    np.testing.assert_allclose(found.slopes[side][hook][:, axis], slope, atol=2e-4)
                    checked += 1
    assert checked >= 8


def test_the_pull_turns_as_its_tangent_says() -> None:
    line = band_line(column(waist), hooks_at(5.0, 5.0), band="neck")
    strap, hook = Strap(4.0, band=BandEnd.of(line, "left")), np.array(line.hooks_mm["left"])
    tangent = strap.tangent_at(hook)
    for axis in range(3):
        step = np.zeros(3)
        step[axis] = 0.02
        slope = (strap.force_at(hook + step) - strap.force_at(hook - step)) / 0.04
        np.testing.assert_allclose(tangent[:, axis], slope, atol=2e-3)


def test_mirror_and_turned_body_give_the_same_strap() -> None:
    shape = column(waist)
    hooks = hooks_at(6.0, -3.0)
    path = taut_band(shape, hooks, band="neck", tension_n=4.0)
    flip = np.diag([-1.0, 1.0, 1.0])
    swapped: dict[Side, Array] = {"right": flip @ hooks["left"], "left": flip @ hooks["right"]}
    mirrored = taut_band(shape.moved(flip), swapped, band="neck", tension_n=4.0)
    assert mirrored.length_mm == pytest.approx(path.length_mm, abs=1e-6)
    np.testing.assert_allclose(flip @ mirrored.leaves_mm["right"], path.leaves_mm["left"], atol=1e-6)
    turn = Rotation.from_euler("xyz", [4.0, -3.0, 5.0], degrees=True).as_matrix()
    shift = np.array([3.0, -7.0, 11.0])
    moved = {s: turn @ hooks[s] + shift for s in SIDES}
    turned = taut_band(shape.moved(turn, shift), moved, band="neck", tension_n=4.0)
    assert turned.length_mm == pytest.approx(path.length_mm, abs=0.02)
    np.testing.assert_allclose(turned.direction("left"), turn @ path.direction("left"), atol=1e-3)


def test_pressure_is_tension_over_radius_and_width() -> None:
    path = taut_band(column(), hooks_at(0, 0), band="neck", tension_n=4.0, width_mm=20.0)
    middle = path.pressure_kpa[len(path.pressure_kpa) // 2]
    assert middle == pytest.approx(4.0 / RADIUS / 20.0 * 1000.0, rel=0.01)
    assert path.pressure_kpa[0] == path.pressure_kpa[-1] == 0.0


def test_unequal_tensions_need_the_capstan_friction() -> None:
    assert friction_along({"right": 4.0, "left": 4.0}, wrap_rad=2.0) == 0.0
    assert friction_along({"right": 4.0 * np.exp(0.6), "left": 4.0}, wrap_rad=2.0) == pytest.approx(0.3)


def test_a_held_tilted_strap_needs_grip_a_level_one_none() -> None:
    shape = column()
    level = taut_band(shape, hooks_at(0, 0), band="neck", tension_n=4.0, back_mm=off(0, RADIUS, 0.0))
    low = taut_band(shape, hooks_at(0, 0), band="neck", tension_n=4.0, back_mm=off(0, RADIUS, -40.0))
    assert level.grip < 0.01
    assert low.grip == pytest.approx(
        40.0 / 123.0, rel=0.06
    )  # tilted cut of a cylinder: tangent of the tilt at the back


def test_standing_pull_runs_to_where_the_band_leaves() -> None:
    line = band_line(column(waist), hooks_at(5.0, 5.0), band="neck")
    pull = StrapPull((Strap(4.0, band=BandEnd.of(line, "left")),))
    stands = pull.standing(line.hooks_mm["left"], line.hooks_mm["right"])
    np.testing.assert_allclose(stands.force_at(line.hooks_mm["left"]), pull.force_at(line.hooks_mm["left"]))


def test_a_shifted_end_carries_band_and_skin() -> None:
    line = band_line(column(waist), hooks_at(5.0, 5.0), band="neck")
    up = np.array([0.0, 0.0, 7.0])
    here, _ = BandEnd.of(line, "left").leaving(line.hooks_mm["left"], line.hooks_mm["right"])
    end = BandEnd.of(line, "left").shifted(up)
    there, _ = end.leaving(line.hooks_mm["left"] + up, line.hooks_mm["right"] + up)
    np.testing.assert_allclose(there, here + up, atol=1e-6)


def test_refusals() -> None:
    inside: dict[Side, Array] = {"right": np.array([-30.0, 60.0, 0.0]), "left": HOOKS["left"]}
    with pytest.raises(BadValueError, match=r"right hook lies .* inside the skin of the scan"):
        band_line(column(), inside, band="neck")
    with pytest.raises(BadValueError, match="does not reach round the back of the neck"):
        band_line(column(part=np.pi), HOOKS, band="neck")
    torn = column()
    hole = np.linalg.norm(torn.face_centres_mm - off(30.0, 37.0, 0.0), axis=1) < 16.0
    with pytest.raises(BadValueError, match="the scan lacks skin under"):
        taut_band(torn.with_faces(~hole), HOOKS, band="neck", tension_n=4.0)
    with pytest.raises(BadValueError, match="strap width must lie between 5 and 60 mm"):
        band_line(column(), HOOKS, band="neck", width_mm=2.0)


def test_a_flake_off_the_skin_is_left_out() -> None:
    skin = column(waist)
    clean = taut_band(skin, hooks_at(0, 0), band="neck", tension_n=4.0)
    corner = off(4.0, 68.0, -18.0)
    flake = np.array([corner, corner + np.array([3.0, 0.0, 0.0]), corner + np.array([0.0, 1.0, 3.0])])
    n = len(skin.points_mm)
    dirty = Surface(
        np.concatenate([skin.points_mm, flake]), np.concatenate([skin.faces, [[n, n + 1, n + 2]]])
    )
    path = taut_band(dirty, hooks_at(0, 0), band="neck", tension_n=4.0)
    assert path.length_mm == pytest.approx(clean.length_mm, abs=0.05)
