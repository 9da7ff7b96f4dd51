"""The elastic face-bow under its straps, held by both tubes."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mechanics.bow.wire import BowWire, PartName, TubeSupport, WirePart, WornBow
from mechanics.rod import quaternion as quat
from mechanics.rod.mesh import SPACING_MM, BowMesh, bow_mesh, worn_points
from mechanics.rod.model import RodState
from mechanics.rod.newton import Equilibrium, equilibrium
from mechanics.rod.problem import RodProblem
from mechanics.rod.stress import station_stress
from mechanics.sides import SIDES, Side
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array

TOGETHER_MM = 0.05
ALIGNED_RAD = 1e-9


def ideal_tube_wear(
    bow: BowWire,
    straps: Mapping[Side, StrapPull],
    supports: Mapping[Side, TubeSupport],
    *,
    spacing_mm: float = SPACING_MM,
) -> WornBow:
    """The bow in equilibrium, as bent by its straps, with what each molar feels about its own point.

    Tubes are ideal: the wire is held in place and direction at the mesial end of each tube and free to turn
    about the tube's axis. Raises NoEquilibriumError.
    """
    mesh = bow_mesh(bow, spacing_mm=spacing_mm)
    problem, held = ideal_tubes(bow, mesh, straps)
    found = _inserted(problem, bow, mesh, held)
    return _worn(bow, mesh, problem, found, straps, supports)


def ideal_tubes(bow: BowWire, mesh: BowMesh, straps: Mapping[Side, StrapPull]) -> tuple[RodProblem, Array]:
    """The problem with both tubes ideal, and the held steps (n, 6) that bring the free wire into them."""
    n = len(mesh.model.node_mm)
    free, basis = np.ones((n, 6), dtype=bool), np.tile(np.eye(3), (n, 1, 1))
    for side in SIDES:
        node, axis = mesh.stop_node[side], bow.tubes[side].axis
        free[node] = [False, False, False, True, False, False]
        basis[node] = quat.to_matrix(quat.aligning(axis[None]))[0]
    pulls = tuple((mesh.hook_node[side], straps[side]) for side in SIDES)
    problem = RodProblem(mesh.model, free, basis, np.zeros((n, 6)), pulls)
    return problem, held_step(problem, bow, mesh, mesh.model.free_state())


def held_step(problem: RodProblem, bow: BowWire, mesh: BowMesh, state: RodState) -> Array:
    """Steps (n, 6), spins along the basis, that bring the wire at both tubes into place and direction."""
    out = np.zeros(problem.free.shape)
    for side in SIDES:
        node, tube = mesh.stop_node[side], bow.tubes[side]
        out[node, :3] = tube.mesial_mm - problem.hook_mm(state, node)
        now = quat.turned(state.turn[node], terminal_direction(bow, side))
        cross, cosine = np.cross(now, tube.axis), float(now @ tube.axis)
        sine = float(np.linalg.norm(cross))
        spin = cross * (np.arctan2(sine, cosine) / sine) if sine > 1e-15 else np.zeros(3)
        out[node, 3:] = problem.basis[node].T @ spin
    return np.where(problem.free, 0.0, out)


def terminal_direction(bow: BowWire, side: Side) -> Array:
    """Unit direction (3,) of the free inner bow's terminal, from the stop to its end."""
    stop, part = bow.stop_mm[side], bow.inner
    end = (
        max(0.0, stop - bow.tubes[side].length_mm)
        if side == "right"
        else min(part.length_mm, stop + bow.tubes[side].length_mm)
    )
    if abs(end - stop) < 0.2:
        tangent = part.tangent_at(stop)
        return -tangent if side == "right" else tangent
    chord = part.at(end) - part.at(stop)
    return np.asarray(chord / np.linalg.norm(chord))


def _inserted(problem: RodProblem, bow: BowWire, mesh: BowMesh, held: Array) -> Equilibrium:
    """Equilibrium in the tubes: a bow that fits is loaded at once, another is first put into its tubes."""
    start = mesh.model.free_state()
    if float(np.abs(held).max()) <= TOGETHER_MM:
        found = equilibrium(problem, start, held_step=held)
    else:
        found = equilibrium(problem, start, held_step=held, shares=(0.0, 0.0))
        found = equilibrium(problem, found.state)
    for _ in range(3):
        held = held_step(problem, bow, mesh, found.state)
        if float(np.abs(held).max()) < ALIGNED_RAD:
            break
        found = equilibrium(problem, found.state, held_step=held, shares=(1.0, 1.0))
    return found


def _worn(
    bow: BowWire,
    mesh: BowMesh,
    problem: RodProblem,
    found: Equilibrium,
    straps: Mapping[Side, StrapPull],
    supports: Mapping[Side, TubeSupport],
) -> WornBow:
    state = found.state
    reaction = reactions(problem, found)
    place = mesh.model.node_mm + state.move_mm
    hooks: dict[Side, Array] = {side: place[mesh.hook_node[side]] for side in SIDES}
    pull = {side: straps[side].force_at(hooks[side]) for side in SIDES}
    size = {side: float(np.linalg.norm(pull[side])) for side in SIDES}
    force, moment = {}, {}
    for side in SIDES:
        node = mesh.stop_node[side]
        force[side] = -reaction[node, :3]
        moment[side] = -reaction[node, 3:] + np.cross(place[node] - supports[side].about_mm, force[side])
    parts: dict[PartName, WirePart] = {
        "inner": WirePart(worn_points(mesh, state, "inner"), bow.inner.diameter_mm, "inner"),
        "outer": WirePart(worn_points(mesh, state, "outer"), bow.outer.diameter_mm, "outer"),
    }
    return WornBow(
        inner=parts["inner"],
        outer=parts["outer"],
        hook_mm=hooks,
        strap_force_n=size,
        strap_direction={
            s: pull[s] / size[s] if size[s] > 0.0 else _line(straps[s], hooks[s]) for s in SIDES
        },
        about_mm={side: supports[side].about_mm for side in SIDES},
        force_n=force,
        moment_n_mm=moment,
        stress_mpa={name: station_stress(mesh, state, mesh.stations[name]) for name in mesh.stations},
        converged=True,
        residual=found.residual_n,
    )


def _line(pull: StrapPull, hook_mm: Array) -> Array:
    """Direction (3,) of an unloaded pull: that of its first strap."""
    return pull.straps[0].direction_at(hook_mm)


def reactions(problem: RodProblem, found: Equilibrium) -> Array:
    """Forces and moments (n, 6) of the supports on the nodes, read with the last Newton step."""
    state = found.state
    carried = problem.model.element_state(state)
    forces = problem.element_forces(state, carried)
    step, _ = problem.spread(found.correction)
    steps = step[problem.model.ends].reshape(-1, 12)
    forces += np.einsum("eij,ej->ei", problem.element_tangents(state, carried), steps)
    return problem.nodal(forces)
