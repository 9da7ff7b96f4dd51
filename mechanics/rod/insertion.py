"""Putting a bow into its tubes before any strap: the force of the hand, and what the molars feel then."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from mechanics.bow.wire import BowWire, TubeSupport, WornBow
from mechanics.rod.ideal import held_step, ideal_problem
from mechanics.rod.mesh import SPACING_MM, BowMesh, bow_mesh
from mechanics.rod.newton import equilibrium
from mechanics.rod.problem import RodProblem
from mechanics.rod.wear import Yielding, elastic_wear
from mechanics.sides import SIDES, Side
from mechanics.strap.pull import Strap, StrapPull
from mesh_tools.arrays import Array

UNPULLED = StrapPull((Strap(0.0, direction=np.array([0.0, 1.0, 0.0])),))


@dataclass(frozen=True, eq=False)
class Insertion:
    """A bow put into its tubes, no strap on it.

    ``hand_n`` (3,) of a side: force on its terminal that brings the stop to the tube's mesial end while
    the other side is already seated. ``worn``: the bow in both tubes and the wrench on each molar.
    """

    hand_n: Mapping[Side, Array]
    worn: WornBow

    def hand_size_n(self, side: Side) -> float:
        """Size of that force in N."""
        return float(np.linalg.norm(self.hand_n[side]))


def insertion(
    bow: BowWire,
    supports: Mapping[Side, TubeSupport],
    *,
    ideal_tubes: bool = False,
    yielding: Yielding = "refuse",
    spacing_mm: float = SPACING_MM,
) -> Insertion:
    """The bow as inserted. Raises as ``elastic_wear`` does."""
    straps = dict.fromkeys(SIDES, UNPULLED)
    worn = elastic_wear(
        bow, straps, supports, ideal_tubes=ideal_tubes, yielding=yielding, spacing_mm=spacing_mm
    )
    mesh = bow_mesh(bow, spacing_mm=spacing_mm)
    problem = ideal_problem(bow, mesh, straps)
    return Insertion({s: _hand(problem, bow, mesh, s) for s in SIDES}, worn)


def _hand(problem: RodProblem, bow: BowWire, mesh: BowMesh, side: Side) -> Array:
    """Force (3,) that holds the terminal of ``side`` at its tube, free to point anywhere."""
    node = mesh.stop_node[side]
    free = problem.free.copy()
    free[node, 3:] = True
    loose = replace(problem, free=free)
    state = mesh.model.free_state()
    found = equilibrium(loose, state, held_step=held_step(loose, bow, mesh, state), shares=(0.0, 0.0))
    for _ in range(3):
        again = held_step(loose, bow, mesh, found.state)
        if float(np.abs(again).max()) < 1e-9:
            break
        found = equilibrium(loose, found.state, held_step=again, shares=(0.0, 0.0))
    return loose.nodal(found.element_forces)[node, :3]
