"""An upper first molar with three roots as an implicit surface, and the anatomy it is known to have.

The tooth's own frame is the crown's (see ``demo_meshes.crown``): +x buccal, -y mesial, +z apical, for a left
tooth. ``right=True`` mirrors x. Sizes default to textbook averages, cited beside each field.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from demo_meshes.crown import CrownShape, Cusp, Ridge, cervical_height, crown_field
from demo_meshes.implicit import Field, meshed, outermost, ramp, smooth_max, smooth_min
from mesh_tools.arrays import Array, IntArray

ROOTS = ("mesiobuccal", "distobuccal", "palatal")
PAIRS = {
    "buccal": ("mesiobuccal", "distobuccal"),
    "mesial": ("mesiobuccal", "palatal"),
    "distal": ("distobuccal", "palatal"),
}


@dataclass(frozen=True)
class RootShape:
    """One root: its section where the trunk ends, its apex, and how far its middle bulges off the straight line.

    Points are (x, y, z) or (x, y) in the tooth's frame; ``half_mm`` are the half widths along x and y at the base.
    """

    base_mm: tuple[float, float, float]
    apex_mm: tuple[float, float, float]
    half_mm: tuple[float, float]
    bulge_mm: tuple[float, float] = (0.0, 0.0)


def _default_crown() -> CrownShape:
    cusps = (
        Cusp(3.1, -2.5, 7.6, 0.9),
        Cusp(2.9, 1.9, 7.25, 0.95),
        Cusp(-2.5, -1.6, 7.65, 0.85),
        Cusp(-3.2, 2.6, 6.5, 0.95),
    )
    ridges = (
        Ridge((-2.2, -1.3), (2.4, 1.7), 5.85, 1.0),
        Ridge((2.9, -2.5), (1.0, -1.2), 6.4, 1.3),
        Ridge((-2.3, -1.9), (-0.5, -1.9), 6.3, 1.3),
        Ridge((2.6, -4.2), (-2.2, -3.9), 6.3, 1.2),
        Ridge((2.2, 3.8), (-2.6, 4.2), 5.95, 1.2),
    )
    return CrownShape(
        crown_height_mm=7.5, mesiodistal_mm=10.0, buccolingual_mm=11.0,
        cervical_mesiodistal_mm=8.0, cervical_buccolingual_mm=10.0,
        cusps=cusps, ridges=ridges, grooves=((-0.1, 0.07, 0.2), (np.pi - 0.22, 0.09, 0.2)),
    )  # fmt: skip


def _default_roots() -> dict[str, RootShape]:
    return {
        "mesiobuccal": RootShape((1.55, -1.75, 2.0), (3.5, -2.0, 12.0), (3.3, 1.95), (1.0, -1.5)),
        "distobuccal": RootShape((2.1, 1.35, 2.0), (4.0, 3.7, 12.0), (2.7, 2.05), (0.6, 0.6)),
        "palatal": RootShape((-2.45, 0.3, 2.0), (-6.2, 1.0, 13.2), (2.3, 3.2), (-1.2, 0.0)),
    }


@dataclass(frozen=True)
class MolarShape:
    """Everything that decides an upper first molar's surface.

    Defaults: crown length 7.5, mesiodistal 10, buccolingual 11, at the cervix 8 and 10, roots 12 (buccal) and
    13 (palatal) mm, averages of Ash and Nelson, Wheeler's Dental Anatomy (secondary source); cervical line to
    furcation entrances 3.6 mesial, 4.2 buccal, 4.8 distal, Gher and Dunlap 1985 J Periodontol 56:39-43.
    """

    crown: CrownShape = field(default_factory=_default_crown)
    mesiobuccal: RootShape = field(default_factory=lambda: _default_roots()["mesiobuccal"])
    distobuccal: RootShape = field(default_factory=lambda: _default_roots()["distobuccal"])
    palatal: RootShape = field(default_factory=lambda: _default_roots()["palatal"])
    roof_buccal_mm: float = 4.7
    roof_mesial_mm: float = 3.0
    roof_distal_mm: float = 5.2
    roof_sag_mm: float = 0.3
    fused_buccal: float = 0.0
    fused_mesial: float = 0.0
    fused_distal: float = 0.0

    def root(self, name: str) -> RootShape:
        """The root called ``name``."""
        roots: dict[str, RootShape] = {r: getattr(self, r) for r in ROOTS}
        return roots[name]

    def with_roots(self, *, length: float = 1.0, divergence: float = 1.0) -> MolarShape:
        """Roots longer by the factor ``length`` and apices farther from the trunk's axis by ``divergence``."""
        one, two, three = (_stretched(self.root(r), length, divergence) for r in ROOTS)
        return replace(self, mesiobuccal=one, distobuccal=two, palatal=three)

    def varied(self, seed: int, *, spread: float = 1.0) -> MolarShape:
        """The same tooth in another person: sizes, cusps and roots moved at random; ``spread`` 1 is about 4 %."""
        rng = np.random.default_rng(seed)
        crown = _varied_crown(self.crown, rng, spread)
        one, two, three = (_varied_root(self.root(r), rng, spread) for r in ROOTS)
        return replace(self, crown=crown, mesiobuccal=one, distobuccal=two, palatal=three)


