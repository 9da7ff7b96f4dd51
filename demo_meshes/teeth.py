"""Where every tooth of the invented upper arch stands, and the crowns in front of the molars.

Frame of the dentition: x to the patient's left, y back, z up, origin between the edges of the central incisors,
z = 0 the occlusal plane. Tooth widths and heights are textbook averages (from memory), arch form and width drawn
for a child of ten.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from demo_meshes.crown import CrownShape, Cusp, Ridge, crown_field
from demo_meshes.implicit import Field, ramp, smooth_max
from demo_meshes.molar import MolarShape, molar_field
from mesh_tools.arrays import Array

HALF_WIDTH_MM, DEPTH_MM, FRONT_MM = 23.3, 42.0, 0.7
"""Half axes of the ellipse the crowns' middles stand on, and how far its front lies behind the incisal edges."""


@dataclass(frozen=True)
class FrontCrown:
    """An incisor's or canine's crown: width, thickness at the neck, height, and how steep the edge falls off."""

    mesiodistal_mm: float
    labiolingual_mm: float
    height_mm: float
    edge_slope: float = 0.0
    edge_half_mm: float = 0.75


@dataclass(frozen=True, eq=False)
class Placement:
    """Turns a tooth's own (left) frame into the dentition's: ``rotation @ p + shift_mm``; mirrored on the right."""

    rotation: Array
    shift_mm: Array

    def to_world(self, p: Array) -> Array:
        """Points (n, 3) from the tooth's frame."""
        return np.asarray(p @ self.rotation.T + self.shift_mm)

    def to_tooth(self, p: Array) -> Array:
        """Points (n, 3) into the tooth's frame."""
        return np.asarray((p - self.shift_mm) @ self.rotation)


@dataclass(frozen=True, eq=False)
class PlacedTooth:
    """A tooth of the arch: its number, crown, where it stands, and its place along the arch from the midline."""

    fdi: int
    shape: FrontCrown | CrownShape | MolarShape
    placement: Placement
    along_mm: float

    @property
    def height_mm(self) -> float:
        """Crown height."""
        if isinstance(self.shape, FrontCrown):
            return self.shape.height_mm
        return (self.shape.crown if isinstance(self.shape, MolarShape) else self.shape).crown_height_mm

    @property
    def width_mm(self) -> float:
        """Mesiodistal width."""
        return (self.shape.crown if isinstance(self.shape, MolarShape) else self.shape).mesiodistal_mm


def _premolar(wide: float, deep: float, height: float, *, palatal: float) -> CrownShape:
    cusps = (Cusp(2.4, 0.0, height, 0.95), Cusp(-2.4, -0.5, height - palatal, 0.9))
    ridges = (
        Ridge((1.8, -2.6), (-1.8, -2.5), height - 1.5, 1.1),
        Ridge((1.8, 2.6), (-1.8, 2.5), height - 1.6, 1.1),
    )
    return CrownShape(
        crown_height_mm=height, mesiodistal_mm=wide, buccolingual_mm=deep, cervical_mesiodistal_mm=wide - 2.0,
        cervical_buccolingual_mm=deep - 1.0, cusps=cusps, ridges=ridges, skew=0.0, squareness=2.25,
    )  # fmt: skip


@dataclass(frozen=True)
class Dentition:
    """What stands in the arch: shapes shared by both sides, the two molars, and the seed of small disorder."""

    left_molar: MolarShape = field(default_factory=lambda: MolarShape().varied(26, spread=0.6))
    right_molar: MolarShape = field(default_factory=lambda: MolarShape().varied(1003, spread=1.0))
    seed: int = 11

    def teeth(self) -> tuple[PlacedTooth, ...]:
        """Twelve teeth, right side first molar to left side first molar."""
        right = [self._placed(k, right=True) for k in range(5, -1, -1)]
        return (*right, *(self._placed(k, right=False) for k in range(6)))

    def tooth(self, fdi: int) -> PlacedTooth:
        """The tooth with this number."""
        return next(t for t in self.teeth() if t.fdi == fdi)

    def _placed(self, k: int, *, right: bool) -> PlacedTooth:
        rng = np.random.default_rng((self.seed, k, right))
        shapes: list[FrontCrown | CrownShape | MolarShape] = [
            FrontCrown(8.7, 7.0, 10.0), FrontCrown(7.1, 6.2, 9.2), FrontCrown(8.1, 7.8, 9.6, 0.55, 0.9),
            _premolar(7.0, 9.0, 8.2, palatal=1.0), _premolar(6.8, 9.0, 7.7, palatal=0.4),
            self.right_molar if right else self.left_molar,
        ]  # fmt: skip
        widths = [8.4, 6.5, 7.5, 7.0, 6.8, 10.0]
        along = sum(widths[:k]) + 0.5 * widths[k] + 0.1 * k
        lift = (0.0, 0.9, 0.2, 0.1, 0.0, 0.0)[k] + float(rng.normal(0, 0.08))
        turn = np.radians(float(rng.normal(0, 2.5 if k < 5 else 1.0)))
        lean = np.radians((12.0, 10.0, 2.0, -1.0, 0.0, 4.0)[k])
        placement = _placement(
            along, side=-1 if right else 1, turn=turn, lean=lean, lift=lift, height=_height(shapes[k])
        )
        return PlacedTooth((11 if right else 21) + k, shapes[k], placement, -along if right else along)


