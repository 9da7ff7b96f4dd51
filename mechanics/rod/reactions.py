"""What holds the rod: forces of the supports, in balance with the loads to rounding."""

from __future__ import annotations

import numpy as np

from mechanics.rod.newton import Equilibrium
from mechanics.rod.problem import RodProblem
from mesh_tools.arrays import Array


def reactions(problem: RodProblem, found: Equilibrium) -> Array:
    """Forces and moments (n, 6) of the supports on the nodes, read with the last Newton step."""
    state = found.state
    carried = problem.model.element_state(state)
    forces = problem.element_forces(state, carried)
    step, _ = problem.spread(found.correction)
    steps = step[problem.model.ends].reshape(-1, 12)
    forces += np.einsum("eij,ej->ei", problem.element_tangents(state, carried), steps)
    return problem.nodal(forces)
