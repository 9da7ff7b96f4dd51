"""From a scan's skeleton to a bow: which wire is which, smooth centrelines, diameters, joint, hooks,
bends."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import splev, splprep
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from mechanics.bow.stock import BowStock
from mechanics.bow.wire import BowWire, JointRegion, PartName, StockMaterial, Tube, WirePart
from mechanics.bow_from_scan.skeleton import Skeleton, skeleton
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array, BoolArray
from mesh_tools.errors import BadValueError, NoAnswerError
from mesh_tools.surface import Surface

SPACING_MM = 0.5
NOISE_MM = 0.06  # scatter of ring middles that smoothing may take out
DIAMETER_MM = (0.7, 2.6)
BEND_RATE_DEG_MM = 0.5
SMALLEST_BEND_DEG = 4.0
CHORD_MM = 3.0
CAPS = 4
FRONT_CURVE_MM = 30.0  # from the joint's middle; nearer, the wire's own curve hides a bend


@dataclass(frozen=True)
class FoundBend:
    """A bend up (positive) or down on an outer arm: its middle along the wire from the joint's middle, its
    angle."""

    side: Side
    place_mm: float
    angle_deg: float


@dataclass(frozen=True, eq=False)
class ScannedBow:
    """What a scan of a bow shows, in the scan's own place. Right is the side of smaller x."""

    inner: WirePart
    outer: WirePart
    joint: JointRegion
    inner_diameter_mm: float
    outer_diameter_mm: float
    bends: tuple[FoundBend, ...]

    @property
    def hook_mm(self) -> dict[Side, Array]:
        """Ends of the outer wire."""
        return {"right": self.outer.points_mm[0], "left": self.outer.points_mm[-1]}


def scanned_bow(scan: Surface) -> ScannedBow:
    """The bow in ``scan`` (mm; x toward the patient's left, -y the front, z up, at least roughly).

    Raises BadValueError for a scan whose size or wire thickness is not a bow's, NoAnswerError when it has
    not the four free ends of two wires joined at the front.
    """
    tree = skeleton(scan)
    ends = tree.ends()
    if len(ends) != 4:
        raise NoAnswerError(
            f"scan shows {len(ends)} free wire ends where a face-bow has 4; remove stray pieces or scan it whole."
        )
    outer_ends, inner_ends = _wires(tree, ends)
    outer, inner = tree.way(*outer_ends), tree.way(*inner_ends)
    shared = [k for k in outer if k in set(inner)]
    if len(shared) < 2:
        raise NoAnswerError(
            "both wires of the scan do not run together at the front; scan the bow in one piece."
        )
    return _bow(tree, outer, inner, shared)


def _wires(tree: Skeleton, ends: list[int]) -> tuple[list[int], list[int]]:
    """Right and left end of the outer wire and of the inner: the thicker pair is the outer; if alike, the
    wider."""
    thick = np.array([_end_diameter(tree, end) for end in ends])
    order = np.argsort(-thick)
    if thick[order[1]] - thick[order[2]] < 0.1:
        wide = np.abs(tree.nodes_mm[ends][:, 0] - tree.nodes_mm[ends][:, 0].mean())
        order = np.argsort(-wide)
    pairs = [[ends[k] for k in order[:2]], [ends[k] for k in order[2:]]]
    x = tree.nodes_mm[:, 0].tolist()
    right_first = [p if x[p[0]] <= x[p[1]] else p[::-1] for p in pairs]
    return right_first[0], right_first[1]


def _end_diameter(tree: Skeleton, end: int) -> float:
    """Median diameter over rings 3 to 12 from an end."""
    near, way, before = tree.neighbours(), [end], -1
    while len(way) < 13 and len(near[way[-1]]) <= 2:
        on = [k for k in near[way[-1]] if k != before]
        if not on:
            break
        before = way[-1]
        way.append(on[0])
    line = tree.nodes_mm[way]
    own = tree.points_mm[np.isin(tree.ring, way[3:])]
    return 2.0 * float(np.median(_from_line(own, line))) if len(own) else 0.0