def _height(shape: FrontCrown | CrownShape | MolarShape) -> float:
    if isinstance(shape, FrontCrown):
        return shape.height_mm
    crown = shape.crown if isinstance(shape, MolarShape) else shape
    return max(c.height_mm for c in crown.cusps)


def arch_curve(n: int = 1200) -> tuple[Array, Array]:
    """Plan points (n, 2) of the left half of the arch and their length (n,) from the midline."""
    t = np.linspace(0.0, np.radians(112.0), n)
    curve = np.stack([HALF_WIDTH_MM * np.sin(t), FRONT_MM + DEPTH_MM * (1.0 - np.cos(t))], axis=1)
    steps = np.linalg.norm(np.diff(curve, axis=0), axis=1)
    return curve, np.concatenate([[0.0], np.cumsum(steps)])


def _placement(along: float, *, side: int, turn: float, lean: float, lift: float, height: float) -> Placement:
    curve, length = arch_curve()
    i = int(np.searchsorted(length, along))
    tangent = (curve[i + 1] - curve[i - 1]) / np.linalg.norm(curve[i + 1] - curve[i - 1])
    angle = np.arctan2(-tangent[0], tangent[1]) + turn
    c, s = np.cos(angle), np.sin(angle)
    upright = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    cl, sl = np.cos(lean), np.sin(lean)
    leaning = np.array([[cl, 0.0, -sl], [0.0, 1.0, 0.0], [sl, 0.0, cl]])
    tip = np.array([0.0, 0.0, -height])
    rotation = upright @ leaning
    shift = np.array([*curve[i], lift]) - rotation @ tip
    mirror = np.diag([float(side), 1.0, 1.0])
    return Placement(mirror @ rotation, mirror @ shift)


def front_field(shape: FrontCrown, p: Array) -> Array:
    """Field (n,) of an incisor's or canine's crown and the start of its root, in the tooth's frame."""
    x, y, z = p.T
    down = np.clip(-z / shape.height_mm, -0.6, 1.2)
    thick = (
        0.5
        * shape.labiolingual_mm
        * (1.0 - 0.12 * ramp(down, 0.1, -0.6))
        * (1.0 - ramp(down, 0.02, 1.25) ** 0.8)
    )
    thick = np.maximum(thick, 0.0) + shape.edge_half_mm * ramp(down, 0.2, 1.0)
    wide = 0.5 * shape.mesiodistal_mm * (0.74 + 0.26 * ramp(down, -0.05, 0.75))
    middle = 0.4 * (1.0 - (2.0 * down - 0.75) ** 2) + 1.4 * ramp(down, 0.0, 1.0)
    scoop = 0.7 * np.exp(-((y / (0.28 * shape.mesiodistal_mm)) ** 2)) * ramp(down, 0.3, 0.65)
    u = (x - middle) / thick
    u = np.where(u < 0, u * (1.0 + scoop * 0.35), u)
    rho = (np.abs(u) ** 2.2 + np.abs(y / wide) ** 2.6) ** (1.0 / 2.3)
    wall = (rho - 1.0) * np.sqrt(thick * wide)
    edge = 0.9 * (-z - shape.height_mm + shape.edge_slope * (np.sqrt(y * y + 0.3) - 0.55))
    return smooth_max(wall, edge, blend_mm=0.7)


def tooth_field(tooth: PlacedTooth, *, root_mm: float) -> Field:
    """The crown and ``root_mm`` of its root as a field in the dentition's frame; 5 mm outside is far enough."""
    shape, reach = tooth.shape, np.array([8.5, 7.5, 8.5])
    whole = molar_field(shape) if isinstance(shape, MolarShape) else None

    def own(p: Array) -> Array:
        if isinstance(shape, FrontCrown):
            f = front_field(shape, p)
        else:
            f = whole(p) if whole is not None else crown_field(shape, p)  # type: ignore[arg-type]
        return np.maximum(f, p[:, 2] - root_mm)

    def world(p: Array) -> Array:
        q = tooth.placement.to_tooth(p)
        outside = np.abs(q - [0.0, 0.0, -4.0]) - reach
        near = outside.max(axis=1) < 0
        value = np.full(len(p), 5.0)
        if near.any():
            value[near] = own(q[near])
        return value

    return world
