"""The bent bow and a checking jig as closed solids in mm, for printing; bench frame, z up from the plane under the bow.

The bow is a form to compare with, never to be worn. In the jig the inner bow's ends, the joint and both hooks lie in
grooves open to the top: a bow bent as planned, with no strap, drops into all five at once; its wire ends are flush with
the outer faces of their blocks. The base's cut corner is the patient's right front.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from casework.bench_distances import BenchFrame, bench_frame
from mechanics.sides import SIDES
from mesh_tools.arrays import Array, IntArray, unit
from mesh_tools.errors import NoAnswerError
from mesh_tools.surface import Surface

if TYPE_CHECKING:
    from casework.plan import Plan
    from mechanics.bow.wire import BowWire, WirePart

AROUND = 24
BED_MM = 200.0
PLAY_MM = 0.4  # groove wider than the wire: what printers leave uneven, our choice
_BLOCK_MM, _FRONT_MM = 8.0, 12.0  # length of a block along its wire
_WALL_MM, _BASE_MM, _UNDER_MM = 3.0, 3.0, 2.5
_EDGE_MM, _CUT_MM = 5.0, 6.0
_SHEATH_MM = 0.15
_SLENDER = 5.0  # a block is at least a fifth as wide as it is high


class JigError(NoAnswerError):
    """A jig that no usual printer makes, or whose blocks would stand in each other."""


def bow_solid(plan: Plan) -> Surface:
    """The bent bow with no strap: outer wire, inner wire and the sheath of the joint, three closed shells that overlap.

    Raises NoAnswerError when a bend was not reached or the bow was taken as rigid.
    """
    _check_bendable(plan)
    bow, frame = plan.bow_bench, bench_frame(plan.bow_bench, plan.treatment_rotation)
    shells = [wire_solid(bow.outer), wire_solid(bow.inner), _sheath(bow)]
    joined = _joined([(s.points_mm, s.faces) for s in shells])
    return Surface(frame.laid(joined.points_mm), joined.faces)


def _check_bendable(plan: Plan) -> None:
    if not plan.bendable:
        raise NoAnswerError(" ".join(plan.refusals))


def wire_solid(wire: WirePart, *, around: int = AROUND) -> Surface:
    """A round wire as a closed tube with flat ends, outward normals; frames carried along without twist."""
    points = wire.points_mm
    ways = np.gradient(points, axis=0)
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    across = _carried(ways)
    over = np.cross(ways, across)
    t = np.linspace(0.0, 2.0 * np.pi, around, endpoint=False)
    ring = np.cos(t)[None, :, None] * across[:, None] + np.sin(t)[None, :, None] * over[:, None]
    return swept(points[:, None] + 0.5 * wire.diameter_mm[:, None, None] * ring)


def _carried(ways: Array) -> Array:
    """Unit vectors (n, 3) across ``ways`` (n, 3), each the one before it made square to the next way."""
    found = np.empty_like(ways)
    start = np.eye(3)[int(np.argmin(np.abs(ways[0])))]
    for k, way in enumerate(ways):
        start = unit(start - (start @ way) * way)
        found[k] = start
    return found


def swept(rings: Array) -> Surface:
    """Closed surface through ``rings`` (n, k, 3), each counterclockwise about the way ahead, with flat ends."""
    n, k = rings.shape[:2]
    start, step = np.arange(n - 1)[:, None] * k, np.arange(k)[None, :]
    a, b = start + step, start + (step + 1) % k
    sides = np.concatenate(
        [np.stack([a, b, b + k], -1).reshape(-1, 3), np.stack([a, b + k, a + k], -1).reshape(-1, 3)]
    )
    ends = rings[[0, -1]].mean(axis=1)
    i = np.arange(k)
    first = np.stack([np.full(k, n * k), (i + 1) % k, i], -1)
    last = np.stack([np.full(k, n * k + 1), (n - 1) * k + i, (n - 1) * k + (i + 1) % k], -1)
    return Surface(np.concatenate([rings.reshape(-1, 3), ends]), np.concatenate([sides, first, last]))


def _sheath(bow: BowWire, *, stations: int = 41) -> Surface:
    """The joint: both wires wrapped as one, a little thicker than they are."""
    joint, share = bow.joint, np.linspace(0.0, 1.0, stations)
    inner_s = joint.inner_from_mm + share * (joint.inner_to_mm - joint.inner_from_mm)
    outer_s = joint.outer_from_mm + share * (joint.outer_to_mm - joint.outer_from_mm)
    inner, outer = bow.inner.at(inner_s), bow.outer.at(outer_s)
    ways = np.gradient(0.5 * (inner + outer), axis=0)
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    across = outer - inner
    across -= np.sum(across * ways, axis=1, keepdims=True) * ways
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    over = np.cross(ways, across)
    t = np.linspace(-0.5 * np.pi, 1.5 * np.pi, AROUND, endpoint=False) + np.pi / AROUND
    far = (np.cos(t) > 0.0)[None, :, None]
    radius = np.where(
        far, bow.outer.diameter_at(outer_s)[:, None, None], bow.inner.diameter_at(inner_s)[:, None, None]
    )
    ring = np.cos(t)[None, :, None] * across[:, None] + np.sin(t)[None, :, None] * over[:, None]
    return swept(np.where(far, outer[:, None], inner[:, None]) + (0.5 * radius + _SHEATH_MM) * ring)


def _joined(parts: list[tuple[Array, IntArray]]) -> Surface:
    starts = np.cumsum([0, *(len(p) for p, _ in parts[:-1])])
    return Surface(
        np.concatenate([p for p, _ in parts]),
        np.concatenate([f + s for (_, f), s in zip(parts, starts, strict=True)]),
    )


@dataclass(frozen=True, eq=False)
class GrooveBlock:
    """A block with a groove open to the top along ``heading`` (2,) from ``start`` (2,), bench frame mm.

    The groove's floor rises from ``floor[0]`` to ``floor[1]`` over ``length``; ``half`` and ``groove`` are half the
    widths of block and groove; ``top`` is the block's height over the plane.
    """

    name: str
    start: Array
    heading: Array
    length: float
    half: float
    groove: float
    floor: tuple[float, float]
    top: float

    def corner(self, u: float, v: float) -> Array:
        """Place (2,) at ``u`` along and ``v`` to the left of the groove."""
        left = np.array([-self.heading[1], self.heading[0]])
        return np.asarray(self.start + u * self.heading + v * left)

    def footprint(self) -> Array:
        """Corners (4, 2), counterclockwise."""
        h, n = self.half, self.length
        return np.stack([self.corner(0.0, -h), self.corner(n, -h), self.corner(n, h), self.corner(0.0, h)])


def jig_blocks(plan: Plan, frame: BenchFrame) -> list[GrooveBlock]:
    """Five blocks: both ends of the inner bow, the joint, both hooks."""
    bow = plan.bow_bench
    blocks = []
    for side in SIDES:
        for name, wire in (("inner end", bow.inner), ("hook", bow.outer)):
            s = np.linspace(0.0, _BLOCK_MM, 33)
            along = wire.at(s if side == "right" else wire.length_mm - s)
            blocks.append(_block(f"{side} {name}", frame.laid(along), 0.5 * float(wire.diameter_mm[0])))
    return [*blocks, _front_block(bow, frame)]


def _block(name: str, points: Array, radius: float) -> GrooveBlock:
    """A block along ``points`` (n, 3) from the wire's end on, its groove wide and deep enough for all of them."""
    heading = unit(np.append(points[-1, :2] - points[0, :2], 0.0))[:2]
    left = np.array([-heading[1], heading[0]])
    u, v = (points[:, :2] - points[0, :2]) @ heading, (points[:, :2] - points[0, :2]) @ left
    slope = (points[-1, 2] - points[0, 2]) / u[-1]
    chord = points[0, 2] + slope * u
    drop = radius * np.hypot(1.0, slope) + float(np.max(chord - points[:, 2]))
    floor = (float(chord[0] - drop), float(chord[-1] - drop))
    groove = radius + 0.5 * PLAY_MM + float(np.abs(v).max())
    top = max(floor) + 1.6 * radius
    return GrooveBlock(name, points[0, :2], heading, float(u[-1]), groove + _WALL_MM, groove, floor, top)


