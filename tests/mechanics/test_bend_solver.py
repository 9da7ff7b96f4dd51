"""The bend solver, on the rigid bow and on a made-up bow that sags and couples both sides.

route                <> route                       what must agree
solver               <> line through the target     the loaded line really passes it, by the distance of point and line
sensitivity          <> rigid geometry              derivative of the offset by the hook's path
tip goal             <> compliance                  K^-1 of the wrench turns nothing about x
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from bow_cases import cervical, ellipsoid, needs, targets

from mechanics.bend.goal import tip_goal
from mechanics.bend.help import what_would_help
from mechanics.bend.newton import bounded_newton, bounded_step
from mechanics.bend.sensitivity import sensitivities
from mechanics.bend.solve import BendCase, solve_bend
from mechanics.bend.trial import Limits, Name, as_it_is, trial_straps
from mechanics.bow.fit import fit_bow
from mechanics.bow.rigid_wear import rigid_wear
from mechanics.bow.wire import BowWire, TubeSupport, Wear, WornBow
from mechanics.sides import SIDES, Side
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError, NoAnswerError

SAG_MM_PER_N = 1.6


def sagging_wear(
    bow: BowWire, straps: Mapping[Side, StrapPull], supports: Mapping[Side, TubeSupport]
) -> WornBow:
    """Not a bow: each hook sinks and swings inward by 1.6 mm/N times (arm / 80 mm)^3, and a fifth of the other's."""
    rigid = rigid_wear(bow, straps, supports)
    give = {
        s: SAG_MM_PER_N
        * (bow.arm_length_mm(s) / 80.0) ** 3
        * straps[s].force_at(bow.hook_mm[s])
        * [1.0, 0.2, 1.0]
        for s in SIDES
    }
    mirror = np.array([-1.0, 1.0, 1.0])
    hook: dict[Side, Array] = {
        "right": bow.hook_mm["right"] + give["right"] + 0.2 * mirror * give["left"],
        "left": bow.hook_mm["left"] + give["left"] + 0.2 * mirror * give["right"],
    }
    pull = {s: straps[s].force_at(hook[s]) for s in SIDES}
    size = {s: float(np.linalg.norm(pull[s])) for s in SIDES}
    return replace(
        rigid, hook_mm=hook, strap_force_n=size, strap_direction={s: pull[s] / size[s] for s in SIDES}
    )


def neck() -> dict[Side, StrapPull]:
    """Straps toward two fixed points low on the neck."""
    return {
        "right": StrapPull.toward([-46.0, 88.0, -40.0], force_n=4.0),
        "left": StrapPull.toward([47.0, 92.0, -46.0], force_n=5.0),
    }


@pytest.fixture(scope="module")
def bow() -> BowWire:
    return fit_bow(needs(arm_length_mm={"right": 78.0, "left": 84.0})).wire


def passes(worn: WornBow, side: Side, target: Array) -> float:
    """Distance in the sagittal plane of target and line, by the normal of the line: no code shared with the solver."""
    d = worn.strap_direction[side][1:] / np.linalg.norm(worn.strap_direction[side][1:])
    return float(np.array([-d[1], d[0]]) @ (worn.hook_mm[side] - target)[1:])


@pytest.mark.parametrize("wear", [rigid_wear, sagging_wear])
@pytest.mark.parametrize("pull", ["neck", "cervical"])
@pytest.mark.parametrize("wanted", [0.0, 2.0])
def test_the_loaded_line_passes_the_target(bow: BowWire, wear: Wear, pull: str, wanted: float) -> None:
    straps = neck() if pull == "neck" else cervical()
    case = BendCase.through(
        targets(),
        bow=bow,
        straps=straps,
        wear=wear,
        wanted_offset_mm=dict.fromkeys(SIDES, wanted),
    )
    found = solve_bend(case)
    assert found.solved, found.report()
    assert found.evaluations <= 10
    again = case.wear(found.bench, straps, case.supports)
    for s in SIDES:
        assert passes(again, s, targets()[s]) == pytest.approx(wanted, abs=0.02)
        assert passes(found.worn_before, s, targets()[s]) == pytest.approx(
            found.line_before[s].offset_mm, abs=1e-9
        )
        assert found.line_after[s].offset_mm == pytest.approx(wanted, abs=0.02)
        assert found.trial[s]["length_mm"] == pytest.approx(bow.arm_length_mm(s))


