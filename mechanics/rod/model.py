"""The rod as nodes and elements before load, and its state under load."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from mechanics.rod import quaternion as quat
from mechanics.rod.element import ElementState, strain_state
from mesh_tools.arrays import Array, IntArray, frozen, frozen_ints
from mesh_tools.errors import BadValueError


@dataclass(frozen=True, eq=False)
class RodState:
    """Moves (n, 3) in mm and rotations (n, 4) of the nodes from the free rod, and ``molar`` (k, 6): move and
    small rotation of each molar that can move."""

    move_mm: Array
    turn: Array
    molar: Array

    def moved(self, step: Array, molar_step: Array) -> RodState:
        """The state after moves and spins ``step`` (n, 6) and ``molar_step`` (k, 6)."""
        turn = quat.normalised(quat.product(quat.from_vector(step[:, 3:]), self.turn))
        return RodState(self.move_mm + step[:, :3], turn, self.molar + molar_step)


@dataclass(frozen=True, eq=False)
class RodModel:
    """Nodes (n, 3) and straight elements (e, 2) of round wire, free of stress as given.

    ``diameter_mm`` (e,); ``offset_mm`` (e, 2, 3): from each end's node to the element's end, carried rigidly
    by the node. Curvature and twist of the free wire lie in the angles between the elements.
    """

    node_mm: Array
    ends: IntArray
    diameter_mm: Array
    offset_mm: Array
    e_mpa: float
    g_mpa: float

    @classmethod
    def chain(cls, node_mm: ArrayLike, diameter_mm: ArrayLike, *, e_mpa: float, g_mpa: float) -> RodModel:
        """One unbranched wire through ``node_mm`` (n, 3); ``diameter_mm`` is one number or (n - 1,)."""
        nodes = np.asarray(node_mm, dtype=np.float64)
        k = np.arange(len(nodes) - 1)
        diameter = np.broadcast_to(np.asarray(diameter_mm, dtype=np.float64), (len(k),))
        offset = np.zeros((len(k), 2, 3))
        return cls(nodes, np.stack([k, k + 1], axis=1), diameter, offset, e_mpa, g_mpa)

    def __post_init__(self) -> None:
        nodes = frozen(self.node_mm, (None, 3), name="rod nodes")
        ends = frozen_ints(self.ends, (None, 2), name="rod elements")
        diameter = frozen(self.diameter_mm, (len(ends),), name="rod diameters")
        offset = frozen(self.offset_mm, (len(ends), 2, 3), name="rod offsets")
        if not (self.e_mpa > 0.0 and self.g_mpa > 0.0 and bool((diameter > 0.0).all())):
            raise BadValueError(
                f"rod needs E, G and diameters above zero; got E {self.e_mpa}, G {self.g_mpa} MPa and a least "
                f"diameter of {diameter.min(initial=np.inf)} mm."
            )
        for name, value in (
            ("node_mm", nodes),
            ("ends", ends),
            ("diameter_mm", diameter),
            ("offset_mm", offset),
        ):
            object.__setattr__(self, name, value)
        if bool((self.length_mm < 1e-9).any()):
            raise BadValueError(
                f"rod element {int(np.argmin(self.length_mm))} has no length; remove one of its nodes."
            )

    @cached_property
    def chord_mm(self) -> Array:
        """From the first to the second end of every element (e, 3)."""
        i, j = self.ends.T
        return np.asarray(self.node_mm[j] - self.node_mm[i] + self.offset_mm[:, 1] - self.offset_mm[:, 0])

    @cached_property
    def length_mm(self) -> Array:
        """Element lengths (e,)."""
        return np.asarray(np.linalg.norm(self.chord_mm, axis=1))

    @cached_property
    def triad(self) -> Array:
        """Frame of every element in the free rod (e, 4), first axis along it."""
        return quat.aligning(self.chord_mm / self.length_mm[:, None])

    @cached_property
    def bend(self) -> Array:
        """Twisting and two bending stiffnesses (e, 3), N mm2: G pi d^4 / 32 and E pi d^4 / 64."""
        second = np.pi * self.diameter_mm**4 / 64.0
        return np.stack([2.0 * self.g_mpa * second, self.e_mpa * second, self.e_mpa * second], axis=1)

    @cached_property
    def stretch(self) -> Array:
        """Stretching stiffness and the two shear stiffnesses 12 EI / h^2 (e, 3), N."""
        axial = self.e_mpa * np.pi * self.diameter_mm**2 / 4.0
        shear = 12.0 * self.bend[:, 1] / self.length_mm**2
        return np.stack([axial, shear, shear], axis=1)

    @cached_property
    def offset_ends(self) -> IntArray:
        """Element and end (k, 2) of every end that stands off its node."""
        return np.argwhere(np.abs(self.offset_mm).max(axis=2) > 0.0)

    def free_state(self, *, molars: int = 0) -> RodState:
        """The rod as given."""
        n = len(self.node_mm)
        return RodState(np.zeros((n, 3)), np.tile(quat.IDENTITY, (n, 1)), np.zeros((molars, 6)))

    def turned_offsets(self, state: RodState) -> Array:
        """Offsets (k, 3) of ``offset_ends`` as the nodes carry them."""
        e, end = self.offset_ends.T
        return quat.turned(state.turn[self.ends[e, end]], self.offset_mm[e, end])

    def element_state(self, state: RodState) -> ElementState:
        """Strains and stress resultants of every element."""
        i, j = self.ends.T
        chord = self.chord_mm + (state.move_mm[j] - state.move_mm[i])
        if len(self.offset_ends):
            e, end = self.offset_ends.T
            change = self.turned_offsets(state) - self.offset_mm[e, end]
            np.add.at(chord, e, np.where(end == 1, 1.0, -1.0)[:, None] * change)
        q1, q2 = quat.product(state.turn[i], self.triad), quat.product(state.turn[j], self.triad)
        return strain_state(chord, q1, q2, length_mm=self.length_mm, stretch=self.stretch, bend=self.bend)