@dataclass(frozen=True, eq=False)
class MolarTruth:
    """What the generator knows about the tooth it made, in the mesh's frame, mm.

    ``cervical_line_mm`` (n, 3) is closed (the last point joins the first) and lies on the surface at the edge of
    the enamel. ``furcations_mm`` hold the top of the arch between two roots, a pair that is fused to its end has
    none; ``roof_mm`` is the trunk's surface between the three roots. ``root_area_mm2`` is the mesh's area apical
    of the cervical line, ``tube_site_mm`` the middle of the buccal face at mid crown with its outward normal.
    """

    cervical_line_mm: Array
    apices_mm: dict[str, Array]
    furcations_mm: dict[str, Array]
    roof_mm: Array
    cusp_tips_mm: Array
    long_axis: Array
    tube_site_mm: Array
    root_area_mm2: float

    def moved(self, rotation: Array, shift_mm: Array) -> MolarTruth:
        """The same after ``rotation @ p + shift_mm``."""

        def go(p: Array) -> Array:
            return np.asarray(p @ rotation.T + shift_mm)

        return replace(
            self, cervical_line_mm=go(self.cervical_line_mm), roof_mm=go(self.roof_mm),
            cusp_tips_mm=go(self.cusp_tips_mm), tube_site_mm=go(self.tube_site_mm),
            long_axis=rotation @ self.long_axis,
            apices_mm={k: go(v) for k, v in self.apices_mm.items()},
            furcations_mm={k: go(v) for k, v in self.furcations_mm.items()},
        )  # fmt: skip


def molar(
    shape: MolarShape | None = None, *, right: bool = False, step_mm: float = 0.34
) -> tuple[Array, IntArray, MolarTruth]:
    """Points (n, 3) mm, outward faces (m, 3) and the truth of an upper first molar in its own frame.

    ``step_mm`` is the grid's step: 0.34 gives about 14 000 faces.
    """
    shape = shape or MolarShape()
    low, high = _box(shape)
    points, faces = meshed(molar_field(shape), low=low, high=high, step_mm=step_mm)
    truth = molar_truth(shape, points, faces)
    if right:
        mirror = np.diag([-1.0, 1.0, 1.0])
        return points @ mirror, np.ascontiguousarray(faces[:, ::-1]), truth.moved(mirror, np.zeros(3))
    return points, faces, truth


def molar_field(shape: MolarShape) -> Field:
    """The tooth's field in its own (left) frame."""

    def field_of(p: Array) -> Array:
        body = smooth_max(crown_field(shape.crown, p), p[:, 2] - _roof(shape, p), blend_mm=1.0)
        for name in ROOTS:
            body = smooth_min(body, _root_field(shape.root(name), p), blend_mm=1.3)
        for pair in PAIRS:
            body = _webbed(shape, pair, p, body)
        return body

    return field_of


def molar_truth(shape: MolarShape, points: Array, faces: IntArray) -> MolarTruth:
    """The truth in the left frame of the mesh ``points``, ``faces`` made from ``shape``."""
    surface = molar_field(shape)
    angle = np.linspace(-np.pi, np.pi, 180, endpoint=False)
    out = np.stack([np.cos(angle), np.sin(angle) - shape.crown.skew * np.cos(angle), 0 * angle], axis=1)
    start = np.stack([0 * angle, 0 * angle, cervical_height(shape.crown, angle)], axis=1)
    line = outermost(surface, start, out, reach_mm=9.0)
    middle = np.array([[0.0, 0.0, -0.5 * shape.crown.crown_height_mm]])
    site = outermost(surface, middle, np.array([[1.0, -0.02, 0.0]]), reach_mm=9.0)[0]
    apices = {r: np.array(shape.root(r).apex_mm) for r in ROOTS}
    furcations = {pair: found for pair in PAIRS if (found := _furcation(shape, surface, pair)) is not None}
    axis = np.mean(list(apices.values()), axis=0) - np.array([0.0, 0.0, -shape.crown.crown_height_mm])
    return MolarTruth(
        line, apices, furcations, _roof_point(shape, surface), _cusp_tips(shape, surface),
        axis / np.linalg.norm(axis), site, _root_area(shape, points, faces),
    )  # fmt: skip


