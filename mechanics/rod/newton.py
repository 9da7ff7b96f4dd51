"""Newton's method on places and rotations, in load steps that shorten where it fails."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import SuperLU, splu

from mechanics.rod.model import RodState
from mechanics.rod.problem import RodProblem
from mesh_tools.arrays import Array
from mesh_tools.errors import NoAnswerError

ITERATIONS = 25
LEVER_MM = 10.0
BALANCE_N = 1e-7
STALL_MM = 1e-9
LARGEST_TURN = 0.6
SMALLEST_SHARE = 1.0 / 256.0


class NoEquilibriumError(NoAnswerError):
    """Newton's method finds no equilibrium of the rod under the whole load."""


@dataclass(frozen=True, eq=False)
class Equilibrium:
    """A state in balance, how well, and what was needed.

    ``residual_n``: largest out-of-balance (moments over 10 mm). ``correction`` (size,): the last Newton step,
    too small to be added to the places; forces are read with it. ``iterations`` counts factorisations.
    ``stable``: every pivot of the tangent is positive, so the energy is at a minimum.
    """

    state: RodState
    residual_n: float
    correction: Array
    iterations: int
    condition: float
    stable: bool


def equilibrium(
    problem: RodProblem,
    start: RodState,
    *,
    held_step: Array | None = None,
    shares: tuple[float, float] = (0.0, 1.0),
    proven: bool = True,
) -> Equilibrium:
    """Equilibrium under the last of two ``shares`` of the load, from ``start`` in balance under the first.

    ``held_step`` (n, 6), spins along the basis: how far held unknowns are moved on the way. The load and
    these moves grow together, in one step if Newton's method converges, else in halves.
    ``proven`` False leaves the proof of residual, conditioning and stability to a later call. Raises
    NoEquilibriumError when steps of 1/256 still fail.
    """
    held = np.zeros(problem.free.shape) if held_step is None else held_step
    state, path, step, count = start, 0.0, 1.0, 0
    while path < 1.0:
        target = min(1.0, path + step)
        share = shares[0] + target * (shares[1] - shares[0])
        found = _balanced(problem, state, share=share, held_step=(target - path) * held)
        count += found.iterations
        if np.isfinite(found.residual_n):
            state, path, step = found.state, target, 1.5 * step
        else:
            step *= 0.5
        if step < SMALLEST_SHARE:
            raise NoEquilibriumError(
                f"no equilibrium of the wire beyond {100.0 * path:.0f} % of the load: it buckles or slips; lower "
                "the force or choose a thicker wire."
            )
    if not proven:
        return Equilibrium(state, np.inf, np.zeros(problem.size), count, np.nan, False)
    return _proven(problem, state, share=shares[1], iterations=count)


def _balanced(problem: RodProblem, state: RodState, *, share: float, held_step: Array) -> Equilibrium:
    """Newton's method at one share of the load; an infinite residual says it failed."""
    push = held_step if bool(held_step.any()) else None
    carried = problem.model.element_state(state)
    forces, best = carried, np.inf
    for count in range(1, ITERATIONS + 1):
        residual = problem.residual(state, share=share, carried=carried)
        size = imbalance(problem, residual)
        best = min(best, size)
        if not np.isfinite(size) or (count > 12 and size > 1e3 * best):
            break
        matrix, elements = problem.jacobian(state, share=share, carried=forces)
        if push is not None:
            residual = residual + problem.held_push(elements, push)
        values = _solved(matrix, residual)
        if values is None:
            break
        step, molar = problem.spread(values)
        if push is not None:
            step = step + np.where(problem.free, 0.0, push)
        largest = float(np.abs(step[:, 3:]).max())
        shrink = min(1.0, LARGEST_TURN / max(largest, 1e-300))
        ahead = problem.predicted(state, carried, shrink * step)
        state = state.moved(problem.globally(shrink * step), shrink * molar)
        carried = problem.model.element_state(state)
        forces = replace(carried, force_n=ahead.force_n, moment_n_mm=ahead.moment_n_mm)
        push = None if push is None or shrink == 1.0 else (1.0 - shrink) * push
        change = max(float(np.abs(step[:, :3]).max()), LEVER_MM * largest)
        if push is None and size < BALANCE_N * 1e3 and change < STALL_MM * 1e3:
            return Equilibrium(state, size, values, count, np.nan, False)
    return Equilibrium(state, np.inf, np.zeros(problem.size), ITERATIONS, np.nan, False)


def imbalance(problem: RodProblem, residual: Array) -> float:
    """Largest out-of-balance in N, moments counted over a lever of 10 mm."""
    weight = np.ones(problem.free.shape)
    weight[:, 3:] = 1.0 / LEVER_MM
    scale = np.concatenate([weight[problem.free], np.ones(problem.size - int(problem.free.sum()))])
    return float(np.abs(residual * scale).max(initial=0.0))


def factorised(matrix: csc_matrix) -> SuperLU | None:
    """LU in the given order of unknowns (leaves first, so without fill), pivots on the diagonal; None if
    singular."""
    try:
        return splu(matrix, permc_spec="NATURAL", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    except RuntimeError:
        return None


def _solved(matrix: csc_matrix, residual: Array) -> Array | None:
    factor = factorised(matrix)
    if factor is None:
        return None
    step = -factor.solve(residual)
    return step if bool(np.isfinite(step).all()) else None


def _proven(problem: RodProblem, state: RodState, *, share: float, iterations: int) -> Equilibrium:
    """Residual, conditioning and stability of a state under the whole load."""
    residual = problem.residual(state, share=share)
    matrix, _ = problem.jacobian(state, share=share)
    factor = factorised(matrix)
    size = imbalance(problem, residual)
    if factor is None or not size < 1e2 * BALANCE_N:
        raise NoEquilibriumError(
            f"the wire's equilibrium cannot be proven: {size:.1e} N stay out of balance."
        )
    probe = np.random.default_rng(0).normal(size=problem.size)
    answer = factor.solve(np.column_stack([residual, probe]))
    condition = float(np.abs(matrix.data).max() * np.linalg.norm(answer[:, 1]) / np.linalg.norm(probe))
    stable = bool((factor.U.diagonal() > 0.0).all())
    return Equilibrium(state, size, -answer[:, 0], iterations + 1, condition, stable)
