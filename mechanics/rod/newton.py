"""Newton's method on places and rotations, in load steps that shorten where it fails."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import SuperLU, splu

from mechanics.rod.element import with_forces
from mechanics.rod.model import RodState
from mechanics.rod.problem import Carried, RodProblem
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError, NoAnswerError

ITERATIONS = 25
LEVER_MM = 10.0
PROVEN_N = 1e-5
NEAR_N, NEAR_MM = 1e-6, 1e-2  # the proof's own Newton step squares what is left
LARGEST_CONDITION = 1e15
HALVINGS = 6
POLISHINGS, POLISHED_MM = 4, 3e-9
LARGEST_TURN = 0.6
SMALLEST_SHARE = 1.0 / 256.0


class NoEquilibriumError(NoAnswerError):
    """Newton's method finds no equilibrium of the rod under the whole load."""


@dataclass(frozen=True, eq=False)
class Equilibrium:
    """A state in balance, how well, and what was needed.

    ``residual_n``: largest out-of-balance (moments over 10 mm). ``correction`` (size,): the last Newton step,
    too small to be added to the places; forces are read with it, as ``element_forces`` (e, 12) are, with
    moments along the problem's basis. ``iterations`` counts factorisations. ``stable``: every pivot of the
    tangent is positive, so the energy is at a minimum.
    """

    state: RodState
    residual_n: float
    correction: Array
    element_forces: Array
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
    these moves grow together, in one step if Newton's method converges (with a line search at the second
    try), else in halves.
    ``proven`` False leaves the proof of residual, conditioning and stability to a later call. Raises
    NoEquilibriumError when steps of 1/256 still fail.
    """
    held = np.zeros(problem.free.shape) if held_step is None else held_step
    state, path, step, count = start, 0.0, 1.0, 0
    while path < 1.0:
        target = min(1.0, path + step)
        share = shares[0] + target * (shares[1] - shares[0])
        ahead = (target - path) * held
        found = _balanced(problem, state, share=share, held_step=ahead, search=False)
        if not np.isfinite(found.residual_n):
            found = _balanced(problem, state, share=share, held_step=ahead, search=True)
        count += found.iterations
        if np.isfinite(found.residual_n):
            state, path, step = found.state, target, 1.5 * step
        else:
            step *= 0.5
        if step < SMALLEST_SHARE:
            raise NoEquilibriumError(
                f"no equilibrium of the wire beyond {100.0 * path:.0f} % of the way{_pulled(problem)}: it buckles "
                "or slips; lower the force or choose a thicker wire."
            )
    if not proven:
        return _unproven(problem, state, 0.0, count)
    return _proven(problem, state, share=shares[1], iterations=count)


def equilibrium_near(problem: RodProblem, start: RodState) -> Equilibrium | None:
    """Equilibrium under the whole load by Newton's method straight from ``start``; None where it does not converge."""
    nothing = np.zeros(problem.free.shape)
    found = _balanced(problem, start, share=1.0, held_step=nothing, search=False)
    if not np.isfinite(found.residual_n):
        return None
    try:
        return _proven(problem, found.state, share=1.0, iterations=found.iterations)
    except NoEquilibriumError:
        return None


def _balanced(
    problem: RodProblem, state: RodState, *, share: float, held_step: Array, search: bool
) -> Equilibrium:
    """Newton's method at one share of the load; an infinite residual says it failed.

    ``search``: with the exact tangent of the places and a line search, instead of predicted forces.
    """
    failed = _unproven(problem, state, np.inf, ITERATIONS)
    at = _Iterate.at_rest(problem, state, held_step)
    best, change = np.inf, np.inf
    for count in range(1, ITERATIONS + 1):
        try:
            residual = problem.residual(at.state, share=share, carried=at.carried)
            size = imbalance(problem, residual)
            best = min(best, size)
            if not np.isfinite(size) or (count > 12 and size > 1e3 * best):
                return failed
            if at.push is None and size < NEAR_N and change < NEAR_MM:
                return _unproven(problem, at.state, size, count - 1)
            solved = _newton_step(problem, at, residual, share=share)
            if solved is None:
                return failed
            _, step, molar = solved
            change = _size_mm(step)
            shrink = min(1.0, LARGEST_TURN / max(float(np.abs(step[:, 3:]).max()), 1e-300))
            if search and at.push is None:
                shrink = _line_search(problem, at, solved, residual, share=share, most=shrink)
            at = at.moved(problem, shrink * step, shrink * molar, shrink=shrink, predict=not search)
        except BadValueError:  # a hook came upon its strap point: too far
            return failed
    return failed


def _unproven(problem: RodProblem, state: RodState, residual_n: float, iterations: int) -> Equilibrium:
    nothing = np.zeros(problem.size), np.zeros((len(problem.model.ends), 12))
    return Equilibrium(state, residual_n, *nothing, iterations, np.nan, False)


