"""A rod with its loads and supports as one system of equations: residual and exact tangent."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from scipy.sparse import csc_matrix

from mechanics.rod.element import ElementState, end_forces, predicted, skews, tangent
from mechanics.rod.model import RodModel, RodState
from mechanics.rod.pattern import Pattern
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array, BoolArray, IntArray


class Contact(Protocol):
    """What touches the rod: blocks of the residual and the tangent over unknowns of its own choosing."""

    @property
    def moving_molars(self) -> int:
        """How many molars have six unknowns of their own."""

    def unknowns(self, numbers: IntArray, *, first_molar: int) -> list[IntArray]:
        """Groups (m, k) of unknowns, from the nodes' ``numbers`` (n, 6) and that of the first molar's."""

    def forces(self, state: RodState) -> list[Array]:
        """What each group takes (m, k)."""

    def tangents(self, state: RodState) -> list[Array]:
        """Derivatives (m, k, k) of ``forces``."""


@dataclass(frozen=True, eq=False)
class Carried:
    """What a state puts into the elements: their ``state``, and for elements whose ends stand off a node or
    have turned spin axes the ``maps`` (k, 12, 12) from node steps to end steps and turned ``offset_mm``
    (k, 2, 3)."""

    state: ElementState
    maps: Array
    offset_mm: Array


@dataclass(frozen=True, eq=False)
class RodProblem:
    """A rod, which of its unknowns are free, and what loads it.

    ``free`` (n, 6): moves and spins that may change; spins are counted along the columns of ``basis``
    (n, 3, 3), fixed in space. ``dead`` (n, 6): forces (N) and moments (N mm) that keep size and direction.
    ``pulls``: straps at nodes. ``contact``: the tubes, when the wire touches them with play.
    """

    model: RodModel
    free: BoolArray
    basis: Array
    dead: Array
    pulls: tuple[tuple[int, StrapPull], ...] = ()
    contact: Contact | None = None

    @classmethod
    def clamped(
        cls,
        model: RodModel,
        nodes: Sequence[int],
        *,
        dead: Array | None = None,
        pulls: tuple[tuple[int, StrapPull], ...] = (),
    ) -> RodProblem:
        """A rod whose ``nodes`` neither move nor turn."""
        n = len(model.node_mm)
        free = np.ones((n, 6), dtype=bool)
        free[list(nodes)] = False
        load = np.zeros((n, 6)) if dead is None else dead
        return cls(model, free, np.tile(np.eye(3), (n, 1, 1)), load, pulls)

    @cached_property
    def numbers(self) -> IntArray:
        """Number (n, 6) of each free unknown, -1 for a held one; unknowns of the molars come after them."""
        out = np.full(self.free.shape, -1, dtype=np.int64)
        out[self.free] = np.arange(int(self.free.sum()))
        return out

    @cached_property
    def size(self) -> int:
        """How many unknowns."""
        return int(self.free.sum()) + 6 * (0 if self.contact is None else self.contact.moving_molars)

    @cached_property
    def element_unknowns(self) -> IntArray:
        """Unknowns (e, 12) of every element."""
        return self.numbers[self.model.ends].reshape(-1, 12)

    @cached_property
    def pattern(self) -> Pattern:
        """Sparse places of elements, hooks and tube contacts."""
        hooks = self.numbers[[node for node, _ in self.pulls], :3].reshape(-1, 3)
        groups = [self.element_unknowns, hooks]
        if self.contact is not None:
            groups += self.contact.unknowns(self.numbers, first_molar=int(self.free.sum()))
        return Pattern.of(tuple(groups), size=self.size)

    @cached_property
    def mapped(self) -> IntArray:
        """Elements (k,) whose ends stand off a node or have turned spin axes."""
        turned = np.abs(self.basis - np.eye(3)).max(axis=(1, 2)) > 0.0
        off = np.abs(self.model.offset_mm).max(axis=(1, 2)) > 0.0
        return np.flatnonzero(off | turned[self.model.ends].any(axis=1))

    def spread(self, values: Array) -> tuple[Array, Array]:
        """Free unknowns (size,) as node steps (n, 6), spins along ``basis``, and molar motions (m, 6)."""
        step = np.zeros(self.free.shape)
        count = int(self.free.sum())
        step[self.free] = values[:count]
        return step, values[count:].reshape(-1, 6)

    def globally(self, step: Array) -> Array:
        """Steps (n, 6) with spins along ``basis`` as steps in the global frame."""
        out = step.copy()
        out[:, 3:] = np.einsum("nij,nj->ni", self.basis, step[:, 3:])
        return out

    def carried(self, state: RodState) -> Carried:
        """What ``state`` puts into the elements."""
        ends = self.model.ends[self.mapped]
        offset = np.zeros((len(ends), 2, 3))
        if len(self.model.offset_ends):
            e, end = self.model.offset_ends.T
            offset[np.searchsorted(self.mapped, e), end] = self.model.turned_offsets(state)
        basis, arm = self.basis[ends], -skews(offset)
        maps = np.zeros((len(ends), 2, 2, 3, 2, 2, 3))
        for end in range(2):
            maps[:, end, 0, :, end, 0] = np.eye(3)
            maps[:, end, 1, :, end, 1] = basis[:, end]
            maps[:, end, 0, :, end, 1] = arm[:, end] @ basis[:, end]
        return Carried(self.model.element_state(state), maps.reshape(-1, 12, 12), offset)

    def element_forces(self, carried: Carried) -> Array:
        """Forces (e, 12) of the nodes on the elements, moments along ``basis``."""
        forces = end_forces(carried.state)
        if len(self.mapped):
            forces[self.mapped] = np.einsum("kij,ki->kj", carried.maps, forces[self.mapped])
        return forces

    def element_tangents(self, carried: Carried) -> Array:
        """Derivatives (e, 12, 12) of ``element_forces``."""
        out = tangent(carried.state)
        if len(self.mapped):
            ends = self.model.ends[self.mapped]
            bare = end_forces(carried.state)[self.mapped]
            mapped = carried.maps.transpose(0, 2, 1) @ out[self.mapped] @ carried.maps
            for end in range(2):
                spin, basis = slice(6 * end + 3, 6 * end + 6), self.basis[ends[:, end]]
                turning = skews(bare[:, 6 * end : 6 * end + 3]) @ skews(carried.offset_mm[:, end])
                mapped[:, spin, spin] += basis.transpose(0, 2, 1) @ turning @ basis
            out[self.mapped] = mapped
        return out

    def residual(self, state: RodState, *, share: float, carried: Carried | None = None) -> Array:
        """Out-of-balance (size,) of the free unknowns: what the rod and tubes take minus ``share`` of the
        loads. ``carried``: of this state, when already known."""
        carried = self.carried(state) if carried is None else carried
        blocks = [self.element_forces(carried), -share * self._pull_forces(state)]
        if self.contact is not None:
            blocks += self.contact.forces(state)
        return self.pattern.vector(blocks) - share * self._dead_load

    def jacobian(
        self, state: RodState, *, share: float, carried: Carried | None = None
    ) -> tuple[csc_matrix, Array]:
        """Derivative (size, size) of ``residual``, and the elements' own derivatives (e, 12, 12).

        ``carried`` may hold predicted forces; those of ``state`` give the exact derivative.
        """
        elements = self.element_tangents(self.carried(state) if carried is None else carried)
        pulls = [pull.tangent_at(hook, other) for pull, hook, other in self._pulled(state)]
        blocks = [elements, -share * np.array(pulls).reshape(-1, 3, 3)]
        if self.contact is not None:
            blocks += self.contact.tangents(state)
        return self.pattern.matrix(blocks), elements

    def predicted(self, carried: Carried, step: Array) -> ElementState:
        """Forces after node steps (n, 6), spins along ``basis``, to first order."""
        steps = step[self.model.ends].reshape(-1, 12)
        if len(self.mapped):
            steps[self.mapped] = np.einsum("kij,kj->ki", carried.maps, steps[self.mapped])
        return predicted(carried.state, steps)

    @cached_property
    def _dead_load(self) -> Array:
        dead, out = self.dead.copy(), np.zeros(self.size)
        dead[:, 3:] = np.einsum("nji,nj->ni", self.basis, self.dead[:, 3:])
        out[: int(self.free.sum())] = dead[self.free]
        return out

    def hook_mm(self, state: RodState, node: int) -> Array:
        """Place (3,) of a node under load."""
        return np.asarray(self.model.node_mm[node] + state.move_mm[node])

    def held_push(self, elements: Array, held_step: Array) -> Array:
        """Change (size,) of the residual by steps (n, 6) of the held unknowns, along ``basis``."""
        step = np.where(self.free, 0.0, held_step)[self.model.ends].reshape(-1, 12)
        push = np.einsum("eij,ej->ei", elements, step)
        return self.pattern.vector([push] + [np.zeros(g.shape) for g in self.pattern.groups[1:]])

    def nodal(self, element_forces: Array) -> Array:
        """Sum (n, 6) at every node of element forces (e, 12) with moments along ``basis``; global."""
        total = np.zeros(self.free.shape)
        np.add.at(total, self.model.ends.ravel(), element_forces.reshape(-1, 6))
        return self.globally(total)

    def _pull_forces(self, state: RodState) -> Array:
        forces = [pull.force_at(hook, other) for pull, hook, other in self._pulled(state)]
        return np.array(forces).reshape(-1, 3)

    def _pulled(self, state: RodState) -> list[tuple[StrapPull, Array, Array | None]]:
        """Every pull with its own hook and, of two pulls, the other's: a band round the neck asks for both.

        The derivative by the other hook is left out of the tangent: it is some hundredths of the wire's stiffness.
        """
        hooks = [self.hook_mm(state, node) for node, _ in self.pulls]
        others: list[Array | None] = [None] if len(hooks) == 1 else list(reversed(hooks))
        return [(pull, hook, other) for (_, pull), hook, other in zip(self.pulls, hooks, others, strict=True)]
