"""Wire in tubes with play, stops and molars that give; activation; refusals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rod_cases import pulls, supports, symmetric_bow
from scipy.spatial.transform import Rotation

from mechanics.bow.activation import activated
from mechanics.bow.wire import TubeSupport
from mechanics.rod import (
    BowSlipsOutError,
    NoEquilibriumError,
    YieldError,
    elastic_wear,
    elastic_wear_in_full,
    ideal_tube_wear,
    insertion,
)
from mechanics.rod.ideal import ideal_problem
from mechanics.rod.mesh import bow_mesh
from mechanics.rod.problem import RodProblem
from mechanics.rod.seat import settled, tube_contact
from mechanics.sides import SIDES, Side
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError

MOLAR = np.diag([2e3, 2e3, 4e3, 2e5, 2e5, 1e5])
MOLAR[0, 4] = MOLAR[4, 0] = 3e3


def contact_problem(right_n: float, left_n: float, *, loose: bool) -> tuple[RodProblem, object]:
    """A bow in its tubes on compliant molars, and its equilibrium's state."""
    bow = symmetric_bow()
    mesh = bow_mesh(bow, spacing_mm=6.0)
    straps = pulls(right_n, left_n=left_n)
    bare = ideal_problem(bow, mesh, straps)
    bare = replace(bare, free=np.ones_like(bare.free), basis=np.tile(np.eye(3), (len(bare.free), 1, 1)))
    contact = tube_contact(bow, mesh, supports(MOLAR), slide_mm={"right": 0.0, "left": 0.0})
    problem, found = settled(bare, contact, mesh.model.free_state(), shares=(0.0, 1.0))
    if not loose:
        problem = replace(problem, contact=replace(problem.contact, pinned=True))  # type: ignore[type-var]
    return problem, found.state


@pytest.mark.parametrize("loose", [True, False])
def test_the_tangent_with_tubes_and_molars_is_exact(loose: bool) -> None:
    problem, state = contact_problem(4.0, 3.0, loose=loose)
    rng = np.random.default_rng(5)

    def moved(values: Array) -> Array:
        step, molar = problem.spread(values)
        return problem.residual(state.moved(problem.globally(step), molar), share=1.0)  # type: ignore[attr-defined]

    step, molar = problem.spread(1e-5 * rng.normal(size=problem.size))
    state = state.moved(problem.globally(step), molar)  # type: ignore[attr-defined]
    matrix, _ = problem.jacobian(state, share=1.0)  # type: ignore[arg-type]
    way, eps = rng.normal(size=problem.size), 1e-8
    slope = (moved(eps * way) - moved(-eps * way)) / (2.0 * eps)
    np.testing.assert_allclose(matrix @ way, slope, atol=3e-5 * np.abs(slope).max())


@pytest.mark.parametrize("stiffness", [None, MOLAR])
@pytest.mark.parametrize(("right_n", "left_n"), [(4.0, 4.0), (4.0, 2.0), (0.05, 0.05), (7.0, 6.0)])
def test_the_molars_carry_what_the_straps_pull(
    right_n: float, left_n: float, stiffness: Array | None
) -> None:
    worn = elastic_wear(symmetric_bow(), pulls(right_n, left_n=left_n), supports(stiffness))
    force, moment = np.zeros(3), np.zeros(3)
    for side in SIDES:
        pull = worn.strap_force_n[side] * worn.strap_direction[side]
        force += pull - worn.force_n[side]
        moment += np.cross(worn.hook_mm[side], pull) - worn.moment_n_mm[side]
        moment -= np.cross(worn.about_mm[side], worn.force_n[side])
    assert np.abs(force).max() < 1e-9
    assert np.abs(moment).max() < 1e-7


def test_a_tight_tube_is_an_ideal_tube_but_for_the_bend_inside_it() -> None:
    bow = symmetric_bow(bore_mm=1.143)
    tight = elastic_wear(bow, pulls(4.0), supports())
    ideal = ideal_tube_wear(bow, pulls(4.0), supports())
    moved = np.linalg.norm(tight.hook_mm["left"] - ideal.hook_mm["left"])
    assert 0.0 < moved < 0.15
    np.testing.assert_allclose(tight.force_n["left"], ideal.force_n["left"], atol=0.1)
    # Yaw at the tube costs a bend inside it, so some of it is given back; the tip cannot be.
    assert tight.moment_n_mm["left"][0] == pytest.approx(ideal.moment_n_mm["left"][0], rel=5e-3)