@dataclass(frozen=True, eq=False)
class _Iterate:
    """A state on the way, what its elements carry, the forces its tangent is built on, and the held steps
    still to be made."""

    state: RodState
    carried: Carried
    forces: Carried
    push: Array | None

    @classmethod
    def at_rest(cls, problem: RodProblem, state: RodState, held_step: Array) -> _Iterate:
        carried = problem.carried(state)
        return cls(state, carried, carried, held_step if bool(held_step.any()) else None)

    def moved(
        self, problem: RodProblem, step: Array, molar: Array, *, shrink: float, predict: bool
    ) -> _Iterate:
        state = self.state.moved(problem.globally(step), molar)
        carried = forces = problem.carried(state)
        if predict:
            ahead = problem.predicted(self.carried, step)
            forces = replace(carried, state=with_forces(carried.state, ahead.force_n, ahead.moment_n_mm))
        rest = None if self.push is None or shrink == 1.0 else (1.0 - shrink) * self.push
        return _Iterate(state, carried, forces, rest)


def _newton_step(
    problem: RodProblem, at: _Iterate, residual: Array, *, share: float
) -> tuple[Array, Array, Array] | None:
    """Change of the unknowns, and the same as node steps (n, 6) along the basis and molar motions; None where
    the tangent is singular."""
    matrix, elements = problem.jacobian(at.state, share=share, carried=at.forces)
    if at.push is not None:
        residual = residual + problem.held_push(elements, at.push)
    factor = factorised(matrix)
    values = np.full(problem.size, np.nan) if factor is None else -factor.solve(residual)
    if not bool(np.isfinite(values).all()):
        return None
    step, molar = problem.spread(values)
    if at.push is not None:
        step = step + np.where(problem.free, 0.0, at.push)
    return values, step, molar


def _line_search(
    problem: RodProblem,
    at: _Iterate,
    solved: tuple[Array, Array, Array],
    residual: Array,
    *,
    share: float,
    most: float,
) -> float:
    """Part of a step after which the work along it has fallen to 0.8 of its start: halved from ``most``.

    Crisfield MA 1982 Comput Methods Appl Mech Eng 39:267-278, from memory.
    """
    values, step, molar = solved
    start, part = abs(float(residual @ values)), most
    for _ in range(HALVINGS):
        state = at.state.moved(problem.globally(part * step), part * molar)
        if abs(float(problem.residual(state, share=share) @ values)) <= 0.8 * start:
            break
        part *= 0.5
    return part


def _pulled(problem: RodProblem) -> str:
    """The pulls, for a message."""
    sizes = [sum(strap.force_n for strap in pull.straps) for _, pull in problem.pulls]
    return f" to {max(sizes):.1f} N at a hook" if sizes and max(sizes) > 0.0 else ""


def _size_mm(step: Array) -> float:
    return max(float(np.abs(step[:, :3]).max()), LEVER_MM * float(np.abs(step[:, 3:]).max()))


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


def _proven(problem: RodProblem, state: RodState, *, share: float, iterations: int) -> Equilibrium:
    """Residual, conditioning and stability of a state under its load, after a last polish with the exact
    tangent."""
    matrix, elements = problem.jacobian(state, share=share)
    factor = factorised(matrix)
    if factor is None:
        raise NoEquilibriumError("the wire's equilibrium cannot be proven: its tangent is singular.")
    state, residual, correction = _polished(problem, state, factor, share=share)
    size = imbalance(problem, residual)
    if not size < PROVEN_N:
        raise NoEquilibriumError(
            f"the wire's equilibrium cannot be proven: {size:.1e} N stay out of balance."
        )
    probe = np.random.default_rng(0).normal(size=problem.size)
    answer = np.linalg.norm(factor.solve(probe)) / np.linalg.norm(probe)
    condition = float(np.abs(matrix.data).max() * answer)
    if not condition < LARGEST_CONDITION:
        raise NoEquilibriumError(
            f"the wire's equilibrium cannot be proven: condition {condition:.0e}, limit {LARGEST_CONDITION:.0e}; "
            "part of it is held by nothing."
        )
    step, _ = problem.spread(correction)
    steps = step[problem.model.ends].reshape(-1, 12)
    forces = problem.element_forces(problem.carried(state)) + np.einsum("eij,ej->ei", elements, steps)
    stable = bool((factor.U.diagonal() > 0.0).all())
    return Equilibrium(state, size, correction, forces, iterations + 1, condition, stable)


def _polished(
    problem: RodProblem, state: RodState, factor: SuperLU, *, share: float
) -> tuple[RodState, Array, Array]:
    """The state after steps with one factor until they no longer shrink, its residual, and the step left over."""
    residual = problem.residual(state, share=share)
    correction = -factor.solve(residual)
    for _ in range(POLISHINGS):
        largest = float(np.abs(correction).max(initial=0.0))
        if not POLISHED_MM < largest < NEAR_MM:
            break
        step, molar = problem.spread(correction)
        ahead = state.moved(problem.globally(step), molar)
        residual_ahead = problem.residual(ahead, share=share)
        correction_ahead = -factor.solve(residual_ahead)
        if float(np.abs(correction_ahead).max()) >= largest:
            break
        state, residual, correction = ahead, residual_ahead, correction_ahead
    return state, residual, correction