def _front_block(bow: BowWire, frame: BenchFrame) -> GrooveBlock:
    """The block under the joint, across the front, with both wires in one groove."""
    s = np.linspace(-0.5 * _FRONT_MM, 0.5 * _FRONT_MM, 25)
    parts = [(bow.inner, bow.joint.inner_middle_mm), (bow.outer, bow.joint.outer_middle_mm)]
    laid = [(frame.laid(w.at(m + s)), 0.5 * float(w.diameter_at(m))) for w, m in parts]
    low = np.concatenate([p[:, :2] - r for p, r in laid]).min(axis=0)
    high = np.concatenate([p[:, :2] + r for p, r in laid]).max(axis=0)
    floor = min(float(p[:, 2].min()) - r for p, r in laid) - _SHEATH_MM
    middle, groove = 0.5 * (low + high), 0.5 * float(high[1] - low[1]) + _SHEATH_MM + 0.5 * PLAY_MM
    start = np.array([middle[0] - 0.5 * _FRONT_MM, middle[1]])
    return GrooveBlock(
        "front",
        start,
        np.array([1.0, 0.0]),
        _FRONT_MM,
        groove + _WALL_MM,
        groove,
        (floor, floor),
        floor + 2.0,
    )


def jig_solid(plan: Plan) -> Surface:
    """The checking jig as one closed shell in the bench frame.

    Raises NoAnswerError like ``bow_solid``, and JigError when it does not fit a bed of 200 x 200 mm or when blocks
    would stand in each other.
    """
    _check_bendable(plan)
    frame = bench_frame(plan.bow_bench, plan.treatment_rotation)
    blocks = jig_blocks(plan, frame)
    lowest = min(_underside(w, frame) for w in (plan.bow_bench.inner, plan.bow_bench.outer))
    base = min(lowest - 2.0, min(min(b.floor) for b in blocks) - _UNDER_MM)
    return jig_of([_steadied(b, base) for b in blocks], base)


