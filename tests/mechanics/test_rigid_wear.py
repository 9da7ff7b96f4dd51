"""The rigid bow: two tubes balance the straps; the lever decides the distal forces, stiffness the rest."""

from __future__ import annotations

import numpy as np
import pytest
from bow_cases import cervical, needs, targets
from scipy.spatial.transform import Rotation

from mechanics.bow.fit import fit_bow
from mechanics.bow.rigid_wear import rigid_wear, shared_between
from mechanics.bow.wire import BowWire, TubeSupport
from mechanics.line_of_force import force_line
from mechanics.sides import SIDES, Side
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError


@pytest.fixture(scope="module")
def bow() -> BowWire:
    return fit_bow(needs(arm_length_mm={"right": 72.0, "left": 90.0})).wire


def supports(bow: BowWire, right: float = 1.0, left: float = 1.0) -> dict[Side, TubeSupport]:
    """Molars on six equal springs times a factor, held at the tube's middle."""
    k = np.diag([100.0, 100.0, 100.0, 5e3, 5e3, 5e3])
    return {s: TubeSupport(bow.tubes[s].middle_mm, f * k) for s, f in zip(SIDES, (right, left), strict=True)}


def test_molars_together_feel_what_the_straps_pull(bow: BowWire) -> None:
    """Force and moment about an arbitrary point, straps against molars."""
    worn = rigid_wear(bow, cervical(), {s: TubeSupport(targets()[s]) for s in SIDES})
    pull = {s: worn.strap_force_n[s] * worn.strap_direction[s] for s in SIDES}
    force = sum(worn.force_n[s] - pull[s] for s in SIDES)
    moment = sum(
        worn.moment_n_mm[s] + np.cross(worn.about_mm[s], worn.force_n[s]) - np.cross(worn.hook_mm[s], pull[s])
        for s in SIDES
    )
    np.testing.assert_allclose(force, 0.0, atol=1e-12)
    np.testing.assert_allclose(moment, 0.0, atol=1e-10)
    assert worn.converged
    assert worn.max_stress_mpa == 0.0


def test_an_even_bow_loads_both_molars_alike_and_tips_each_by_its_own_line() -> None:
    """With even sides each molar's moment about x is that of its own strap: force in the plane times offset."""
    even = fit_bow(needs()).wire
    worn = rigid_wear(even, cervical(), {s: TubeSupport(targets()[s]) for s in SIDES})
    np.testing.assert_allclose(worn.force_n["right"] * [-1, 1, 1], worn.force_n["left"], atol=1e-6)
    for s in SIDES:
        line = force_line(worn.hook_mm[s], 4.0 * worn.strap_direction[s], target_mm=targets()[s], side=s)
        assert worn.moment_n_mm[s][0] == pytest.approx(-line.tipping_moment_n_mm, abs=1e-4)


def test_lever_rule_by_hand() -> None:
    """5 N straight back through x = +10 between tubes at +-25: 5 (25 + 10) / 50 = 3.5 N left, 1.5 N right."""
    tubes: dict[Side, Array] = {"right": np.array([-25.0, 0, 0]), "left": np.array([25.0, 0, 0])}
    held = {s: TubeSupport(tubes[s]) for s in SIDES}
    pull: dict[Side, Array] = {"right": np.zeros(3), "left": np.array([0.0, 5.0, 0.0])}
    share = shared_between(
        pull, at_mm={"right": np.zeros(3), "left": np.array([10.0, 40.0, 0.0])}, tubes_mm=tubes, supports=held
    )
    np.testing.assert_allclose(share["left"][0], [0, 3.5, 0], atol=1e-12)
    np.testing.assert_allclose(share["right"][0], [0, 1.5, 0], atol=1e-12)


def test_the_stiffer_molar_takes_more_of_the_lateral_force(bow: BowWire) -> None:
    pull = {s: StrapPull.along([0.2, 1.0, 0.0], force_n=5.0) for s in SIDES}
    lateral = 2 * 5.0 * 0.2 / np.hypot(0.2, 1.0)
    for right, left in ((1.0, 1.0), (3.0, 1.0)):
        worn = rigid_wear(bow, pull, supports(bow, right, left))
        across = bow.tubes["left"].middle_mm - bow.tubes["right"].middle_mm
        along = {s: worn.force_n[s] @ across / np.linalg.norm(across) for s in SIDES}
        assert along["right"] == pytest.approx(lateral * right / (right + left), rel=1e-6)


def test_turning_patient_and_pull_turns_the_forces(bow: BowWire) -> None:
    turn = Rotation.from_euler("z", 7.0, degrees=True)
    at = {s: TubeSupport(targets()[s]) for s in SIDES}
    there = {s: TubeSupport(turn.apply(targets()[s])) for s in SIDES}
    pulls = {
        s: StrapPull.along(turn.apply(np.array(p.straps[0].direction)), force_n=4.0)
        for s, p in cervical().items()
    }
    one, other = rigid_wear(bow, cervical(), at), rigid_wear(bow.moved(turn.as_matrix()), pulls, there)
    for s in SIDES:
        np.testing.assert_allclose(other.force_n[s], turn.apply(+one.force_n[s]), atol=1e-9)
        np.testing.assert_allclose(other.moment_n_mm[s], turn.apply(+one.moment_n_mm[s]), atol=1e-8)


def test_a_strap_point_in_front_of_the_hook_is_refused(bow: BowWire) -> None:
    pulls = {**cervical(), "left": StrapPull.toward(bow.hook_mm["left"] + [0, -12.0, 0], force_n=4.0)}
    with pytest.raises(BadValueError, match=r"left strap point lies 12.0 mm in front of the hook"):
        rigid_wear(bow, pulls, {s: TubeSupport(targets()[s]) for s in SIDES})
