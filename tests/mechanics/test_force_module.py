"""The force module: its curve, the strap round the neck, posture, and equilibrium with a bow that yields.

route             <> route               what must agree
search            <> closed form         a linear spring on a hook that yields linearly
helix on cylinder <> shortest polyline   length of a strap round a neck
held strap turned <> k r psi             the two sides' forces when the head turns about the neck's own axis
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from bow_cases import needs, targets
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize

from mechanics.bow.fit import fit_bow
from mechanics.bow.rigid_wear import rigid_wear
from mechanics.bow.wire import BowWire, TubeSupport, WornBow
from mechanics.force_module.curve import ForceCurve
from mechanics.force_module.equilibrium import Band, Grip, ModuleState, module_equilibrium
from mechanics.force_module.lay import Lain, NeckCylinder, halves_of, path_lay, posed, straight_lay
from mechanics.force_module.posture import STRAIGHT, NeckHinges, Posture, neck_motion, usual_postures
from mechanics.rod.wear import ideal_tube_wear
from mechanics.sides import SIDES, Side
from mechanics.strap.path import StrapPath
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError, NoAnswerError
from mesh_tools.registration.motion import RigidMotion

NECK = NeckCylinder(np.array([0.0, 60.0, -10.0]), 43.0)
OTHER: dict[Side, Side] = {"right": "left", "left": "right"}


@cache
def bow() -> BowWire:
    return fit_bow(needs()).wire


def supports() -> dict[Side, TubeSupport]:
    return {s: TubeSupport(targets()[s]) for s in SIDES}


def yielding_wear(give_mm_per_n: float):
    """A bow whose hook goes ``give_mm_per_n`` along its strap for every newton: nothing else about it matters."""

    def wear(wire: BowWire, straps: Mapping[Side, StrapPull], held: Mapping[Side, TubeSupport]) -> WornBow:
        worn = rigid_wear(wire, straps, held)
        hooks = {s: wire.hook_mm[s] + give_mm_per_n * straps[s].force_at(wire.hook_mm[s]) for s in SIDES}
        return replace(worn, hook_mm=hooks, near=None)

    return wear


# ---- curve


@given(force=st.floats(0.0, 30.0))
def test_extension_and_force_are_each_others_inverse(force: float):
    curve = ForceCurve(np.array([0.0, 2.0, 10.0, 25.0]), np.array([0.0, 1.0, 2.2, 6.0]))
    assert float(curve.force_at(curve.extension_at(force))) == pytest.approx(force, abs=1e-9)


def test_a_curve_is_straight_between_rows_slack_below_and_marked_beyond():
    curve = ForceCurve(np.array([5.0, 15.0]), np.array([1.0, 3.0]), release_mm=14.0)
    np.testing.assert_allclose(
        curve.force_at([-3.0, 0.0, 2.5, 10.0, 15.0, 20.0]), [0.0, 0.0, 0.5, 2.0, 3.0, 4.0]
    )
    assert [curve.beyond(e) for e in (15.0, 15.1)] == [False, True]
    assert [curve.releases(e) for e in (13.9, 14.0)] == [False, True]
    assert curve.rate_at(-1.0) == 0.0
    assert curve.rate_at(7.0) == pytest.approx(0.2)
    by_force = ForceCurve.spring(0.2, longest_mm=40.0, release_n=6.0)
    assert [by_force.releases(e) for e in (29.0, 30.5)] == [False, True]


BAD_ROWS = [
    ([0.0, 10.0, 8.0], [0.0, 1.0, 2.0], r"row 3 \(8 mm, 2 N\) does not lie above"),
    ([0.0, 10.0, 20.0], [0.0, 2.0, 2.0], r"rises with its extension; row 3"),
    ([0.0, 10.0], [0.5, 2.0], "begins with 0 mm, 0 N; got 0 mm, 0.5 N"),
    ([-1.0, 10.0], [0.0, 2.0], "begins with 0 mm, 0 N"),
    ([0.0], [0.0], "two rows or more"),
    ([0.0, np.nan], [0.0, 1.0], "finite"),
]


@pytest.mark.parametrize(("mm", "n", "text"), BAD_ROWS, ids=[b[2][:20] for b in BAD_ROWS])
def test_a_table_that_cannot_be_is_refused(mm: list[float], n: list[float], text: str):
    with pytest.raises(BadValueError, match=text):
        ForceCurve(np.array(mm), np.array(n))


def test_a_spring_without_a_rate_and_a_release_of_zero_are_refused():
    with pytest.raises(BadValueError, match="module rate must be above zero"):
        ForceCurve.spring(0.0, longest_mm=10.0)
    with pytest.raises(BadValueError, match="release force must be above zero"):
        ForceCurve.spring(0.2, longest_mm=10.0, release_n=0.0)


# ---- the strap's way


def test_length_round_a_neck_is_the_shortest_polyline_pinned_at_the_nape():
    # Independent route: points on angles of the cylinder and their heights, total length minimised numerically.
    hook = np.array([60.0, 8.0, 4.0])
    n = 120

    def points(q: Array) -> Array:
        angle, z = np.append(q[:n], 0.0), np.append(q[n:], NECK.centre_mm[2])
        r = NECK.radius_mm
        return np.column_stack([r * np.sin(angle), NECK.centre_mm[1] + r * np.cos(angle), z])

    def length(q: Array) -> float:
        p = np.vstack([hook, points(q)])
        return float(np.linalg.norm(np.diff(p, axis=0), axis=1).sum())

    lain = NECK({"left": hook, "right": hook * [-1.0, 1.0, 1.0]})
    touch = lain.leaves_mm["left"]
    first = float(np.arctan2(touch[0], touch[1] - NECK.centre_mm[1]))
    start = np.concatenate(
        [np.linspace(first, 0.0, n + 1)[:-1], np.linspace(touch[2], NECK.centre_mm[2], n + 1)[:-1]]
    )
    # the first point stays the tangent point: the free strap may not cut into the neck
    found = minimize(length, start, method="L-BFGS-B", bounds=[(first, first)] + [(None, None)] * (2 * n - 1),
                     options={"maxiter": 4000, "maxfun": 10**6, "ftol": 1e-15, "gtol": 1e-10})  # fmt: skip
    assert lain.half_mm["left"] == pytest.approx(found.fun, rel=2e-5)
    assert lain.half_mm["left"] == pytest.approx(lain.half_mm["right"], abs=1e-12)
    assert touch[2] == pytest.approx(found.x[n], abs=0.02)


def test_length_round_a_flat_neck_by_hand():
    # Hook 75 mm in front of and 65 mm beside the axis, r 48: free part sqrt(d^2 - r^2), arc r (angle of the tangent).
    neck = NeckCylinder(np.array([0.0, 85.0, 0.0]), 48.0)
    hook, d = np.array([65.0, 10.0, 0.0]), np.hypot(65.0, 75.0)
    from_nape = np.pi - np.arctan2(65.0, 75.0) - np.arccos(48.0 / d)
    lain = neck({"left": hook, "right": hook * [-1.0, 1.0, 1.0]})
    assert lain.half_mm["left"] == pytest.approx(np.sqrt(d**2 - 48.0**2) + 48.0 * from_nape, abs=1e-9)
    assert lain.length_mm == pytest.approx(2.0 * lain.half_mm["left"], abs=1e-9)
    way = lain.leaves_mm["left"] - hook
    assert way[:2] @ (lain.leaves_mm["left"][:2] - [0.0, 85.0]) == pytest.approx(0.0, abs=1e-9)


def test_a_neck_is_found_from_where_its_straps_leave_it():
    hooks = {"left": np.array([58.0, 12.0, 6.0]), "right": np.array([-61.0, 9.0, 3.0])}
    lain = NECK(hooks)
    found = NeckCylinder.touched_at(lain.leaves_mm, hooks)
    np.testing.assert_allclose(found.centre_mm, NECK.centre_mm, atol=1e-8)
    assert found.radius_mm == pytest.approx(NECK.radius_mm, abs=1e-8)


def test_straps_that_cannot_go_round_a_neck_are_refused():
    hooks = {"left": np.array([60.0, 10.0, 0.0]), "right": np.array([-60.0, 10.0, 0.0])}
    straight = {"left": np.array([60.0, 90.0, 0.0]), "right": np.array([-60.0, 90.0, 0.0])}
    with pytest.raises(BadValueError, match="side by side"):
        NeckCylinder.touched_at(straight, hooks)
    wide = {"left": np.array([99.0, 90.0, 0.0]), "right": np.array([-99.0, 90.0, 0.0])}
    with pytest.raises(BadValueError, match=r"round a neck of 1\d\d mm radius"):
        NeckCylinder.touched_at(wide, hooks)
    crossed = {"left": np.array([-40.0, 100.0, 0.0]), "right": np.array([40.0, 100.0, 0.0])}
    with pytest.raises(BadValueError, match="round a neck of"):
        NeckCylinder.touched_at(crossed, hooks)


def test_a_module_that_pulls_beyond_reason_is_refused():
    lay = straight_lay({s: bow().hook_mm[s] + [0.0, 90.0, 0.0] for s in SIDES})
    slack = {s: lay(bow().hook_mm).half_mm[s] - 20.0 for s in SIDES}
    band = Band("neck", ForceCurve.spring(5.0, longest_mm=50.0), lay, slack, "held")
    with pytest.raises(NoAnswerError, match="more than 60 N"):
        module_equilibrium(bow(), [band], supports(), wear=rigid_wear)


def test_halves_of_a_path_meet_in_the_middle_and_add_to_its_length():
    hooks = {"left": np.array([60.0, 10.0, 0.0]), "right": np.array([-60.0, 10.0, 0.0])}
    lain = NECK(hooks)
    angle = np.linspace(-1.2, 1.2, 400)
    ring = np.column_stack([43.0 * np.sin(angle), 60.0 + 43.0 * np.cos(angle), np.full(400, -10.0)])
    points = np.vstack([hooks["right"], ring, hooks["left"]])
    steps = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
    on = np.r_[False, np.ones(400, dtype=bool), False]
    path = StrapPath("neck", points, on, lain.leaves_mm, steps, np.zeros(402))
    half = halves_of(path)
    assert half["right"] == pytest.approx(half["left"], abs=1e-6)
    assert half["right"] + half["left"] == pytest.approx(steps)
    assert path_lay(lambda _: path)(hooks).half_mm == half


# ---- posture


def test_turning_and_nodding_go_the_way_they_are_called():
    hinges = NeckHinges(np.zeros(3), np.zeros(3))
    nape = np.array([[0.0, 40.0, 0.0]])
    # The face (-y) goes to the left (+x), the back of the head to the right; seen from the head the neck goes left.
    assert neck_motion(Posture("t", turn_deg=20.0), hinges).applied(nape)[0, 0] > 0.0
    below = np.array([[0.0, 0.0, -40.0]])
    assert (
        neck_motion(Posture("n", nod_deg=20.0), hinges).applied(below)[0, 1] < 0.0
    )  # chin comes to the neck
    still = neck_motion(STRAIGHT, hinges)
    np.testing.assert_allclose(still.applied(nape), nape, atol=1e-15)
    with pytest.raises(BadValueError, match="turn of the head must lie within"):
        Posture("far", turn_deg=80.0)


def test_a_posed_strap_is_the_strap_seen_from_the_moved_neck():
    motion = neck_motion(
        Posture("both", 15.0, -10.0), NeckHinges(NECK.centre_mm, np.array([0.0, 60.0, 25.0]))
    )
    hooks = {"left": np.array([58.0, 12.0, 6.0]), "right": np.array([-61.0, 9.0, 3.0])}
    seen = NECK({s: motion.inverse.applied(hooks[s]) for s in SIDES})
    lain = posed(NECK, motion)(hooks)
    assert lain.half_mm == seen.half_mm
    for s in SIDES:
        np.testing.assert_allclose(motion.inverse.applied(lain.leaves_mm[s]), seen.leaves_mm[s], atol=1e-10)


# ---- equilibrium


@pytest.mark.parametrize("rate", [0.05, 0.2, 1.0, 5.0])
@pytest.mark.parametrize("give", [0.0, 2.0, 5.0])
def test_a_linear_spring_on_a_yielding_hook(rate: float, give: float):
    # Closed form: T = k (L - slack) / (1 + k c), here with L - slack = 8 mm.
    points = {s: bow().hook_mm[s] + [0.0, 90.0, -20.0] for s in SIDES}
    lay = straight_lay(points)
    slack = {s: lay(bow().hook_mm).half_mm[s] - 8.0 for s in SIDES}
    band = Band("neck", ForceCurve.spring(rate, longest_mm=50.0), lay, slack, "held")
    state = module_equilibrium(bow(), [band], supports(), wear=yielding_wear(give))
    for s in SIDES:
        assert state.tension_n(s) == pytest.approx(8.0 * rate / (1.0 + rate * give), abs=1.5e-3)
    assert state.residual_n <= 1e-3


def neck_band(
    grip: Grip,
    *,
    extra_mm: Mapping[Side, float] | None = None,
    neck: NeckCylinder = NECK,
    motion: RigidMotion | None = None,
) -> Band:
    straight = neck(bow().hook_mm).half_mm
    more = {"right": 25.0, "left": 25.0} if extra_mm is None else extra_mm
    slack = {s: straight[s] - more[s] for s in SIDES}
    lay = neck if motion is None else posed(neck, motion)
    return Band("neck", ForceCurve.spring(0.15, longest_mm=60.0), lay, slack, grip)


def solved(grip: Grip, motion: RigidMotion | None = None, near: ModuleState | None = None) -> ModuleState:
    band = neck_band(grip, motion=motion)
    return module_equilibrium(bow(), [band], supports(), wear=ideal_tube_wear, near=near)


def test_a_strap_free_to_slide_carries_one_tension_and_a_held_one_two():
    uneven = {"right": 30.0, "left": 20.0}
    free = module_equilibrium(bow(), [neck_band("free", extra_mm=uneven)], supports(), wear=ideal_tube_wear)
    held = module_equilibrium(bow(), [neck_band("held", extra_mm=uneven)], supports(), wear=ideal_tube_wear)
    assert free.tension_n("right") == pytest.approx(free.tension_n("left"), abs=2e-3)
    assert held.tension_n("right") > free.tension_n("right") > held.tension_n("left")


def test_a_flexible_bow_takes_part_of_the_extension():
    stiff = module_equilibrium(bow(), [neck_band("free")], supports(), wear=rigid_wear)
    soft = solved("free")
    assert stiff.tension_n("right") == pytest.approx(0.15 * 25.0, abs=1e-3)
    assert 1.5 < soft.tension_n("right") < 0.95 * stiff.tension_n("right")
    # its own curve holds at the worn hooks
    lain = NECK(soft.worn.hook_mm)
    start = NECK(bow().hook_mm)
    drawn = 25.0 - 0.5 * (start.length_mm - lain.length_mm)
    assert soft.tension_n("right") == pytest.approx(0.15 * drawn, abs=1.5e-3)


def test_even_posture_even_forces_and_mirrored_turns_mirrored_forces():
    hinges = NeckHinges(np.array([0.0, 50.0, 0.0]), np.array([0.0, 50.0, 20.0]))
    states: dict[str, ModuleState] = {}
    for posture in usual_postures(turn_deg=20.0, nod_deg=12.0):
        states[posture.name] = solved("held", neck_motion(posture, hinges))
    for name in ("straight", "chin down", "chin up"):
        assert states[name].tension_n("right") == pytest.approx(states[name].tension_n("left"), abs=3e-3)
    right, left = states["turned right"], states["turned left"]
    for s in SIDES:
        assert right.tension_n(s) == pytest.approx(left.tension_n(OTHER[s]), abs=3e-3)
        np.testing.assert_allclose(
            right.bands[0].leaves_mm[s], left.bands[0].leaves_mm[OTHER[s]] * [-1.0, 1.0, 1.0], atol=0.05
        )
    assert right.tension_n("left") > right.tension_n("right") + 1.0  # face to the right draws the left strap
    assert (
        states["chin up"].tension_n("left")
        > states["straight"].tension_n("left")
        > states["chin down"].tension_n("left")
    )


def test_turning_about_the_necks_own_axis_moves_r_psi_of_strap_from_side_to_side():
    # Flat strap, rigid bow: the free strap feels nothing, the held one T = k (25 -+ r psi).
    height = float(bow().hook_mm["left"][2])
    neck = NeckCylinder(np.array([0.0, 60.0, height]), 43.0)
    motion = neck_motion(Posture("turned left", turn_deg=15.0), NeckHinges(neck.centre_mm, neck.centre_mm))
    free = module_equilibrium(
        bow(), [neck_band("free", neck=neck, motion=motion)], supports(), wear=rigid_wear
    )
    held = module_equilibrium(
        bow(), [neck_band("held", neck=neck, motion=motion)], supports(), wear=rigid_wear
    )
    shift = 43.0 * np.radians(15.0)
    for s, sign in (("right", 1.0), ("left", -1.0)):
        assert free.tension_n(s) == pytest.approx(0.15 * 25.0, abs=1e-3)
        assert held.tension_n(s) == pytest.approx(0.15 * (25.0 + sign * shift), abs=1e-3)


def test_a_tighter_hole_pulls_harder_and_a_slack_strap_not_at_all():
    forces = []
    near: ModuleState | None = None
    for extra in (-10.0, 0.0, 8.0, 16.0, 24.0):
        band = neck_band("free", extra_mm={"right": extra, "left": extra})
        near = module_equilibrium(bow(), [band], supports(), wear=ideal_tube_wear, near=near)
        forces.append(near.tension_n("left"))
    assert forces[0] == forces[1] == 0.0
    assert np.all(np.diff(forces[1:]) > 0.5)


def test_a_start_nearby_gives_the_same_answer():
    fresh = solved("held")
    again = solved("held", near=solved("free"))
    for s in SIDES:
        assert again.tension_n(s) == pytest.approx(fresh.tension_n(s), abs=2e-3)


def test_two_bands_on_one_hook_add_their_tensions():
    cap = straight_lay({s: bow().hook_mm[s] + [0.0, 40.0, 70.0] for s in SIDES})
    slack = {s: cap(bow().hook_mm).half_mm[s] - 15.0 for s in SIDES}
    high = Band("head", ForceCurve.spring(0.1, longest_mm=60.0), cap, slack, "held")
    state = module_equilibrium(bow(), [neck_band("free"), high], supports(), wear=rigid_wear)
    assert state.tension_n("left") == pytest.approx(0.15 * 25.0 + 0.1 * 15.0, abs=2e-3)
    pull = state.straps["left"].force_at(bow().hook_mm["left"])
    assert float(np.linalg.norm(pull)) == pytest.approx(state.worn.strap_force_n["left"], rel=1e-6)


def test_a_strap_of_no_length_is_refused():
    with pytest.raises(BadValueError, match="must have a length on the right"):
        Band("neck", ForceCurve.spring(0.1, longest_mm=9.0), NECK, {"right": -1.0, "left": 5.0})


def test_lain_is_what_it_says():
    lain = Lain({s: np.zeros(3) for s in SIDES}, {"right": 3.0, "left": 4.5})
    assert lain.length_mm == 7.5
