"""A face-bow as a rod: nodes along both wires, the joint as one bar, and where every station of the wires
went."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from mechanics.bow.wire import BowWire, PartName, WirePart
from mechanics.rod import quaternion as quat
from mechanics.rod.model import RodModel, RodState
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array, IntArray

SPACING_MM = 2.0
UNSLID: Mapping[Side, float] = {"right": 0.0, "left": 0.0}


@dataclass(frozen=True, eq=False)
class StationMap:
    """Where the stations (k,) of one wire sit: element, fraction along it, and offset (k, 3) from its
    chord."""

    element: IntArray
    fraction: Array
    offset_mm: Array
    diameter_mm: Array


@dataclass(frozen=True, eq=False)
class BowMesh:
    """A rod made from a face-bow; nodes by name, and station maps of both wires.

    ``stop_node``, ``terminal_node``: inner wire at the mesial end of the tube (at the stop, unless that has
    lifted) and at its distal end.
    """

    model: RodModel
    hook_node: dict[Side, int]
    stop_node: dict[Side, int]
    terminal_node: dict[Side, int]
    stations: dict[PartName, StationMap]


def bow_mesh(
    bow: BowWire, *, spacing_mm: float = SPACING_MM, slide_mm: Mapping[Side, float] = UNSLID
) -> BowMesh:
    """The rod of a face-bow with elements of about ``spacing_mm``; ``slide_mm``: how far each terminal has
    slid forward in its tube.

    Nodes lie on the wires' own stations where those are close enough. Over the joint the outer wire's line
    carries the joint's diameter; the inner wire is fixed to both ends of that bar with its own offset.
    Nodes are numbered from the ends inward, so that elimination in this order makes no fill.
    """
    joint, inner, outer = bow.joint, bow.inner, bow.outer
    outer_s = _places(outer, [joint.outer_from_mm, joint.outer_to_mm], spacing_mm)
    rims = {side: _rim_places(bow, side, slide_mm[side]) for side in SIDES}
    marks = [joint.inner_from_mm, joint.inner_to_mm, *rims["right"], *rims["left"]]
    inner_s = _places(inner, marks, spacing_mm)
    a, b = _at(outer_s, joint.outer_from_mm), _at(outer_s, joint.outer_to_mm)
    c, d = _at(inner_s, joint.inner_from_mm), _at(inner_s, joint.inner_to_mm)
    pieces = [
        (outer, outer_s[:a]),
        (inner, inner_s[:c]),
        (outer, outer_s[:b:-1]),
        (inner, inner_s[:d:-1]),
        (outer, outer_s[a : b + 1]),
    ]
    nodes = np.concatenate([part.at(s) for part, s in pieces])
    first = np.cumsum([0] + [len(s) for _, s in pieces])
    right_joint, left_joint = int(first[4]), int(first[5]) - 1
    outer_nodes = np.r_[first[0] : first[1], first[4] : first[5], first[3] - 1 : first[2] - 1 : -1]
    inner_right = np.r_[first[1] : first[2], right_joint]
    inner_left = np.r_[left_joint, first[4] - 1 : first[3] - 1 : -1]
    chains = [outer_nodes, inner_right, inner_left]
    elements = np.concatenate([np.stack([k[:-1], k[1:]], axis=1) for k in chains])
    m, r = len(outer_nodes) - 1, len(inner_right) - 1
    offset = np.zeros((len(elements), 2, 3))
    offset[m + r - 1, 1] = inner.at(inner_s[c]) - nodes[right_joint]
    offset[m + r, 0] = inner.at(inner_s[d]) - nodes[left_joint]
    outer_mid, inner_mid = 0.5 * (outer_s[1:] + outer_s[:-1]), 0.5 * (inner_s[1:] + inner_s[:-1])
    outer_d = outer.diameter_at(outer_mid)
    outer_d[a:b] = joint.diameter_mm
    inner_d = inner.diameter_at(inner_mid)
    diameter = np.concatenate([outer_d, inner_d[:c], inner_d[d:]])
    model = RodModel(nodes, elements, diameter, offset, bow.material.e_mpa, bow.material.g_mpa)
    numbered = np.concatenate([inner_right[:-1], np.full(d - c + 1, -1), inner_left[1:]])
    stations: dict[PartName, StationMap] = {
        "outer": _station_map(model, outer, outer.s_mm, outer_s, np.arange(m)),
        "inner": _inner_map(model, bow, inner_s, outer_s, counts=(m, c, d)),
    }
    stop, end = ({side: int(numbered[_at(inner_s, rims[side][k])]) for side in SIDES} for k in range(2))
    hooks: dict[Side, int] = {"right": int(outer_nodes[0]), "left": int(outer_nodes[-1])}
    return BowMesh(model, hooks, stop, end, stations)


def worn_points(mesh: BowMesh, state: RodState, part: PartName) -> Array:
    """Places (k, 3) of the stations of one wire under load: cubic between nodes, offsets turned with them."""
    stations = mesh.stations[part]
    model, e, t = mesh.model, stations.element, stations.fraction[:, None]
    i, j = model.ends[e].T
    placed = model.node_mm + state.move_mm
    start, end = placed[i] + _end_offset(model, state, e, 0), placed[j] + _end_offset(model, state, e, 1)
    leave, reach = (
        quat.turned(state.turn[i], model.chord_mm[e]),
        quat.turned(state.turn[j], model.chord_mm[e]),
    )
    h00, h10 = 2.0 * t**3 - 3.0 * t**2 + 1.0, t**3 - 2.0 * t**2 + t
    curve = h00 * start + h10 * leave + (1.0 - h00) * end + (t**3 - t**2) * reach
    between = quat.to_vector(quat.product(quat.conjugate(state.turn[i]), state.turn[j]))
    turn = quat.product(state.turn[i], quat.from_vector(t * between))
    return np.asarray(curve + quat.turned(turn, stations.offset_mm))


def _end_offset(model: RodModel, state: RodState, e: IntArray, end: int) -> Array:
    return quat.turned(state.turn[model.ends[e, end]], model.offset_mm[e, end])


def _rim_places(bow: BowWire, side: Side, slide_mm: float) -> tuple[float, float]:
    """Arc lengths on the inner wire at the mesial and the distal end of its tube; the wire's own end when that
    comes first."""
    way = -1.0 if side == "right" else 1.0
    mesial = bow.stop_mm[side] + way * slide_mm
    distal = mesial + way * bow.tubes[side].length_mm
    return mesial, float(np.clip(distal, 0.0, bow.inner.length_mm))


def _places(part: WirePart, marks: Sequence[float], spacing_mm: float) -> Array:
    """Arc lengths of nodes: the marks, stations about ``spacing_mm`` apart, and more where stations are
    sparse."""
    length = part.length_mm
    fixed = np.unique(np.clip(np.round([0.0, length, *marks], 9), 0.0, length))
    fixed = fixed[np.r_[True, np.diff(fixed) > 1e-6]]
    grid = np.linspace(0.0, length, int(np.ceil(length / spacing_mm)) + 1)
    after = np.clip(np.searchsorted(part.s_mm, grid), 1, len(part.s_mm) - 1)
    before_nearer = grid - part.s_mm[after - 1] < part.s_mm[after] - grid
    own = np.unique(part.s_mm[np.where(before_nearer, after - 1, after)])
    gap = np.abs(own[:, None] - fixed[None, :]).min(axis=1)
    s = np.sort(np.concatenate([fixed, own[gap > 0.4 * spacing_mm]]))
    cuts = np.maximum(1, np.ceil(np.diff(s) / (1.5 * spacing_mm)).astype(np.int64))
    begin = np.repeat(np.cumsum(cuts) - cuts, cuts)
    part_of_gap = (np.arange(int(cuts.sum())) - begin) / np.repeat(cuts, cuts)
    return np.append(np.repeat(s[:-1], cuts) + part_of_gap * np.repeat(np.diff(s), cuts), s[-1])


def _at(places: Array, s_mm: float) -> int:
    """Index of the node at arc length ``s_mm``."""
    return int(np.argmin(np.abs(places - s_mm)))


def _station_map(model: RodModel, part: WirePart, s: Array, places: Array, elements: IntArray) -> StationMap:
    """Map of the stations at ``s`` onto the chain of ``elements`` through nodes at ``places``."""
    k = np.clip(np.searchsorted(places, s, side="right") - 1, 0, len(places) - 2)
    fraction = np.clip((s - places[k]) / (places[k + 1] - places[k]), 0.0, 1.0)
    return _placed_map(model, part.at(s), part.diameter_at(s), elements[k], fraction)


def _placed_map(
    model: RodModel, points: Array, diameter: Array, element: IntArray, fraction: Array
) -> StationMap:
    start = model.node_mm[model.ends[element, 0]] + model.offset_mm[element, 0]
    return StationMap(
        element, fraction, points - start - fraction[:, None] * model.chord_mm[element], diameter
    )


def _inner_map(
    model: RodModel, bow: BowWire, places: Array, outer_places: Array, *, counts: tuple[int, int, int]
) -> StationMap:
    """Map of the inner wire's stations: its own elements outside the joint, the joint's bar inside."""
    m, c, d = counts
    s, joint = bow.inner.s_mm, bow.joint
    ratio = (joint.outer_to_mm - joint.outer_from_mm) / (joint.inner_to_mm - joint.inner_from_mm)
    on_bar = (s > places[c]) & (s < places[d])
    own = np.concatenate(
        [np.arange(m, m + c), np.full(d - c, -1), np.arange(m + c, m + c + len(places) - 1 - d)]
    )
    k = np.clip(np.searchsorted(places, s, side="right") - 1, 0, len(places) - 2)
    k = np.where(~on_bar & (own[k] < 0), k - 1, k)
    bar_s = joint.outer_from_mm + ratio * (s - joint.inner_from_mm)
    bar = np.clip(np.searchsorted(outer_places, bar_s, side="right") - 1, 0, m - 1)
    element = np.where(on_bar, bar, own[k])
    along = (s - places[k]) / (places[k + 1] - places[k])
    along_bar = (bar_s - outer_places[bar]) / (outer_places[bar + 1] - outer_places[bar])
    fraction = np.clip(np.where(on_bar, along_bar, along), 0.0, 1.0)
    return _placed_map(model, bow.inner.points_mm, bow.inner.diameter_mm, element, fraction)