def below_cervical_line(shape: MolarShape, points: Array) -> Array:
    """Height (n,) of points over the cervical line at their angle, mm, positive towards the roots; left frame."""
    angle = np.arctan2(points[:, 1] + shape.crown.skew * points[:, 0], points[:, 0])
    return np.asarray(points[:, 2] - cervical_height(shape.crown, angle))


def _root_centre(root: RootShape, z: Array) -> Array:
    base, apex = np.array(root.base_mm), np.array(root.apex_mm)
    s = np.clip((z - base[2]) / (apex[2] - base[2]), -0.1, 1.3)
    arc = np.where(s < 1.0, 4.0 * s * (1.0 - s), -4.0 * (s - 1.0))
    return np.asarray(base[:2] + s[:, None] * (apex - base)[:2] + arc[:, None] * np.array(root.bulge_mm))


def _root_width(root: RootShape, z: Array) -> Array:
    """Square of the half width (n,) as a fraction of the base's; negative past the apex."""
    s = np.maximum((z - root.base_mm[2]) / (root.apex_mm[2] - root.base_mm[2]), -0.1)
    return np.asarray(np.where(s < 1.0, (1.0 - s) * (1.0 + 0.5 * s), 1.5 * (1.0 - s)))


def _root_field(root: RootShape, p: Array) -> Array:
    offset = (p[:, :2] - _root_centre(root, p[:, 2])) / np.array(root.half_mm)
    rho, g = np.hypot(offset[:, 0], offset[:, 1]), _root_width(root, p[:, 2])
    wall = (rho**2 - g) * np.sqrt(root.half_mm[0] * root.half_mm[1]) / (rho + np.sqrt(np.maximum(g, 0.02)))
    return np.asarray(wall + 1.5 * ramp(p[:, 2], 5.2, 0.2) + np.maximum(1.0 - p[:, 2], 0.0))


def _roof(shape: MolarShape, p: Array) -> Array:
    tilt = 0.5 * (shape.roof_distal_mm - shape.roof_mesial_mm) / 3.9
    middle = 0.5 * (shape.roof_distal_mm + shape.roof_mesial_mm)
    buccal = (shape.roof_buccal_mm - middle) / 4.8
    radius = np.hypot(p[:, 0] / 4.8, p[:, 1] / 3.9)
    return np.asarray(middle + tilt * np.clip(p[:, 1], -4, 4) + buccal * np.clip(p[:, 0], -2, 5)
                      - shape.roof_sag_mm * np.maximum(1 - radius**2, 0.0))  # fmt: skip


def _webbed(shape: MolarShape, pair: str, p: Array, body: Array) -> Array:
    fused = getattr(shape, f"fused_{pair}")
    if fused <= 0.0:
        return body
    one, two = (shape.root(r) for r in PAIRS[pair])
    a, b = _root_centre(one, p[:, 2]), _root_centre(two, p[:, 2])
    d = b - a
    t = np.clip(((p[:, :2] - a) * d).sum(axis=1) / (d * d).sum(axis=1), 0.0, 1.0)
    away = np.hypot(*(p[:, :2] - a - t[:, None] * d).T)
    top = 3.0 + fused * (min(one.apex_mm[2], two.apex_mm[2]) - 3.0)
    half = 0.7 * min(*one.half_mm, *two.half_mm)
    width = half * np.sqrt(np.maximum(np.minimum(_root_width(one, p[:, 2]), _root_width(two, p[:, 2])), 0.0))
    web = smooth_max(away - width, p[:, 2] - top, blend_mm=0.8) + np.maximum(2.5 - p[:, 2], 0.0)
    return smooth_min(body, web, blend_mm=0.8)