def _bow(tree: Skeleton, outer: list[int], inner: list[int], shared: list[int]) -> ScannedBow:
    thick = {
        p: _diameter(tree, [k for k in w if k not in set(shared)])
        for p, w in (("outer", outer), ("inner", inner))
    }
    for part, d in thick.items():
        if not DIAMETER_MM[0] <= d <= DIAMETER_MM[1]:
            raise BadValueError(
                f"{part} wire of the scan is {d:.2f} mm thick; bow wire measures {DIAMETER_MM[0]} to {DIAMETER_MM[1]} "
                "mm: check the unit."
            )
    apart = _apart(tree, outer, inner, shared, thick)
    parts: dict[PartName, WirePart] = {}
    spans: dict[PartName, tuple[float, float]] = {}
    for part, way in (("outer", outer), ("inner", inner)):
        name: PartName = "outer" if part == "outer" else "inner"
        rough = np.stack([apart[part].get(k, tree.nodes_mm[k]) for k in way])
        points = _smooth(_to_tips(tree, rough))
        parts[name] = WirePart.uniform(points, thick[part], part=name)
        at = [
            float(parts[name].s_mm[np.linalg.norm(points - apart[part][k], axis=1).argmin()]) for k in shared
        ]
        spans[name] = (min(at), max(at))
    stock = BowStock(thick["inner"], thick["outer"])
    joint = JointRegion(*spans["inner"], *spans["outer"], stock.joint_diameter_mm)
    bends = tuple(b for s in SIDES for b in _bends(parts["outer"], joint, s))
    return ScannedBow(parts["inner"], parts["outer"], joint, thick["inner"], thick["outer"], bends)


def _diameter(tree: Skeleton, way: list[int]) -> float:
    """Twice the median distance of the surface from the line of its ring middles, away from joint and
    ends."""
    return float(np.median([_stretch(tree, way[k : k + 12]) for k in range(4, max(5, len(way) - 16), 6)]))


def _stretch(tree: Skeleton, way: list[int]) -> float:
    own = tree.points_mm[np.isin(tree.ring, way[2:-2])]
    return (
        2.0 * float(np.median(_from_line(own, tree.nodes_mm[way]))) if len(own) and len(way) > 5 else np.nan
    )


def _from_line(points: Array, line: Array) -> Array:
    """Distance (n,) of points from a short stretch of line, by a parabola through it."""
    t = np.linspace(-1.0, 1.0, len(line))
    basis = np.vander(t, 3)
    curve = np.vander(np.linspace(-1.2, 1.2, 400), 3) @ np.linalg.lstsq(basis, line, rcond=None)[0]
    return np.asarray(cKDTree(curve).query(points)[0])


def _apart(
    tree: Skeleton, outer: list[int], inner: list[int], shared: list[int], thick: Mapping[str, float]
) -> dict[str, dict[int, Array]]:
    """Where both wires share a ring: each wire's own middle, from the ring's, along its longer axis across
    the wire.

    A ring's middle is that of both perimeters, so each wire's lies off it in proportion to the other's
    diameter.
    """
    gap, total = 0.5 * (thick["inner"] + thick["outer"]), thick["inner"] + thick["outer"]
    before, after = (tree.nodes_mm[outer[outer.index(shared[k]) + d]] for k, d in ((0, -1), (-1, 1)))
    toward = 0.5 * (before + after) - tree.nodes_mm[shared].mean(axis=0)
    inner_at = 0.5 * (tree.nodes_mm[inner[0]] + tree.nodes_mm[inner[-1]])
    front = tree.nodes_mm[shared].mean(axis=0) - inner_at
    out: dict[str, dict[int, Array]] = {"outer": {}, "inner": {}}
    for k, node in enumerate(shared):
        ahead = tree.nodes_mm[shared[min(k + 1, len(shared) - 1)]] - tree.nodes_mm[shared[max(k - 1, 0)]]
        ahead = ahead / np.linalg.norm(ahead)
        spread = tree.points_mm[tree.ring == node] - tree.nodes_mm[node]
        spread = spread - np.outer(spread @ ahead, ahead)
        axis = np.linalg.svd(spread, full_matrices=False)[2][0]
        lead = float(axis @ front)
        axis = (
            axis
            if (lead if abs(lead) > 0.2 * np.linalg.norm(front) else float(axis @ toward)) > 0.0
            else -axis
        )
        out["outer"][node] = tree.nodes_mm[node] + axis * gap * thick["inner"] / total
        out["inner"][node] = tree.nodes_mm[node] - axis * gap * thick["outer"] / total
    return out


def _to_tips(tree: Skeleton, rough: Array) -> Array:
    """The line carried straight on to the wire's very ends, in place of the last few middles: bands that
    start from a point of the end's rim are caps and slanting rings."""
    own = cKDTree(tree.points_mm)
    ends = []
    for last, inward in ((CAPS, CAPS + 5), (-1 - CAPS, -6 - CAPS)):
        along = rough[last] - rough[inward]
        along = along / np.linalg.norm(along)
        near = tree.points_mm[own.query_ball_point(rough[last], 2.0 * CAPS + 3.0)] - rough[last]
        near = near[np.linalg.norm(near - np.outer(near @ along, along), axis=1) < 2.0]
        ends.append(rough[last] + along * float((near @ along).max()))
    return np.vstack([ends[0], rough[CAPS:-CAPS], ends[1]])