@pytest.mark.parametrize("bore_mm", [1.17, 1.2, 1.3])
def test_the_wire_tilts_by_its_play_and_presses_both_rims(bore_mm: float) -> None:
    bow = symmetric_bow(bore_mm=bore_mm)
    full = elastic_wear_in_full(bow, pulls(6.0), supports())
    assert full.seats is not None
    for side in SIDES:
        seat = full.seats[side]
        most = np.degrees(np.arctan(bow.play_mm(side) / bow.tubes[side].length_mm))
        assert 0.9 * most < seat.tilt_deg <= 1.001 * most
        assert seat.touches == (True, True)
        # The two rims form the couple: they press in nearly opposite ways, across the tube.
        cosine = seat.mesial_n @ seat.distal_n / np.linalg.norm(seat.mesial_n) / np.linalg.norm(seat.distal_n)
        assert cosine < -0.5
        assert abs(seat.mesial_n @ bow.tubes[side].axis) < 1e-9
        assert seat.stop_n == pytest.approx(full.worn.force_n[side] @ bow.tubes[side].axis, abs=0.01)


def test_play_lowers_the_hook() -> None:
    drop = [
        elastic_wear(symmetric_bow(bore_mm=b), pulls(2.0), supports()).hook_mm["left"][2]
        for b in (1.15, 1.2, 1.3)
    ]
    assert drop[0] > drop[1] > drop[2]


def test_stiff_molars_are_molars_that_do_not_move() -> None:
    bow = symmetric_bow()
    still = elastic_wear(bow, pulls(4.0), supports())
    stiff = elastic_wear(bow, pulls(4.0), supports(1e4 * MOLAR))
    for side in SIDES:
        np.testing.assert_allclose(stiff.hook_mm[side], still.hook_mm[side], atol=1e-4)
        np.testing.assert_allclose(stiff.moment_n_mm[side], still.moment_n_mm[side], atol=0.01)


def test_a_molar_moves_as_its_ligament_says() -> None:
    full = elastic_wear_in_full(symmetric_bow(), pulls(4.0), supports(MOLAR))
    assert full.seats is not None
    for side in SIDES:
        seat, worn = full.seats[side], full.worn
        motion = np.concatenate([seat.molar_move_mm, seat.molar_turn_rad])
        felt = np.concatenate([worn.force_n[side], worn.moment_n_mm[side]])
        np.testing.assert_allclose(MOLAR @ motion, felt, atol=5e-3 * np.abs(felt).max())
        assert seat.molar_move_mm[1] > 1e-3


def test_turned_stiffness_turns_the_answer() -> None:
    turn = Rotation.from_rotvec([0.1, 0.2, -0.1]).as_matrix()
    both = np.kron(np.eye(2), turn)
    bow, straps = symmetric_bow(), pulls(4.0)
    before = elastic_wear(bow, straps, supports(MOLAR))
    far = {s: StrapPull.toward(turn @ straps[s].straps[0].toward_mm, force_n=4.0) for s in SIDES}
    stands = {s: TubeSupport(turn @ k.about_mm, both @ MOLAR @ both.T) for s, k in supports().items()}
    after = elastic_wear(bow.moved(turn), far, stands)
    for side in SIDES:
        np.testing.assert_allclose(after.force_n[side], turn @ before.force_n[side], atol=1e-5)
        np.testing.assert_allclose(after.moment_n_mm[side], turn @ before.moment_n_mm[side], atol=1e-3)


def test_an_unloaded_passive_bow_lies_loose_and_presses_nothing() -> None:
    worn = elastic_wear(symmetric_bow(), pulls(0.0), supports(MOLAR))
    assert all(np.abs(worn.force_n[s]).max() < 1e-6 for s in SIDES)
    assert sum("touches neither end" in note for note in worn.notes) == 2


def test_an_expanded_bow_pushes_the_molars_apart_without_a_strap() -> None:
    bow = activated(symmetric_bow(), expansion_mm={"right": 3.0, "left": 3.0})
    done = insertion(bow, supports())
    worn = done.worn
    assert worn.force_n["left"][0] > 0.3
    np.testing.assert_allclose(worn.force_n["left"], -worn.force_n["right"], atol=1e-9)
    # The hand presses the terminals together: inward on both sides.
    assert done.hand_n["left"][0] < 0.0 < done.hand_n["right"][0]
    assert done.hand_size_n("left") == pytest.approx(done.hand_size_n("right"), rel=1e-3)
    more = insertion(activated(symmetric_bow(), expansion_mm={"right": 6.0, "left": 6.0}), supports())
    assert more.hand_size_n("left") == pytest.approx(2.0 * done.hand_size_n("left"), rel=0.1)


def test_the_worn_expanded_bow_lies_in_its_tubes() -> None:
    plain = symmetric_bow()
    bow = activated(plain, expansion_mm={"right": 4.0, "left": 2.0}, toe_in_deg={"left": 5.0, "right": 0.0})
    worn = ideal_tube_wear(bow, pulls(3.0), supports())
    for side in SIDES:
        tube, away = plain.tubes[side], -1.0 if side == "right" else 1.0
        at = worn.inner.at(np.interp(bow.stop_mm[side], bow.inner.s_mm, worn.inner.s_mm))
        np.testing.assert_allclose(at, tube.mesial_mm, atol=0.01)
        np.testing.assert_allclose(
            worn.inner.points_mm[0 if side == "right" else -1], tube.distal_mm, atol=0.01
        )
        assert (
            away * worn.inner.tangent_at(0.0 if side == "right" else worn.inner.length_mm) @ tube.axis
            > 0.9999
        )


