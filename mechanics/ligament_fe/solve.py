"""Solve the stack for the six unit motions at once, with a proven residual."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mechanics.ligament_fe.blas_threads import one_blas_thread
from mechanics.ligament_fe.dissection import face_tree
from mechanics.ligament_fe.fronts import eliminated
from mechanics.ligament_fe.stack import LayerStack, StackNumbers, WedgeGroup, wedge_groups
from mesh_tools.arrays import Array
from mesh_tools.errors import NoAnswerError

WORST_RESIDUAL = 1e-8


@dataclass(frozen=True, eq=False)
class Solved:
    """``stiffness`` (6, 6), ``unknowns`` (n, 6) for the unit motions, and the worst relative ``residual``."""

    stiffness: Array
    unknowns: Array
    residual: float


def solved(stack: LayerStack, numbers: StackNumbers) -> Solved:
    """Solution of the stack; raises NoAnswerError when more than 1e-8 of any load is left over."""
    tree = face_tree(stack.sides_mm[0][stack.nodes.triangles[:, :3]].mean(axis=1))
    with one_blas_thread():
        groups = list(wedge_groups(stack, numbers))
        answer = eliminated(stack, numbers, groups, tree)
    left_over, load = _left_over(groups, answer.unknowns)
    return Solved(answer.stiffness, answer.unknowns, proven_residual(left_over, load))


def _left_over(groups: Sequence[WedgeGroup], unknowns: Array) -> tuple[Array, Array]:
    """Equations' left-over (n, 6) and load (n, 6), added up from the wedges without use of the elimination."""
    count = len(unknowns)
    known = np.concatenate([unknowns, np.zeros((1, 6))])
    left_over, load = np.zeros((count + 1, 6)), np.zeros((count + 1, 6))
    for group in groups:
        at = np.where(group.numbers < 0, count, group.numbers)
        forces = np.matmul(group.blocks.matrix, known[at]) + group.blocks.load
        for k in range(6):
            left_over[:, k] += np.bincount(at.ravel(), forces[..., k].ravel(), minlength=count + 1)
            load[:, k] += np.bincount(at.ravel(), group.blocks.load[..., k].ravel(), minlength=count + 1)
    return left_over[:count], load[:count]


def proven_residual(left_over: Array, load: Array) -> float:
    """Largest residual of the six columns relative to its load; raises NoAnswerError above 1e-8."""
    residual = float((np.linalg.norm(left_over, axis=0) / np.linalg.norm(load, axis=0)).max())
    if not residual < WORST_RESIDUAL:
        raise NoAnswerError(
            f"the finite-element solve must leave less than {WORST_RESIDUAL:g} of the load; it left {residual:.1e}; "
            "check the surface for slivers, or lower nu."
        )
    return residual
