"""The face-bow in ideal tubes: against shooting, against frame analysis, balance, convergence, invariance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rod_cases import OUTER, Curve, pulls, shot_hook, supports, symmetric_bow
from scipy.spatial.transform import Rotation

from mechanics.bow.wire import BowWire, WornBow
from mechanics.rod import BowSlipsOutError, NoEquilibriumError, elastic_wear, ideal_tube_wear
from mechanics.rod.ideal import ideal_problem
from mechanics.rod.mesh import bow_mesh
from mechanics.rod.model import RodModel
from mechanics.rod.newton import equilibrium
from mechanics.rod.problem import RodProblem
from mechanics.sides import SIDES, Side, outward_sign
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array

RISING = Curve(OUTER.half, OUTER.depth, OUTER.leg, 0.25)


def imbalance(worn: WornBow) -> tuple[float, float]:
    """Straps minus molars: force, and moment about the origin."""
    force, moment = np.zeros(3), np.zeros(3)
    for side in SIDES:
        pull = worn.strap_force_n[side] * worn.strap_direction[side]
        force += pull - worn.force_n[side]
        moment += np.cross(worn.hook_mm[side], pull) - worn.moment_n_mm[side]
        moment -= np.cross(worn.about_mm[side], worn.force_n[side])
    return float(np.abs(force).max()), float(np.abs(moment).max())


@pytest.mark.parametrize("force_n", [4.0])
def test_the_hook_lies_where_shooting_puts_it(force_n: float) -> None:
    bow = symmetric_bow()
    worn = ideal_tube_wear(bow, pulls(force_n), supports())
    wanted = shot_hook(bow, force_n)
    np.testing.assert_allclose(worn.hook_mm["left"], wanted, atol=0.005)
    np.testing.assert_allclose(worn.hook_mm["right"], wanted * [-1, 1, 1], atol=0.005)
    assert np.linalg.norm(wanted - bow.hook_mm["left"]) > 3.5 * min(force_n, 2.5)


@pytest.mark.slow
@pytest.mark.parametrize("force_n", [1.0, 2.0, 3.0, 5.0])
@pytest.mark.parametrize("outer", [OUTER, RISING])
def test_the_hook_lies_where_shooting_puts_it_at_every_force(force_n: float, outer: Curve) -> None:
    bow = symmetric_bow(outer=outer)
    worn = ideal_tube_wear(bow, pulls(force_n), supports())
    np.testing.assert_allclose(worn.hook_mm["left"], shot_hook(bow, force_n, outer), atol=0.005)


def test_the_hook_converges_at_second_order() -> None:
    bow = symmetric_bow(spacing=0.25)
    hooks = [
        elastic_wear(bow, pulls(4.0), supports(), ideal_tubes=True, spacing_mm=h).hook_mm["left"]
        for h in (8.0, 4.0, 2.0, 0.5)
    ]
    errors = [float(np.linalg.norm(h - hooks[-1])) for h in hooks[:-1]]
    assert errors[2] < 0.004
    assert errors[0] > 2.5 * errors[1] > 6.0 * errors[2]


@pytest.mark.parametrize(("right_n", "left_n"), [(4.0, 4.0), (4.0, 1.0), (0.3, 6.0), (0.0, 0.0)])
def test_the_molars_carry_what_the_straps_pull(right_n: float, left_n: float) -> None:
    worn = ideal_tube_wear(symmetric_bow(), pulls(right_n, left_n=left_n), supports())
    force, moment = imbalance(worn)
    assert force < 1e-9
    assert moment < 1e-7
    assert worn.residual < 1e-6
    assert worn.converged


def test_no_torsion_goes_into_a_tube() -> None:
    bow = symmetric_bow()
    worn = ideal_tube_wear(bow, pulls(5.0, left_n=3.0), supports())
    for side in SIDES:
        arm = worn.about_mm[side] - bow.tubes[side].mesial_mm
        at_tube = worn.moment_n_mm[side] + np.cross(arm, worn.force_n[side])
        assert abs(at_tube @ bow.tubes[side].axis) < 1e-6
        assert np.linalg.norm(at_tube) > 1.0


def test_a_symmetric_bow_is_worn_symmetrically() -> None:
    worn = ideal_tube_wear(symmetric_bow(), pulls(4.0), supports())
    mirror = np.array([-1.0, 1.0, 1.0])
    np.testing.assert_allclose(worn.outer.points_mm[::-1] * mirror, worn.outer.points_mm, atol=2e-3)
    np.testing.assert_allclose(worn.inner.points_mm[::-1] * mirror, worn.inner.points_mm, atol=2e-3)
    np.testing.assert_allclose(worn.force_n["right"] * mirror, worn.force_n["left"], atol=1e-3)
    np.testing.assert_allclose(worn.moment_n_mm["right"] * -mirror, worn.moment_n_mm["left"], atol=0.02)


def test_mirroring_the_pulls_mirrors_the_answer() -> None:
    one = ideal_tube_wear(symmetric_bow(), pulls(4.0, left_n=2.0), supports())
    other = ideal_tube_wear(symmetric_bow(), pulls(2.0, left_n=4.0), supports())
    np.testing.assert_allclose(other.hook_mm["right"] * [-1, 1, 1], one.hook_mm["left"], atol=2e-3)
    np.testing.assert_allclose(other.force_n["left"] * [-1, 1, 1], one.force_n["right"], atol=2e-3)


@pytest.mark.parametrize("ideal", [True, False])
def test_turning_and_shifting_everything_turns_the_answer(ideal: bool) -> None:
    turn = Rotation.from_rotvec([0.2, -0.15, 0.1]).as_matrix()
    shift = np.array([12.0, -30.0, 7.0])
    bow, straps, stands = symmetric_bow(), pulls(4.0, left_n=3.0), supports()
    before = elastic_wear(bow, straps, stands, ideal_tubes=ideal)
    far = {
        s: StrapPull.toward(turn @ straps[s].straps[0].toward_mm + shift, force_n=straps[s].straps[0].force_n)
        for s in SIDES
    }
    stands = {s: replace(k, about_mm=turn @ k.about_mm + shift) for s, k in stands.items()}
    after = elastic_wear(bow.moved(turn, shift), far, stands, ideal_tubes=ideal)
    for side in SIDES:
        np.testing.assert_allclose(after.hook_mm[side], turn @ before.hook_mm[side] + shift, atol=1e-6)
        np.testing.assert_allclose(after.force_n[side], turn @ before.force_n[side], atol=1e-6)
        np.testing.assert_allclose(after.moment_n_mm[side], turn @ before.moment_n_mm[side], atol=1e-4)


def test_without_load_nothing_moves_and_nothing_is_felt() -> None:
    bow = symmetric_bow()
    worn = ideal_tube_wear(bow, pulls(0.0), supports())
    np.testing.assert_allclose(worn.inner.points_mm, bow.inner.points_mm, atol=1e-9)
    np.testing.assert_allclose(worn.outer.points_mm, bow.outer.points_mm, atol=1e-9)
    assert worn.max_stress_mpa < 1e-6


def test_the_tangent_of_the_whole_bow_is_exact() -> None:
    bow = symmetric_bow()
    mesh = bow_mesh(bow, spacing_mm=8.0)
    problem = ideal_problem(bow, mesh, pulls(4.0, left_n=2.0))
    state = equilibrium(problem, mesh.model.free_state()).state
    rng = np.random.default_rng(3)

    def moved(values: Array) -> Array:
        step, molar = problem.spread(values)
        return problem.residual(state.moved(problem.globally(step), molar), share=1.0)

    # Out of balance as well: the derivative must hold anywhere.
    step, molar = problem.spread(1e-3 * rng.normal(size=problem.size))
    state = state.moved(problem.globally(step), molar)
    matrix, _ = problem.jacobian(state, share=1.0)
    way, eps = rng.normal(size=problem.size), 1e-7
    slope = (moved(eps * way) - moved(-eps * way)) / (2.0 * eps)
    np.testing.assert_allclose(matrix @ way, slope, atol=1e-6 * np.abs(slope).max())


@settings(max_examples=12, deadline=None)
@given(
    right_n=st.floats(0.0, 6.0),
    left_n=st.floats(0.0, 6.0),
    up_mm=st.floats(-80.0, 80.0),
    ideal=st.booleans(),
)
def test_any_pull_is_carried_whole_or_refused(
    right_n: float, left_n: float, up_mm: float, ideal: bool
) -> None:
    straps = {
        s: StrapPull.toward([outward_sign(s) * 60.0, 110.0, up_mm], force_n=n)
        for s, n in (("right", right_n), ("left", left_n))
    }
    try:
        worn = elastic_wear(symmetric_bow(), straps, supports(), ideal_tubes=ideal)
    except BowSlipsOutError:
        assert not ideal
        return
    force, moment = imbalance(worn)
    assert force < 1e-9
    assert moment < 1e-7


def test_the_worn_wires_keep_their_length() -> None:
    bow = symmetric_bow()
    worn = ideal_tube_wear(bow, pulls(5.0), supports())
    assert worn.outer.length_mm == pytest.approx(bow.outer.length_mm, abs=5e-3)
    # The inner wire lies 1.5 mm beside the bar of the joint and shortens as that bends, by 1.5 mm times its turn.
    assert worn.inner.length_mm == pytest.approx(bow.inner.length_mm, abs=0.06)
    # Over the joint both move as one body: their distance there does not change.
    o = int(np.searchsorted(bow.outer.s_mm, bow.outer.length_mm / 2 + 6.0))
    i = int(np.searchsorted(bow.inner.s_mm, bow.inner.length_mm / 2 + 6.0))
    apart = [np.linalg.norm(w.outer.points_mm[o] - w.inner.points_mm[i]) for w in (bow, worn)]
    assert apart[1] == pytest.approx(apart[0], abs=2e-3)


def test_a_rod_that_nothing_holds_is_refused() -> None:
    points = np.zeros((21, 3))
    points[:, 0] = np.linspace(0.0, 50.0, 21)
    model = RodModel.chain(points, 1.0, e_mpa=2e5, g_mpa=8e4)
    balanced = np.zeros((21, 6))
    balanced[0, 0], balanced[-1, 0] = -1.0, 1.0  # in balance by itself, so no residual tells
    loose = RodProblem.clamped(model, [], dead=balanced)
    with pytest.raises(NoEquilibriumError, match=r"held by nothing|buckles or slips|cannot be proven"):
        equilibrium(loose, model.free_state())
    swinging = replace(loose, free=np.where(np.arange(21)[:, None] == 0, [False] * 3 + [True] * 3, True))
    with pytest.raises(NoEquilibriumError, match=r"held by nothing|buckles or slips|cannot be proven"):
        equilibrium(swinging, model.free_state())
    held = RodProblem.clamped(model, [0], dead=balanced)
    assert equilibrium(held, model.free_state()).state.move_mm[-1, 0] == pytest.approx(
        50.0 / (2e5 * np.pi / 4.0), rel=1e-4
    )


def frame_hook(bow: BowWire, force_n: dict[Side, Array]) -> Array:
    """Moves (2, 3) of right and left hook by a general frame library: linear, same wire."""
    from Pynite import FEModel3D

    mesh = bow_mesh(bow)
    model, frame = mesh.model, FEModel3D()
    frame.add_material("steel", model.e_mpa, model.g_mpa, 0.3, 1e-9)
    place = {f"N{k}": p for k, p in enumerate(model.node_mm)}
    for name, p in place.items():
        frame.add_node(name, *p)
    for d in [*np.unique(model.diameter_mm), 20.0]:
        i = np.pi * d**4 / 64.0
        frame.add_section(f"d{d:.4f}", np.pi * d**2 / 4.0, i, i, 2.0 * i)
    for k, (i, j) in enumerate(model.ends):
        ends = [f"N{i}", f"N{j}"]
        for end in (0, 1):
            if np.abs(model.offset_mm[k, end]).max() > 0.0:
                frame.add_node(f"E{k}", *(place[ends[end]] + model.offset_mm[k, end]))
                frame.add_member(f"L{k}", ends[end], f"E{k}", "steel", f"d{20.0:.4f}")
                ends[end] = f"E{k}"
        frame.add_member(f"M{k}", ends[0], ends[1], "steel", f"d{model.diameter_mm[k]:.4f}")
    for side in SIDES:
        # The tubes lie along y: everything held but the turn about y.
        frame.def_support(f"N{mesh.stop_node[side]}", True, True, True, True, False, True)
        for axis, value in zip(("FX", "FY", "FZ"), force_n[side], strict=True):
            frame.add_node_load(f"N{mesh.hook_node[side]}", axis, float(value))
    frame.analyze_linear()
    nodes = [frame.nodes[f"N{mesh.hook_node[s]}"] for s in SIDES]
    return np.array([[n.DX["Combo 1"], n.DY["Combo 1"], n.DZ["Combo 1"]] for n in nodes])


@pytest.mark.filterwarnings("ignore")
def test_small_loads_agree_with_a_frame_library() -> None:
    bow = symmetric_bow(outer=RISING)
    force: dict[Side, Array] = {"right": np.array([2e-4, 9e-4, -4e-4]), "left": np.array([-1e-4, 5e-4, 3e-4])}
    straps = {s: StrapPull.along(force[s], force_n=float(np.linalg.norm(force[s]))) for s in SIDES}
    worn = ideal_tube_wear(bow, straps, supports())
    moves = np.array([worn.hook_mm[s] - bow.hook_mm[s] for s in SIDES])
    wanted = frame_hook(bow, force)
    np.testing.assert_allclose(moves, wanted, atol=1e-3 * np.abs(wanted).max())
