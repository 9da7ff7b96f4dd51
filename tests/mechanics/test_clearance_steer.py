"""A bow carried sideways, and kept clear of the face as it is worn.

Route                        <> what it must agree with
widened arm                  <> its own length, height and direction; the outward shift asked for
gap along a round face       <> distance from the ball's centre less its radius
worn gap after steering      <> the wanted gap, measured anew by the exact distance
"""

from __future__ import annotations

import numpy as np
import pytest
from bow_cases import cervical, ellipsoid, needs, targets
from hypothesis import given
from hypothesis import strategies as st

from mechanics.bend.solve import BEND_ONLY, BendCase, BendSolution, solve_bend
from mechanics.bend.trial import Trial
from mechanics.bow.fit import LIPS_MM, fit_bow
from mechanics.bow.skin import Skin, arms_from_skin_mm
from mechanics.bow.widen import MOST_TURN_DEG, Widening, widened
from mechanics.bow.wire import BowWire
from mechanics.clearance.along import Clearance, inner_clearance, mouth_exits, outer_clearance, passing_mm
from mechanics.clearance.steer import LIPS_PARTS, OVER_MM, SHORT_MM, cheek_from_mm, kept_clear
from mechanics.rod.wear import ideal_tube_wear
from mechanics.sides import SIDES, Side, outward_sign
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError

ARM_MM = 100.0
FACE = ellipsoid(radii_mm=(52.0, 85.0, 100.0), centre_mm=(0.0, 48.0, 0.0))
NEEDS = needs(arm_length_mm={"right": ARM_MM, "left": ARM_MM}, face=FACE)
CORNER: dict[Side, Array] = {s: np.asarray(NEEDS.corner_mm[s]) for s in SIDES}


@pytest.fixture(scope="module")
def bow() -> BowWire:
    return fit_bow(NEEDS).wire


def bend_case(bow: BowWire) -> BendCase:
    return BendCase.through(targets(), bow=bow, straps=cervical(), wear=ideal_tube_wear, face=FACE)


def solve(bow: BowWire, trial: Trial) -> BendSolution:
    return solve_bend(bend_case(bow), unknowns=BEND_ONLY, start=trial)


@given(st.floats(-5.0, 9.0), st.floats(-5.0, 9.0))
def test_a_widened_arm_keeps_length_height_and_direction(bow: BowWire, right: float, left: float) -> None:
    changes: dict[Side, Widening] = {"right": Widening(right, 34.0, 60.0), "left": Widening(left, 32.0, 58.0)}
    made = widened(bow, changes)
    np.testing.assert_allclose(made.outer.step_mm, bow.outer.step_mm, atol=1e-12)
    np.testing.assert_allclose(made.outer.points_mm[:, 2], bow.outer.points_mm[:, 2], atol=1e-12)
    middle = bow.joint.outer_middle_mm
    for side, out in (("right", right), ("left", left)):
        sign = outward_sign(side)
        s = middle + sign * np.linspace(65.0, ARM_MM, 12)
        moved = made.outer.at(s) - bow.outer.at(s)
        np.testing.assert_allclose(moved, np.broadcast_to(moved[0], moved.shape), atol=1e-9)
        assert sign * moved[0, 0] == pytest.approx(out, abs=1e-8)
        ahead = middle + sign * np.linspace(0.0, 27.0, 8)
        np.testing.assert_allclose(made.outer.at(ahead), bow.outer.at(ahead), atol=1e-12)


def test_turns_without_room_or_too_sharp_are_refused(bow: BowWire) -> None:
    with pytest.raises(BadValueError, match=r"right arm turns sideways at 5\.0 and 20\.0 mm"):
        widened(bow, {"right": Widening(1.0, 5.0, 20.0)})
    with pytest.raises(BadValueError, match=f"turn more than {MOST_TURN_DEG:.0f} degrees"):
        widened(bow, {"left": Widening(40.0, 40.0, 56.0)})


def test_the_gap_to_a_ball_is_its_closed_form_and_regions_follow_the_mouth(bow: BowWire) -> None:
    ball = ellipsoid(radii_mm=(40.0, 40.0, 40.0), centre_mm=(0.0, 25.0, 0.0), n=90)
    worn = solve(bow, bend_case_start(bow)).worn_after
    found = outer_clearance(worn, bow.joint, Skin(ball), corner_mm=CORNER)
    radius = np.linalg.norm(found.wire_mm - [0.0, 25.0, 0.0], axis=1)
    half = 0.5 * worn.outer.diameter_at(found.s_mm + bow.joint.outer_middle_mm)
    np.testing.assert_allclose(found.gap_mm, radius - 40.0 - half, atol=0.03)  # the facets' sagitta
    for side in SIDES:
        own = outward_sign(side) * found.s_mm
        x = outward_sign(side) * found.wire_mm[:, 0]
        for k in np.flatnonzero(own > 0.0):
            assert (found.region[k] == "lips") == (x[k] < outward_sign(side) * CORNER[side][0])
            if found.region[k] == "mouth corner":
                assert 0.0 <= x[k] - outward_sign(side) * CORNER[side][0] <= LIPS_MM
        least = found.least("cheek", side)
        assert least is not None
        assert least.gap_mm == pytest.approx(
            found.gap_mm[(np.array(found.region) == "cheek") & (own > 0.0)].min()
        )
    assert found.regions() == ("cheek", "mouth corner", "lips")


def bend_case_start(bow: BowWire) -> Trial:
    from mechanics.bend.trial import as_it_is

    return as_it_is(bow)