def test_a_stop_that_would_have_to_pull_lifts_off() -> None:
    worn = elastic_wear_in_full(symmetric_bow(), pulls(4.0, left_n=1.5), supports())
    assert worn.seats is not None
    gap = worn.seats["left"].stop_gap_mm
    assert 0.1 < gap < 3.0
    assert worn.seats["left"].stop_n == 0.0
    assert any(note.startswith(f"left stop lifts off its tube by {gap:.2f} mm") for note in worn.worn.notes)
    assert abs(worn.worn.force_n["left"][1]) < 0.02
    # Held two-way instead, that tube would have to pull the bow forward.
    held = ideal_tube_wear(symmetric_bow(), pulls(4.0, left_n=1.5), supports())
    assert held.force_n["left"][1] < -0.1


def test_a_terminal_that_slides_out_is_refused() -> None:
    with pytest.raises(
        BowSlipsOutError, match=r"left terminal slides .* mm forward and leaves less than 1 mm"
    ):
        elastic_wear(symmetric_bow(), pulls(4.0, left_n=0.2), supports())


def test_a_forward_pull_is_refused() -> None:
    forward: dict[Side, StrapPull] = {s: StrapPull.along([0.0, -1.0, 0.0], force_n=2.0) for s in SIDES}
    with pytest.raises(BowSlipsOutError, match=r"slips forward out of both tubes: .* 2.00 N"):
        elastic_wear(symmetric_bow(), forward, supports())


def test_a_force_that_yields_the_wire_is_refused_or_noted() -> None:
    with pytest.raises(
        YieldError, match=r"inner wire yields: \d+ MPa at \d+ mm from its right end, proof stress 1400 MPa"
    ):
        elastic_wear(symmetric_bow(), pulls(25.0), supports())
    worn = elastic_wear(symmetric_bow(), pulls(25.0), supports(), yielding="note")
    assert any("inner wire yields" in note for note in worn.notes)
    assert worn.max_stress_mpa > 1400.0


def test_a_bow_far_from_its_tubes_is_refused() -> None:
    bow = symmetric_bow()
    far = {
        s: replace(t, mesial_mm=t.mesial_mm * [3.0, 1, 1], distal_mm=t.distal_mm * [3.0, 1, 1])
        for s, t in bow.tubes.items()
    }
    with pytest.raises(BadValueError, match=r"right terminal lies 52.0 mm and 0 degrees off its tube"):
        elastic_wear(replace(bow, tubes=far), pulls(4.0), supports())


def test_a_force_beyond_any_equilibrium_is_refused() -> None:
    with pytest.raises((NoEquilibriumError, YieldError), match=r"buckles|yields"):
        elastic_wear(symmetric_bow(proof_mpa=1e9), pulls(500.0), supports(), ideal_tubes=True)


def test_a_terminal_that_hardly_enters_its_tube_is_refused() -> None:
    bow = symmetric_bow()
    short = replace(bow, stop_mm={**bow.stop_mm, "right": 0.3})
    with pytest.raises(BadValueError, match=r"right terminal reaches 0.30 mm behind its stop; at least 1 mm"):
        elastic_wear(short, pulls(4.0), supports())


def test_a_strap_point_in_front_of_the_hook_is_refused() -> None:
    straps = {s: StrapPull.toward([0.0, -200.0, 0.0], force_n=4.0) for s in SIDES}
    with pytest.raises(BadValueError, match="front"):
        elastic_wear(symmetric_bow(), straps, supports())


def test_stress_is_that_of_the_moment_in_the_wire() -> None:
    # Free-body: at the front the outer arm carries the moment of the strap about that place.
    bow = symmetric_bow()
    worn = ideal_tube_wear(bow, pulls(4.0), supports())
    k = int(np.searchsorted(bow.outer.s_mm, bow.outer.length_mm - 50.0))
    pull = worn.strap_force_n["left"] * worn.strap_direction["left"]
    moment = np.cross(worn.hook_mm["left"] - worn.outer.points_mm[k], pull)
    tangent = worn.outer.tangent_at(worn.outer.s_mm[k])
    twist = float(moment @ tangent)
    bend = float(np.linalg.norm(moment - twist * tangent))
    d = 1.83
    sigma, tau = 32 * bend / (np.pi * d**3), 16 * abs(twist) / (np.pi * d**3)
    stretch = abs(float(pull @ tangent)) / (np.pi * d**2 / 4)
    assert worn.stress_mpa["outer"][k] == pytest.approx(
        np.sqrt((sigma + stretch) ** 2 + 3 * tau**2), rel=0.01
    )
