"""How far the worn bow lies from lips, cheeks, teeth and gums along both wires, and how it passes the mouth corners.

Frame: the treatment frame (LPS mm, z the occlusal plane's normal) until ``moved``. A gap is measured from the wire's
surface, square to it, to the nearest point of the scan; below zero the wire presses in by that depth.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from mechanics.bow.fit import LIPS_MM
from mechanics.bow.skin import Skin
from mechanics.bow.wire import BowWire, JointRegion, PartName, WirePart, WornBow
from mechanics.sides import SIDES, Side, outward_sign
from mesh_tools.arrays import Array, frozen

Region = Literal["lips", "mouth corner", "cheek", "incisors", "teeth", "gingiva"]
STATION_MM = 1.0
STOP_MM = 4.0  # inner bow ahead of its stop that belongs to the tube: our choice
INCISORS_MM = (
    15.0  # half the four upper incisors, 8.5 and 6.5 mm wide (Wheeler's Dental Anatomy, from memory)
)
CROWN_MM = {
    "incisors": 9.0,
    "teeth": 7.0,
}  # gum above the occlusal plane: clinical crowns of a child, our choice


@dataclass(frozen=True, eq=False)
class Least:
    """The place where a wire comes nearest in one region of one side.

    ``s_mm``: along the wire from the joint's middle; ``wire_mm`` and ``scan_mm`` (3,): the centreline's place and the
    scan's.
    """

    region: Region
    side: Side
    gap_mm: float
    s_mm: float
    wire_mm: Array
    scan_mm: Array


@dataclass(frozen=True, eq=False)
class WireClearance:
    """The gap (n,) along one wire, right to left: ``s_mm`` (n,) from the joint's middle, below zero on the right.

    ``wire_mm`` (n, 3) and ``scan_mm`` (n, 3): the centreline and the nearest points of the scan; ``region`` (n,).
    """

    part: PartName
    s_mm: Array
    gap_mm: Array
    wire_mm: Array
    scan_mm: Array
    region: tuple[Region, ...]

    def __post_init__(self) -> None:
        n = len(self.region)
        for name, shape in (("s_mm", (n,)), ("gap_mm", (n,)), ("wire_mm", (n, 3)), ("scan_mm", (n, 3))):
            object.__setattr__(self, name, frozen(getattr(self, name), shape, name=f"{self.part} {name}"))

    def regions(self) -> tuple[Region, ...]:
        """The regions the wire passes, in order."""
        return tuple(dict.fromkeys(self.region))

    def least(self, region: Region, side: Side) -> Least | None:
        """Where the wire comes nearest in ``region`` on ``side``; None where it does not pass it."""
        here = (np.array(self.region) == region) & (outward_sign(side) * self.s_mm >= 0.0)
        if not here.any():
            return None
        k = int(np.flatnonzero(here)[np.argmin(self.gap_mm[here])])
        s, gap = float(abs(self.s_mm[k])), float(self.gap_mm[k])
        return Least(region, side, gap, s, self.wire_mm[k], self.scan_mm[k])

    def moved(self, rotation: Array) -> WireClearance:
        """The same in another frame, ``rotation @ p``."""
        return replace(self, wire_mm=self.wire_mm @ rotation.T, scan_mm=self.scan_mm @ rotation.T)


@dataclass(frozen=True, eq=False)
class MouthExit:
    """Where the outer wire passes one mouth corner: beside it, ``above_mm`` it and ``ahead_mm`` of it (centreline).

    ``s_mm``: along the wire from the joint's middle; ``at_mm`` (3,). Above zero the wire lifts the lip there, below it
    lowers it: it should leave the mouth at the corner without either (common practice, no source).
    """

    side: Side
    above_mm: float
    ahead_mm: float
    s_mm: float
    at_mm: Array


@dataclass(frozen=True, eq=False)
class Clearance:
    """Gaps of the worn bow: ``outer`` to the face, ``inner`` to the arch, each None without that scan."""

    outer: WireClearance | None
    inner: WireClearance | None
    exits: Mapping[Side, MouthExit]

    def least(self) -> tuple[Least, ...]:
        """The nearest place of each region on each side."""
        wires = [w for w in (self.outer, self.inner) if w is not None]
        found = [wire.least(region, side) for wire in wires for region in _ORDER for side in SIDES]
        return tuple(one for one in found if one is not None)

    def moved(self, rotation: ArrayLike) -> Clearance:
        """The same in another frame, ``rotation @ p``."""
        r = np.asarray(rotation, dtype=np.float64)
        outer, inner = (None if w is None else w.moved(r) for w in (self.outer, self.inner))
        exits = {s: replace(e, at_mm=r @ e.at_mm) for s, e in self.exits.items()}
        return Clearance(outer, inner, exits)


_ORDER: tuple[Region, ...] = ("lips", "mouth corner", "cheek", "incisors", "teeth", "gingiva")


def outer_clearance(
    worn: WornBow, joint: JointRegion, skin: Skin, *, corner_mm: Mapping[Side, Array]
) -> WireClearance:
    """The gap from the worn outer wire to the face, a station a millimetre.

    Regions by where the wire is: lips between the mouth corners, mouth corner over the next ``LIPS_MM`` outward
    (``mechanics.bow.fit``), cheek from there to the hook.
    """
    outer, middle = worn.outer, joint.outer_middle_mm
    s = _stations(-middle, outer.length_mm - middle)
    region: list[Region] = ["cheek"] * len(s)
    for side in SIDES:
        own = outward_sign(side) * s
        past = [passing_mm(outer, joint, side, corner_mm[side], beyond_mm=b) for b in (0.0, LIPS_MM)]
        lips, corner = (0.0 if p is None else p for p in past)
        for k in np.flatnonzero((own >= 0.0) & (own < corner)):
            region[k] = "lips" if own[k] < lips else "mouth corner"
    return _measured(outer, s, middle, skin, region)


def inner_clearance(
    worn: WornBow, bow: BowWire, arch: Skin, *, incisor_mm: Array, occlusal_z_mm: float
) -> WireClearance:
    """The gap from the worn inner bow, between the tubes, to the upper arch.

    Regions by the nearest point of the scan: incisors within ``INCISORS_MM`` of the incisors' contact seen from
    above, teeth behind; gingiva where it lies more than a crown (``CROWN_MM``) above the occlusal plane: a scan
    without colour does not show the margin of the gum.
    """
    inner, middle = worn.inner, bow.joint.inner_middle_mm
    s = _stations(bow.stop_mm["right"] + STOP_MM - middle, bow.stop_mm["left"] - STOP_MM - middle)
    found = _measured(inner, s, middle, arch, ["teeth"] * len(s))
    front = np.linalg.norm(found.scan_mm[:, :2] - incisor_mm[:2], axis=1) <= INCISORS_MM
    height = found.scan_mm[:, 2] - occlusal_z_mm
    gum = height > np.where(front, CROWN_MM["incisors"], CROWN_MM["teeth"])
    named = np.where(gum, "gingiva", np.where(front, "incisors", "teeth"))
    return replace(found, region=tuple(named.tolist()))


def mouth_exits(
    worn: WornBow, joint: JointRegion, *, corner_mm: Mapping[Side, Array]
) -> dict[Side, MouthExit]:
    """How the worn outer wire passes each mouth corner; a side on which it never comes beside it is left out."""
    found: dict[Side, MouthExit] = {}
    for side in SIDES:
        s = passing_mm(worn.outer, joint, side, corner_mm[side])
        if s is not None:
            at = worn.outer.at(joint.outer_middle_mm + outward_sign(side) * s)
            off = at - corner_mm[side]
            found[side] = MouthExit(side, float(off[2]), -float(off[1]), s, at)
    return found


def passing_mm(
    outer: WirePart, joint: JointRegion, side: Side, corner_mm: Array, *, beyond_mm: float = 0.0
) -> float | None:
    """Length along the outer wire from the joint's middle to where it is first ``beyond_mm`` outward of the mouth
    corner; None where it never is."""
    sign, middle = outward_sign(side), joint.outer_middle_mm
    arm = middle if side == "right" else outer.length_mm - middle
    s = np.linspace(0.0, arm, max(2, int(4.0 * arm)))
    over = sign * (outer.at(middle + sign * s)[:, 0] - corner_mm[0]) - beyond_mm
    past = np.flatnonzero(over >= 0.0)
    if not len(past):
        return None
    k = int(past[0])
    if k == 0:
        return 0.0
    return float(s[k - 1] + (s[k] - s[k - 1]) * over[k - 1] / (over[k - 1] - over[k]))


def _stations(start_mm: float, end_mm: float) -> Array:
    """Even stations from end to end, a millimetre apart or little less, one of them at 0."""
    right = np.linspace(start_mm, 0.0, max(2, int(np.ceil(-start_mm / STATION_MM)) + 1))
    left = np.linspace(0.0, end_mm, max(2, int(np.ceil(end_mm / STATION_MM)) + 1))
    return np.concatenate([right, left[1:]])


def _measured(
    part: WirePart, s_mm: Array, middle_mm: float, scan: Skin, region: list[Region]
) -> WireClearance:
    at = s_mm + middle_mm
    points = part.at(at)
    near = scan.nearest(points)
    gap = near.distance_mm - 0.5 * part.diameter_at(at)
    return WireClearance(part.part, s_mm, gap, points, near.points_mm, tuple(region))