def _underside(wire: WirePart, frame: BenchFrame) -> float:
    return float((frame.laid(wire.points_mm)[:, 2] - 0.5 * wire.diameter_mm).min())


def _steadied(block: GrooveBlock, base: float) -> GrooveBlock:
    """A high block made wide enough to stand firm."""
    half = max(block.half, 0.5 * (block.top - base) / _SLENDER)
    return GrooveBlock(
        block.name, block.start, block.heading, block.length, half, block.groove, block.floor, block.top
    )


def jig_of(blocks: list[GrooveBlock], base: float) -> Surface:
    """The blocks on one base plate whose top is at ``base``; raises JigError."""
    rim = _rim(blocks)
    triangles = [*_plate(rim, blocks, base)]
    for block in blocks:
        triangles += _block_faces(block, base)
    corners = np.array(triangles).reshape(-1, 3)
    points, index = np.unique(np.round(corners, 6), axis=0, return_inverse=True)
    return Surface(points, index.reshape(-1, 3))


def _rim(blocks: list[GrooveBlock]) -> Array:
    """Corners (5, 2) of the base, counterclockwise, the patient's right front cut off; raises JigError if too large."""
    feet = np.concatenate([b.footprint() for b in blocks])
    low, high = feet.min(axis=0) - _EDGE_MM, feet.max(axis=0) + _EDGE_MM
    size = high - low
    if max(size) > BED_MM:
        raise JigError(
            f"the checking jig would be {size[0]:.0f} x {size[1]:.0f} mm, more than a bed of {BED_MM:.0f} x "
            f"{BED_MM:.0f} mm: check this bow on the bench template."
        )
    return np.array(
        [[low[0], low[1] + _CUT_MM], [low[0] + _CUT_MM, low[1]], [high[0], low[1]], high, [low[0], high[1]]]
    )