def _smooth(rough: Array) -> Array:
    """Smoothing spline through the middles, at even spacing, ends kept."""
    weight = np.ones(len(rough))
    weight[[0, -1]] = 100.0
    knots, _ = splprep(rough.T, w=weight / NOISE_MM, s=float(len(rough)), k=3)
    dense = np.stack(splev(np.linspace(0.0, 1.0, 40 * len(rough)), knots), axis=1)
    s = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(dense, axis=0), axis=1))])
    at = np.linspace(0.0, s[-1], int(np.ceil(s[-1] / SPACING_MM)) + 1)
    return np.stack([np.interp(at, s, dense[:, k]) for k in range(3)], axis=1)


def _bends(outer: WirePart, joint: JointRegion, side: Side) -> list[FoundBend]:
    """Stretches of an arm where its rise over the level changes fast, and by how much in all.

    The rise is that of chords 6 mm long, which makes noise harmless and a bend longer; the whole change
    counts.
    """
    middle = joint.outer_middle_mm
    arm = outer.length_mm - middle if side == "left" else middle
    s = np.arange(FRONT_CURVE_MM, arm - CHORD_MM, SPACING_MM)
    sign = 1.0 if side == "left" else -1.0
    way = outer.at(middle + sign * (s + CHORD_MM)) - outer.at(middle + sign * (s - CHORD_MM))
    rise = np.degrees(np.arctan2(way[:, 2], np.hypot(way[:, 0], way[:, 1])))
    rate = np.gradient(rise, s)
    bends = [b for d in (1.0, -1.0) for b in _stretches(s, rise, d * rate > BEND_RATE_DEG_MM, side)]
    return sorted(bends, key=lambda f: f.place_mm)


def _stretches(s: Array, rise: Array, fast: BoolArray, side: Side) -> list[FoundBend]:
    edge = np.diff(np.concatenate([[False], fast, [False]]).astype(np.int64))
    bends = []
    for a, b in zip(np.flatnonzero(edge == 1), np.flatnonzero(edge == -1), strict=True):
        low, high = max(int(a) - 3, 0), min(int(b) + 2, len(s) - 1)
        angle = float(rise[high] - rise[low])
        if abs(angle) >= SMALLEST_BEND_DEG:
            half = rise[low] + 0.5 * angle
            place = float(np.interp(half, *_rising(rise[low : high + 1], s[low : high + 1])))
            bends.append(FoundBend(side, place, angle))
    return bends


def _rising(rise: Array, s: Array) -> tuple[Array, Array]:
    order = np.argsort(rise)
    return rise[order], s[order]


def in_tubes(
    found: ScannedBow, tubes: Mapping[Side, Tube], *, material: StockMaterial | None = None
) -> BowWire:
    """The scanned bow laid into a patient's tubes: the rigid motion that suits both terminals best.

    The wire's ends are taken to lie at the distal ends of the tubes, the stops one tube's length ahead of
    them. The place of the bend is the first bend found on the arm, else half way along it.
    """
    length = {"right": tubes["right"].length_mm, "left": found.inner.length_mm - tubes["left"].length_mm}
    have = np.stack(
        [
            found.inner.points_mm[0],
            found.inner.at(length["right"]),
            found.inner.points_mm[-1],
            found.inner.at(length["left"]),
        ]
    )
    want = np.concatenate([[tubes[s].distal_mm, tubes[s].mesial_mm] for s in SIDES])
    turn, _ = Rotation.align_vectors(want - want.mean(axis=0), have - have.mean(axis=0))
    rotation = turn.as_matrix()
    shift = want.mean(axis=0) - rotation @ have.mean(axis=0)
    place: dict[Side, float] = {}
    for side in SIDES:
        own = [b.place_mm for b in found.bends if b.side == side]
        arm = found.joint.outer_middle_mm
        place[side] = own[0] if own else 0.5 * (arm if side == "right" else found.outer.length_mm - arm)
    moved = {
        p.part: WirePart(p.points_mm @ rotation.T + shift, p.diameter_mm, p.part)
        for p in (found.inner, found.outer)
    }
    return BowWire(
        inner=moved["inner"],
        outer=moved["outer"],
        joint=found.joint,
        material=StockMaterial() if material is None else material,
        tubes=dict(tubes),
        stop_mm={"right": length["right"], "left": length["left"]},
        bend_place_mm=place,
    )