def test_the_sagging_bow_needs_another_bend_than_the_rigid_one(bow: BowWire) -> None:
    bends = [
        solve_bend(BendCase.through(targets(), bow=bow, straps=neck(), wear=w)).bend_deg("left")
        for w in (rigid_wear, sagging_wear)
    ]
    assert bends[1] > bends[0] + 5.0  # a hook that sinks under load must start higher
    found = solve_bend(BendCase.through(targets(), bow=bow, straps=neck(), wear=sagging_wear))
    assert found.hook_travel_mm("left") > 4.0


@pytest.mark.parametrize("name", ["place_mm", "length_mm", "rise_mm"])
def test_other_unknowns_reach_it_too(name: Name) -> None:
    long = fit_bow(needs(arm_length_mm={"right": 110.0, "left": 106.0})).wire
    start = as_it_is(long)
    for s in SIDES:
        start[s]["bend_deg"] = -14.0
    case = BendCase.through(targets(), bow=long, straps=cervical())
    before = case.lines(case.worn(start))
    wanted = {s: before[s].offset_mm + 0.8 for s in SIDES}
    case = BendCase.through(targets(), bow=long, straps=cervical(), wanted_offset_mm=wanted)
    found = solve_bend(case, unknowns=dict.fromkeys(SIDES, (name,)), start=start)
    assert found.solved, found.report()
    for s in SIDES:
        assert found.bend_deg(s) == -14.0
        assert found.trial[s][name] != start[s][name]


def test_two_unknowns_share_the_work(bow: BowWire) -> None:
    case = BendCase.through(targets(), bow=bow, straps=cervical(), wear=sagging_wear)
    alone = solve_bend(case)
    both = solve_bend(case, unknowns=dict.fromkeys(SIDES, ("bend_deg", "length_mm")))
    assert both.solved
    for s in SIDES:
        assert abs(both.bend_deg(s)) < abs(alone.bend_deg(s))
        assert both.trial[s]["length_mm"] != pytest.approx(bow.arm_length_mm(s))


def test_one_side_alone_can_be_asked_for(bow: BowWire) -> None:
    found = solve_bend(BendCase.through(targets(), bow=bow, straps=neck()), unknowns={"left": ("bend_deg",)})
    assert found.solved_side("left")
    assert found.bend_deg("right") == 0.0
    assert found.left_over["right"] == found.left_over_before["right"]


def test_no_tip_predicted_from_the_whole_compliance() -> None:
    k = np.diag([90.0, 110.0, 70.0, 6e3, 7e3, 4e3])
    k[1, 3] = k[3, 1] = 250.0  # a target that is not quite the centre of resistance
    held = {s: TubeSupport(targets()[s], k) for s in SIDES}
    even = fit_bow(needs()).wire
    case = replace(
        BendCase.through(targets(), bow=even, straps=cervical(), supports=held), goal=tip_goal(held)
    )
    found = solve_bend(case)
    assert found.solved, found.report()
    for s in SIDES:
        w = found.worn_after
        motion = np.linalg.solve(k, np.concatenate([w.force_n[s], w.moment_n_mm[s]]))
        assert np.degrees(motion[3]) == pytest.approx(0.0, abs=1e-3)
        assert abs(found.line_after[s].offset_mm) > 0.5  # and so not through the target
        # Before, the line passed well below: the crown went back, which is a negative tip.
        assert found.line_before[s].offset_mm < -1.0
        assert found.left_over_before[s] < 0.0
    with pytest.raises(BadValueError, match="right molar has no ligament stiffness"):
        tip_goal({s: TubeSupport(targets()[s]) for s in SIDES})


def test_a_goal_out_of_reach_is_reported_as_such(bow: BowWire) -> None:
    far = {s: t + np.array([0.0, 0.0, 30.0]) for s, t in targets().items()}
    found = solve_bend(BendCase.through(far, bow=bow, straps=cervical()))
    assert not found.solved
    assert found.at_bound == ("right bend_deg", "left bend_deg")
    assert found.bend_deg("left") == pytest.approx(60.0)
    again = rigid_wear(found.bench, cervical(), {s: TubeSupport(far[s]) for s in SIDES})
    assert found.left_over["left"] == pytest.approx(passes(again, "left", far["left"]), abs=1e-9)
    assert "NOT reached" in found.report()