def _plate(rim: Array, blocks: list[GrooveBlock], base: float) -> list[Array]:
    """Triangles (3, 3) of the plate: its top around the blocks, its edge and its bottom."""
    from scipy.spatial import Delaunay

    places = np.concatenate([rim, *(b.footprint() for b in blocks)])
    faces = Delaunay(places).simplices
    one, two = places[faces[:, 1]] - places[faces[:, 0]], places[faces[:, 2]] - places[faces[:, 0]]
    turn = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    faces = np.where((turn > 0.0)[:, None], faces, faces[:, ::-1])
    middles = places[faces].mean(axis=1)
    free = faces[~np.any([_inside(b, middles) for b in blocks], axis=0)]
    _check_footprints(free, blocks, first=len(rim))
    top = [np.column_stack([places[f], np.full(3, base)]) for f in free]
    high = np.column_stack([rim, np.full(len(rim), base)])
    low = high - [0.0, 0.0, _BASE_MM]
    edge = [np.array(t) for a, b, c, d in zip(high, np.roll(high, -1, 0), low, np.roll(low, -1, 0), strict=True)
            for t in ((a, c, d), (a, d, b))]  # fmt: skip
    bottom = [np.array([low[0], low[k + 1], low[k]]) for k in range(1, len(low) - 1)]
    return [*top, *edge, *bottom]


def _inside(block: GrooveBlock, places: Array) -> Array:
    away = places - block.start
    left = np.array([-block.heading[1], block.heading[0]])
    u, v = away @ block.heading, away @ left
    return np.asarray((u > 0.0) & (u < block.length) & (np.abs(v) < block.half))


def _check_footprints(free: IntArray, blocks: list[GrooveBlock], *, first: int) -> None:
    """Each block's border must be edges of the plate's top, each once: else blocks overlap or stand too near."""
    edges = {(int(f[i]), int(f[(i + 1) % 3])) for f in free for i in range(3)}
    for k, block in enumerate(blocks):
        ring = [first + 4 * k + i for i in range(4)]
        if not all((ring[(i + 1) % 4], ring[i]) in edges for i in range(4)):
            raise JigError(
                f"the checking jig's block for the {block.name} stands in another one: check this bow on the "
                "bench template."
            )


_SECTION = (
    (-1, "base"),
    (-1, "top"),
    (-2, "top"),
    (-2, "floor"),
    (2, "floor"),
    (2, "top"),
    (1, "top"),
    (1, "base"),
)
_SECTION_FACES = ((0, 1, 2), (0, 2, 3), (0, 3, 4), (0, 4, 7), (4, 5, 7), (5, 6, 7))


def _block_faces(block: GrooveBlock, base: float) -> list[Array]:
    """Triangles (3, 3) of one block, open at its foot where it stands on the plate."""
    rings = []
    for u, floor in ((0.0, block.floor[0]), (block.length, block.floor[1])):
        height = {"base": base, "top": block.top, "floor": floor}
        out = {1: block.half, 2: block.groove}
        section = [[*block.corner(u, np.sign(v) * out[abs(v)]), height[z]] for v, z in _SECTION]
        rings.append(np.array(section))
    near, far = rings
    found = [near[list(f)] for f in _SECTION_FACES] + [far[list(f[::-1])] for f in _SECTION_FACES]
    for i in range(7):
        found += [np.array([near[i + 1], near[i], far[i]]), np.array([near[i + 1], far[i], far[i + 1]])]
    return found