def _furcation(shape: MolarShape, surface: Field, pair: str) -> Array | None:
    """Entrance between two roots: where the face's profile, followed from the crown, turns 45 degrees into the roof.

    The profile lies in the upright plane from the middle of the trunk through the gap; None where it does not
    turn before the shorter root ends, that is where the two are fused.
    """
    one, two = (shape.root(r) for r in PAIRS[pair])
    level = np.full(1, 4.0)
    middle = np.mean([_root_centre(shape.root(r), level)[0] for r in ROOTS], axis=0)
    out = 0.5 * (_root_centre(one, level)[0] + _root_centre(two, level)[0]) - middle
    out = np.array([*(out / np.linalg.norm(out)), 0.0])
    z = np.arange(1.0, min(one.apex_mm[2], two.apex_mm[2]) - 0.8, 0.05)
    start = np.column_stack([np.tile(middle, (len(z), 1)), z])
    edge = outermost(surface, start, np.tile(out, (len(z), 1)), reach_mm=8.0)
    turns = np.flatnonzero(np.diff((edge - start) @ out) < -0.05)
    return np.asarray(edge[turns[0]]) if len(turns) else None


def _roof_point(shape: MolarShape, surface: Field) -> Array:
    level = np.full(1, 6.0)
    xy = np.mean([_root_centre(shape.root(r), level)[0] for r in ROOTS], axis=0)
    up = np.array([[0.0, 0.0, 1.0]])
    return np.asarray(outermost(surface, np.array([[*xy, 0.0]]), up, reach_mm=12.0)[0])


def _cusp_tips(shape: MolarShape, surface: Field) -> Array:
    tips = []
    for cusp in shape.crown.cusps:
        dx, dy = (g.ravel() for g in np.meshgrid(np.linspace(-1.2, 1.2, 25), np.linspace(-1.2, 1.2, 25)))
        start = np.stack([cusp.x_mm + dx, cusp.y_mm + dy, np.zeros(len(dx))], axis=1)
        hit = outermost(surface, start, np.tile([0.0, 0.0, -1.0], (len(dx), 1)), reach_mm=10.0)
        tips.append(hit[hit[:, 2].argmin()])
    return np.array(tips)


def _root_area(shape: MolarShape, points: Array, faces: IntArray) -> float:
    corners = points[faces]
    areas = 0.5 * np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    return float(areas[below_cervical_line(shape, corners.mean(axis=1)) > 0].sum())


def _box(shape: MolarShape) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    apices = np.array([shape.root(r).apex_mm for r in ROOTS])
    reach = np.array([shape.crown.buccolingual_mm, shape.crown.mesiodistal_mm, 0.0]) / 2 + 1.5
    low = np.minimum(apices.min(axis=0) - 2.5, -reach)
    high = np.maximum(apices.max(axis=0) + 2.5, reach)
    return (float(low[0]), float(low[1]), -shape.crown.crown_height_mm - 1.5), (
        float(high[0]), float(high[1]), float(high[2]) - 1.0)  # fmt: skip


def _stretched(root: RootShape, length: float, divergence: float) -> RootShape:
    base, apex = np.array(root.base_mm), np.array(root.apex_mm)
    reach = (apex - base) * np.array([divergence, divergence, 1.0]) + np.array(
        [0.0, 0.0, (length - 1.0) * apex[2]]
    )
    tip = base + reach
    return replace(root, apex_mm=(float(tip[0]), float(tip[1]), float(tip[2])))


def _varied_root(root: RootShape, rng: np.random.Generator, spread: float) -> RootShape:
    apex = np.array(root.apex_mm) + spread * rng.normal(0.0, (0.5, 0.5, 0.4))
    half = np.array(root.half_mm) * (1 + spread * rng.normal(0.0, 0.03, 2))
    bulge = np.array(root.bulge_mm) + spread * rng.normal(0.0, 0.25, 2)
    return replace(root, apex_mm=(float(apex[0]), float(apex[1]), float(apex[2])),
                   half_mm=(float(half[0]), float(half[1])), bulge_mm=(float(bulge[0]), float(bulge[1])))  # fmt: skip


def _varied_crown(crown: CrownShape, rng: np.random.Generator, spread: float) -> CrownShape:
    wide, deep = 1 + spread * rng.normal(0.0, 0.025, 2)
    cusps = tuple(
        replace(c, x_mm=c.x_mm + d[0], y_mm=c.y_mm + d[1], height_mm=c.height_mm + d[2])
        for c, d in ((c, spread * rng.normal(0.0, (0.15, 0.15, 0.1))) for c in crown.cusps)
    )
    return replace(
        crown, cusps=cusps, skew=crown.skew + spread * float(rng.normal(0.0, 0.02)),
        mesiodistal_mm=crown.mesiodistal_mm * wide, cervical_mesiodistal_mm=crown.cervical_mesiodistal_mm * wide,
        buccolingual_mm=crown.buccolingual_mm * deep, cervical_buccolingual_mm=crown.cervical_buccolingual_mm * deep,
    )  # fmt: skip