def test_what_would_help_really_helps(bow: BowWire) -> None:
    far = {s: t + np.array([0.0, 0.0, 8.0]) for s, t in targets().items()}
    case = BendCase.through(far, bow=bow, straps=cervical(), limits=Limits(bend_deg=(-20.0, 20.0)))
    found = solve_bend(case)
    assert not found.solved
    advice = what_would_help(case, found)
    assert advice[0].works
    works = {h.name for h in advice if h.works}
    assert {"length_mm", "pull_deg"} <= works
    assert all(abs(d) >= 0.05 for h in advice for d in h.change.values())  # nothing that moves by 0.0
    assert "pull_n" not in works  # on a rigid bow more force along the same line moves nothing
    longer = next(h for h in advice if h.name == "length_mm")
    assert "longer with a bend of" in longer.text
    trial = {s: dict(found.trial[s]) for s in SIDES}
    for s in SIDES:
        trial[s]["length_mm"] += longer.change[s]
        trial[s]["bend_deg"] = longer.bend_deg[s]
    for line in case.lines(case.worn(trial)).values():
        assert line.offset_mm == pytest.approx(0.0, abs=0.02)
    assert what_would_help(case, solve_bend(BendCase.through(targets(), bow=bow, straps=neck()))) == ()


def test_sensitivities_of_the_rigid_bow_follow_geometry(bow: BowWire) -> None:
    """Direction fixed: d offset = n . d hook, n the line's normal; a degree carries the hook round the bend's place."""
    case = BendCase.through(targets(), bow=bow, straps=cervical())
    got = sensitivities(case, as_it_is(bow))
    for s in SIDES:
        d = case.straps[s].straps[0].direction
        assert d is not None
        n = np.array([0.0, -d[2], d[1]]) / np.hypot(d[1], d[2])
        lever = bow.hook_mm[s] - bow.outer.at(bow.outer_s_mm(s, bow.bend_place_mm[s]))
        assert got[s].per_degree == pytest.approx(np.radians(1) * n @ np.cross([1, 0, 0], lever), rel=0.02)
        end = 0.0 if s == "right" else bow.outer.length_mm
        arm = bow.outer.tangent_at(end) * (-1.0 if s == "right" else 1.0)
        assert got[s].per_mm_arm == pytest.approx(n @ arm, rel=1e-6)
        assert got[s].per_newton == pytest.approx(0.0, abs=1e-9)
        assert got[s].per_degree_other == pytest.approx(0.0, abs=1e-9)
        level = np.radians(1.0) * np.hypot(*(bow.hook_mm[s] - targets()[s])[1:])
        assert abs(got[s].per_pull_degree) < level
        assert got[s].per_pull_mm_up == got[s].per_pull_mm_back == 0.0


def test_a_trial_moves_points_turns_directions_and_adds_force(bow: BowWire) -> None:
    trial = as_it_is(bow)
    trial["left"] |= {"pull_up_mm": 3.0, "pull_back_mm": -5.0, "pull_n": 1.5, "pull_deg": 10.0}
    point = trial_straps(neck(), trial)["left"].straps[0]
    np.testing.assert_allclose(np.array(point.toward_mm), [47.0, 87.0, -43.0])
    assert point.force_n == 6.5
    line = trial_straps(cervical(), trial)["left"].straps[0]
    assert line.direction is not None
    was = cervical()["left"].straps[0].direction
    assert was is not None
    rise = [np.degrees(np.arctan2(d[2], d[1])) for d in (was, line.direction)]
    assert rise[1] - rise[0] == pytest.approx(10.0)
    np.testing.assert_allclose(
        np.array(trial_straps(neck(), trial)["right"].straps[0].toward_mm), [-46.0, 88.0, -40.0]
    )
    with pytest.raises(BadValueError, match=r"left pull cannot fall below zero; 5.00 N changed by -6.00 N"):
        trial_straps(neck(), {**trial, "left": {**trial["left"], "pull_n": -6.0}})


def test_at_a_limit_the_slope_is_taken_inward(bow: BowWire) -> None:
    """The rigid bow's slope per degree hardly changes in half a degree, whichever way the half degree goes."""

    def kept_down(
        b: BowWire, straps: Mapping[Side, StrapPull], supports: Mapping[Side, TubeSupport]
    ) -> WornBow:
        assert (
            b.hook_mm["left"][2] <= bow.hook_mm["left"][2] + 0.1
        )  # half a degree up would lift it by 0.25 mm
        return rigid_wear(b, straps, supports)

    free = BendCase.through(targets(), bow=bow, straps=cervical())
    tight = replace(free, limits=Limits(bend_deg=(-60.0, 0.0)), wear=kept_down)
    a, b = (sensitivities(case, as_it_is(bow))["left"] for case in (free, tight))
    assert b.per_degree == pytest.approx(a.per_degree, rel=0.02)


