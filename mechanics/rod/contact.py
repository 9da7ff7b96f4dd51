"""Round wire in two tubes: contact at both ends of each tube, one-way stops, and molars on their ligament.

At each end of a tube the wire's centre may leave the tube's axis by half the play; beyond it the rim presses
back, without friction, straight toward the axis. It does so at the node of the wire that lies in the end's
plane: sliding along the tube stays far below a millimetre as long as the stop bears. Nothing resists a turn
about the axis. The molar's small motion (move u, turn theta about its own point) carries the tube: what counts
is the wire's place seen from the molar, x - u - theta x (x - about).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from mechanics.rod import quaternion as quat
from mechanics.rod.element import crossed, skews
from mechanics.rod.model import RodModel, RodState
from mesh_tools.arrays import Array, BoolArray, IntArray

RIM_N_PER_MM = 2e5  # stiffness of a rim: 0.1 um at 20 N, far below any play
CENTRING_N_PER_MM = 1e-3  # keeps an unloaded wire from rattling; at most 1e-4 N within the play
SHARPNESS = 0.005  # width over which a rim begins to press, as a part of half the play


@dataclass(frozen=True, eq=False)
class TubeContact:
    """Contacts (k,) of nodes with tube ends.

    ``end_mm`` and ``axis`` (k, 3): tube end and unit axis (distally) before the molar moves. When
    ``pinned``, a spring holds the node in the axis; else the rim of radius ``slack_mm`` (k,) holds it.
    ``stops`` (k,): a stop bears here (two-way; whether it may is settled outside); ``slide_mm`` (k,): how far
    this node lies behind the stop on the wire, because the stop has lifted. ``molar`` (k,): index of the molar
    among those that move, -1 for one that does not; ``about_mm`` (k, 3) its point; ``stiffness`` (m, 6, 6).
    """

    model: RodModel
    node: IntArray
    end_mm: Array
    axis: Array
    slack_mm: Array
    stops: BoolArray
    slide_mm: Array
    molar: IntArray
    about_mm: Array
    stiffness: Array
    pinned: bool = True

    @property
    def moving_molars(self) -> int:
        """How many molars have six unknowns of their own."""
        return len(self.stiffness)

    def with_rims(self) -> TubeContact:
        """Nodes held by the rims."""
        return replace(self, pinned=False)

    def with_stops(self, stops: BoolArray) -> TubeContact:
        """Only these ``stops`` bear."""
        return replace(self, stops=stops)

    def unknowns(self, numbers: IntArray, *, first_molar: int) -> list[IntArray]:
        """Groups: node and molar of each contact (k, 9), and each molar (m, 6)."""
        own = first_molar + np.arange(6 * self.moving_molars).reshape(-1, 6)
        with_fixed = np.concatenate([own, np.full((1, 6), -1)])
        return [np.concatenate([numbers[self.node, :3], with_fixed[self.molar]], axis=1), own]

    def forces(self, state: RodState) -> list[Array]:
        """What contacts (k, 9) and ligaments (m, 6) take."""
        press, _ = self._press(state)
        by_node = np.einsum("kji,kj->ki", self.view(state), press)
        return [by_node, np.einsum("mij,mj->mi", self.stiffness, state.molar)]

    def tangents(self, state: RodState) -> list[Array]:
        """Derivatives of ``forces``."""
        press, stiff = self._press(state)
        view = self.view(state)
        out = view.transpose(0, 2, 1) @ stiff @ view
        cross = skews(press)
        out[:, 0:3, 6:9] -= cross
        out[:, 6:9, 0:3] += cross
        return [out, self.stiffness]

    def seen_mm(self, state: RodState) -> Array:
        """Place (k, 3) of every node relative to its tube end, seen from the molar."""
        place = self.model.node_mm[self.node] + state.move_mm[self.node]
        motion = self._motion(state)
        carried = motion[:, :3] + crossed(motion[:, 3:], place - self.about_mm)
        return np.asarray(place - carried - self.end_mm)

    def split(self, seen_mm: Array) -> tuple[Array, Array]:
        """Distance (k,) along the axis and offset (k, 3) from it."""
        along = np.einsum("ki,ki->k", seen_mm, self.axis)
        return along, seen_mm - along[:, None] * self.axis

    @cached_property
    def plane_axes(self) -> Array:
        """Two unit vectors (k, 3, 2) across each tube."""
        return np.asarray(quat.to_matrix(quat.aligning(self.axis))[:, :, 1:])

    def resting(self, press_n: Array) -> Array:
        """Offsets (k, 3) from the axes at which the rims carry ``press_n`` (k, 3)."""
        size = np.maximum(np.sqrt(np.einsum("ki,ki->k", press_n, press_n)), 1e-12)
        width = SHARPNESS * self.slack_mm
        share = np.maximum(size / (RIM_N_PER_MM * width), 1e-6)
        radius = np.maximum(self.slack_mm + width * (share + np.log(-np.expm1(-share))), 0.0)
        return np.asarray((radius / size)[:, None] * press_n)

    def rim_press(self, off: Array) -> tuple[Array, Array]:
        """Force (k, 3) and derivative (k, 3, 3) of rims that press where the offset ``off`` (k, 3) from the
        axis exceeds the slack; they begin smoothly."""
        radius = np.maximum(np.sqrt(np.einsum("ki,ki->k", off, off)), 1e-12)
        width = SHARPNESS * self.slack_mm
        beyond = (radius - self.slack_mm) / width
        size = RIM_N_PER_MM * width * np.logaddexp(0.0, beyond)
        rate = RIM_N_PER_MM / (1.0 + np.exp(-np.clip(beyond, -700.0, 700.0)))
        way = off / radius[:, None]
        radial = way[:, :, None] * way[:, None, :]
        round_ = (size / radius)[:, None, None] * (self._across - radial)
        press = CENTRING_N_PER_MM * off + size[:, None] * way
        return press, CENTRING_N_PER_MM * self._across + rate[:, None, None] * radial + round_

    def view(self, state: RodState) -> Array:
        """Derivative (k, 3, 9) of ``seen_mm`` by node place, molar move and molar turn."""
        motion = self._motion(state)
        place = self.model.node_mm[self.node] + state.move_mm[self.node]
        eye = np.broadcast_to(np.eye(3), (len(self.node), 3, 3))
        return np.concatenate([eye - skews(motion[:, 3:]), -eye, skews(place - self.about_mm)], axis=2)

    @cached_property
    def _across(self) -> Array:
        return np.eye(3) - self.axis[:, :, None] * self.axis[:, None, :]

    def _motion(self, state: RodState) -> Array:
        return np.concatenate([state.molar, np.zeros((1, 6))])[self.molar]

    def press(self, state: RodState) -> Array:
        """Force (k, 3) of the wire on each tube end, seen from the molar."""
        return self._press(state)[0]

    def _press(self, state: RodState) -> tuple[Array, Array]:
        seen = self.seen_mm(state)
        along, off = self.split(seen)
        if self.pinned:
            press, stiff = RIM_N_PER_MM * off, RIM_N_PER_MM * self._across
        else:
            press, stiff = self.rim_press(off)
        bearing = np.where(self.stops, RIM_N_PER_MM, 0.0)
        press = press + (bearing * along)[:, None] * self.axis
        return press, stiff + bearing[:, None, None] * (self.axis[:, :, None] * self.axis[:, None, :])