def test_pressing_in_is_the_depth_below_zero(bow: BowWire) -> None:
    wide = ellipsoid(radii_mm=(70.0, 70.0, 70.0), centre_mm=(0.0, 40.0, 0.0), n=60)
    worn = solve(bow, bend_case_start(bow)).worn_after
    least = outer_clearance(worn, bow.joint, Skin(wide), corner_mm=CORNER).least("cheek", "left")
    assert least is not None
    depth = 70.0 - np.linalg.norm(least.wire_mm - [0.0, 40.0, 0.0]) + 0.5 * NEEDS.stock.outer_diameter_mm
    assert least.gap_mm == pytest.approx(-depth, abs=0.05)


def test_the_inner_bow_is_measured_between_its_stops_and_names_gum_by_height(bow: BowWire) -> None:
    arch = ellipsoid(radii_mm=(22.0, 30.0, 18.0), centre_mm=(0.0, -2.0, 8.0), n=60)
    worn = solve(bow, bend_case_start(bow)).worn_after
    found = inner_clearance(
        worn, bow, Skin(arch), incisor_mm=np.asarray(NEEDS.incisor_mm), occlusal_z_mm=-3.0
    )
    assert found.s_mm[0] == pytest.approx(bow.stop_mm["right"] + 4.0 - bow.joint.inner_middle_mm)
    high = found.scan_mm[:, 2] + 3.0
    front = np.linalg.norm(found.scan_mm[:, :2] - NEEDS.incisor_mm[:2], axis=1) <= 15.0
    for k, region in enumerate(found.region):
        assert (region == "gingiva") == (high[k] > (9.0 if front[k] else 7.0))
        assert (region == "incisors") <= front[k]


def test_the_mouth_is_left_where_the_wire_is_beside_its_corner(bow: BowWire) -> None:
    worn = solve(bow, bend_case_start(bow)).worn_after
    exits = mouth_exits(worn, bow.joint, corner_mm=CORNER)
    for side in SIDES:
        found = exits[side]
        assert found.at_mm[0] == pytest.approx(CORNER[side][0], abs=1e-3)
        assert found.above_mm == pytest.approx(found.at_mm[2] - CORNER[side][2])
        assert found.ahead_mm == pytest.approx(CORNER[side][1] - found.at_mm[1])
    raised = {s: CORNER[s] + [0.0, 0.0, 2.0] for s in SIDES}
    lower = mouth_exits(worn, bow.joint, corner_mm=raised)
    assert lower["left"].above_mm == pytest.approx(exits["left"].above_mm - 2.0)
    far = {s: CORNER[s] * [10.0, 1.0, 1.0] for s in SIDES}
    assert passing_mm(worn.outer, bow.joint, "left", far["left"]) is None
    assert mouth_exits(worn, bow.joint, corner_mm=far) == {}


def test_turning_the_frame_turns_places_and_keeps_gaps(bow: BowWire) -> None:
    worn = solve(bow, bend_case_start(bow)).worn_after
    outer = outer_clearance(worn, bow.joint, Skin(FACE), corner_mm=CORNER)
    whole = Clearance(outer, None, mouth_exits(worn, bow.joint, corner_mm=CORNER))
    turn = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    moved = whole.moved(turn)
    assert moved.outer is not None
    np.testing.assert_allclose(moved.outer.wire_mm, outer.wire_mm @ turn.T)
    np.testing.assert_array_equal(moved.outer.gap_mm, outer.gap_mm)
    assert len(whole.least()) == 6


@pytest.mark.parametrize("wanted_mm", [4.0, 7.0])
def test_the_worn_arms_keep_the_wanted_gap_though_load_carries_them(bow: BowWire, wanted_mm: float) -> None:
    first = solve(bow, bend_case_start(bow))
    found = kept_clear(bow, first, solve, skin=Skin(FACE), corner_mm=CORNER, wanted_mm=wanted_mm)
    begin = cheek_from_mm(bow, CORNER, lips=LIPS_PARTS)
    states = (
        (found.solution.bench, found.solution.worn_after),
        (found.bow, found.solution.worn_before),
    )
    both = [arms_from_skin_mm(w.outer, b.joint, Skin(FACE), from_mm=begin) for b, w in states]
    for side in SIDES:
        least = min(one[side] for one in both)
        assert wanted_mm - SHORT_MM - 0.02 <= least <= wanted_mm + OVER_MM + 0.02
    assert found.solution.solved
    assert 1 <= found.rounds <= 2
    was = min(
        arms_from_skin_mm(w.outer, b.joint, Skin(FACE), from_mm=begin)["left"]
        for b, w in ((first.bench, first.worn_after), (bow, first.worn_before))
    )
    assert not wanted_mm - SHORT_MM <= was <= wanted_mm + OVER_MM  # else nothing was steered


def test_a_bow_that_keeps_clear_already_is_left_as_it_is(bow: BowWire) -> None:
    first = solve(bow, bend_case_start(bow))
    begin = cheek_from_mm(bow, CORNER, lips=LIPS_PARTS)
    least = min(arms_from_skin_mm(first.worn_after.outer, bow.joint, Skin(FACE), from_mm=begin).values())
    before = min(arms_from_skin_mm(first.worn_before.outer, bow.joint, Skin(FACE), from_mm=begin).values())
    found = kept_clear(bow, first, solve, skin=Skin(FACE), corner_mm=CORNER, wanted_mm=min(least, before))
    assert found.rounds == 0
    assert found.bow is bow


def test_a_bow_that_cannot_be_made_is_passed_over(bow: BowWire) -> None:
    first = solve(bow, bend_case_start(bow))

    def refuses(_bow: BowWire, _trial: Trial) -> BendSolution:
        raise BadValueError("no such bow.")

    found = kept_clear(bow, first, refuses, skin=Skin(FACE), corner_mm=CORNER, wanted_mm=12.0)
    assert (found.rounds, found.solution) == (0, first)