def test_sensitivities_of_a_bow_that_gives_way(bow: BowWire) -> None:
    case = BendCase.through(targets(), bow=bow, straps=neck(), wear=sagging_wear)
    got = sensitivities(case, as_it_is(bow))
    for s in SIDES:
        assert got[s].per_newton < 0.0  # the hook sinks
        assert got[s].per_degree_other != 0.0
        assert (
            got[s].per_pull_mm_up < 0.0
        )  # a higher strap point leaves the line lower at the molar ahead of the hook
        assert got[s].per_pull_degree == 0.0


def test_bounded_step_pins_what_would_leave_its_room() -> None:
    j = np.array([[1.0, 1.0]])
    np.testing.assert_allclose(
        bounded_step(j, np.array([-4.0]), room=(-np.ones(2) * 9, np.ones(2) * 9)), [2, 2]
    )
    got = bounded_step(j, np.array([-4.0]), room=(np.array([-9.0, -9.0]), np.array([0.5, 9.0])))
    np.testing.assert_allclose(got, [0.5, 3.5])


def test_the_search_steps_round_places_without_an_answer() -> None:
    def f(x: Array) -> Array:
        if x[0] > 3.0:
            raise NoAnswerError("the bow buckles")
        return np.array([x[0] ** 2 - 4.0])

    found = bounded_newton(
        f,
        np.array([1.0]),
        low=np.array([0.0]),
        high=np.array([9.0]),
        jacobian=np.array([[0.9]]),
        tolerance=1e-9,
    )
    assert found.x[0] == pytest.approx(2.0, abs=1e-6)

    assert found.refusals == ("the bow buckles",)


def test_what_the_worn_bow_refuses_is_told(bow: BowWire) -> None:
    def fragile(
        b: BowWire, straps: Mapping[Side, StrapPull], supports: Mapping[Side, TubeSupport]
    ) -> WornBow:
        if b.hook_mm["left"][2] > bow.hook_mm["left"][2] + 1.5:
            raise NoAnswerError("the wire yields")
        return rigid_wear(b, straps, supports)

    far = {s: t + np.array([0.0, 0.0, 6.0]) for s, t in targets().items()}
    found = solve_bend(BendCase.through(far, bow=bow, straps=cervical(), wear=fragile))
    assert not found.solved
    assert found.refusals == ("the wire yields",)
    assert (
        found.line_after["left"].offset_mm > found.line_before["left"].offset_mm
    )  # still nearer than before


def test_the_mirror_image_patient_gets_the_mirrored_bends(bow: BowWire) -> None:
    mirror = np.array([-1.0, 1.0, 1.0])
    other: dict[Side, Side] = {"right": "left", "left": "right"}
    image = fit_bow(needs(arm_length_mm={"right": 84.0, "left": 78.0})).wire
    points = {s: p.straps[0].toward_mm for s, p in neck().items()}
    pulls = {
        other[s]: StrapPull.toward(np.array(points[s]) * mirror, force_n=p.straps[0].force_n)
        for s, p in neck().items()
    }
    one = solve_bend(BendCase.through(targets(), bow=bow, straps=neck(), wear=sagging_wear))
    two = solve_bend(BendCase.through(targets(), bow=image, straps=pulls, wear=sagging_wear))
    for s in SIDES:
        assert two.bend_deg(other[s]) == pytest.approx(one.bend_deg(s), abs=0.05)


def test_an_arm_in_the_face_is_no_solution(bow: BowWire) -> None:
    """Two ellipsoid heads about the same bow: the narrow one is cleared, the wide one is not."""
    for half_width, clear in ((30.0, True), (62.0, False)):
        face = ellipsoid(radii_mm=(half_width, 75.0, 100.0), centre_mm=(0.0, 40.0, 0.0))
        found = solve_bend(BendCase.through(targets(), bow=bow, straps=neck(), face=face))
        assert all(found.solved_side(s) for s in SIDES)
        assert found.solved == clear
        assert ("inside the face" in found.report()) != clear
        # Half width of the ellipse at the hook's place, against its own x: the hook's distance is no more than that.
        hook = found.bench.hook_mm["left"]
        wide = half_width * np.sqrt(1.0 - ((hook[1] - 40.0) / 75.0) ** 2 - (hook[2] / 100.0) ** 2)
        assert found.skin_mm is not None
        assert found.skin_mm["left"] < hook[0] - wide


def test_nothing_to_change_is_refused(bow: BowWire) -> None:
    with pytest.raises(BadValueError, match="at least one unknown"):
        solve_bend(BendCase.through(targets(), bow=bow, straps=neck()), unknowns={})
