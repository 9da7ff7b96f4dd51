"""Ideal tubes: the wire is held in place and direction at the mesial end of each tube, free to turn about its
axis; no play, no friction, no give of the teeth."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mechanics.bow.wire import BowWire
from mechanics.rod import quaternion as quat
from mechanics.rod.mesh import BowMesh
from mechanics.rod.model import RodState
from mechanics.rod.newton import Equilibrium, equilibrium
from mechanics.rod.problem import RodProblem
from mechanics.sides import SIDES, Side
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError

TOGETHER_MM = 0.05
ALIGNED = 1e-6  # mm and rad
FARTHEST_MM = 30.0
STEEPEST_DEG = 60.0


def ideal_problem(bow: BowWire, mesh: BowMesh, straps: Mapping[Side, StrapPull]) -> RodProblem:
    """The bow with both tubes ideal; spins at the tubes are counted about the tube's axis first."""
    n = len(mesh.model.node_mm)
    free, basis = np.ones((n, 6), dtype=bool), np.tile(np.eye(3), (n, 1, 1))
    for side in SIDES:
        node = mesh.stop_node[side]
        free[node] = [False, False, False, True, False, False]
        basis[node] = quat.to_matrix(quat.aligning(bow.tubes[side].axis[None]))[0]
    pulls = tuple((mesh.hook_node[side], straps[side]) for side in SIDES)
    return RodProblem(mesh.model, free, basis, np.zeros((n, 6)), pulls)


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
    """Unit direction (3,) of the free inner bow's terminal, from the stop to where its tube ends."""
    stop, part, away = bow.stop_mm[side], bow.inner, -1.0 if side == "right" else 1.0
    end = float(np.clip(stop + away * bow.tubes[side].length_mm, 0.0, part.length_mm))
    if abs(end - stop) < 0.2:
        return away * part.tangent_at(stop)
    chord = part.at(end) - part.at(stop)
    return np.asarray(chord / np.linalg.norm(chord))


def fits(problem: RodProblem, bow: BowWire, mesh: BowMesh) -> bool:
    """Whether the free wire already lies in both tubes, to 0.05 mm and rad.

    Raises BadValueError for a terminal more than 30 mm or 60 degrees off its tube.
    """
    held = held_step(problem, bow, mesh, mesh.model.free_state())
    _check_reach(held, mesh)
    return float(np.abs(held).max()) <= TOGETHER_MM


def free_gap_mm(bow: BowWire) -> float:
    """How far the farther stop of the free bow lies off the mesial end of its tube."""
    gaps = [bow.inner.at(bow.stop_mm[s]) - bow.tubes[s].mesial_mm for s in SIDES]
    return float(np.linalg.norm(gaps, axis=1).max())


def inserted(problem: RodProblem, bow: BowWire, mesh: BowMesh) -> Equilibrium:
    """Equilibrium in ideal tubes under the straps.

    A bow that fits is loaded at once; another is first brought from where it lies into its tubes. Raises
    NoEquilibriumError.
    """
    start = mesh.model.free_state()
    held = held_step(problem, bow, mesh, start)
    if fits(problem, bow, mesh):
        found = equilibrium(problem, start, held_step=held)
    else:
        found = equilibrium(problem, start, held_step=held, shares=(0.0, 0.0), proven=False)
        found = equilibrium(problem, found.state)
    for _ in range(4):
        held = held_step(problem, bow, mesh, found.state)
        if float(np.abs(held).max()) < ALIGNED:
            break
        found = equilibrium(problem, found.state, held_step=held, shares=(1.0, 1.0))
    return found


def _check_reach(held: Array, mesh: BowMesh) -> None:
    for side in SIDES:
        step = held[mesh.stop_node[side]]
        gap, angle = float(np.linalg.norm(step[:3])), float(np.degrees(np.linalg.norm(step[3:])))
        if gap > FARTHEST_MM or angle > STEEPEST_DEG:
            raise BadValueError(
                f"{side} terminal lies {gap:.1f} mm and {angle:.0f} degrees off its tube; the bow can span at "
                f"most {FARTHEST_MM:.0f} mm and {STEEPEST_DEG:.0f} degrees: check the tubes or fit another bow."
            )
