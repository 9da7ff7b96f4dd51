"""Root ends that are not whole apices: open borders, hollow ends, and flat ends; and the root that seems to be missing.

A closed apex is a small dome. A root cut by the edge of a scan ends in a plane, a root still growing in a wide flat or
hollow end (root completion of an upper first molar at 9-10 years: Ash/Nelson, Wheeler's Dental Anatomy). The missing
piece is guessed as a paraboloid, the usual idealisation of a root (Burstone CJ 1962), on the rim of the end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from mesh_tools.anatomy import ToothAnatomy
from mesh_tools.arrays import Array, BoolArray, IntArray, frozen, unit
from mesh_tools.fdi import ToothNumber
from mesh_tools.surface import Surface
from mesh_tools.topology import boundary_loops, loop_length

EndKind = Literal["open border", "flat", "hollow"]
# Root lengths from the cervical line, mm: Ash/Nelson, Wheeler's Dental Anatomy (buccal 12, palatal 13); other names
# take the lesser.
USUAL_ROOT_MM = {"mesiobuccal": 12.0, "distobuccal": 12.0, "palatal": 13.0}
_USUAL_MM = 12.0

# The flat and hollow limits part all 27 closed apices of the open and demo teeth (flat area at most 0.9 mm2) from ends
# cut or opened by 2 mm across (tests/mesh_tools/test_apex_state.py).
_REACH_MM, _LEAST_FACES = 4.0, 8
_FLAT_COSINE, _FLAT_OFF_MM, _LEAST_FLAT_MM2 = 0.985, 0.06, 1.6
_FACES_APICALLY = 0.5
_CUP_MM, _LEAST_ACROSS_MM, _BAND_MM = 0.4, 1.2, 0.6
_LEAST_LOOP_MM = 2.0
_ONE_PLANE_MM = 0.1
_COLUMNS, _ROWS = 32, 12


@dataclass(frozen=True, eq=False)
class RootEnd:
    """An end of a root that is no whole apex.

    ``centre_mm`` (3,) and ``rim_mm`` (k, 3) of the end; ``direction`` (3,) in which the root would go on;
    ``across_mm`` the diameter of a circle of the end's area; ``missing_mm`` the guessed length of what is missing, of
    other teeth than upper molars just a rounded end;
    ``faces`` the faces of the supported root that a whole root would not have.
    """

    root: str
    kind: EndKind
    centre_mm: Array
    direction: Array
    rim_mm: Array
    across_mm: float
    missing_mm: float
    faces: IntArray


def root_ends(root: Surface, anatomy: ToothAnatomy) -> tuple[RootEnd, ...]:
    """Every end of the supported ``root`` surface that is no whole apex; at most one for each named root."""
    apices = anatomy.apices_mm
    places = np.array(list(apices.values()))
    nearest = _nearest(root.face_centres_mm, places)
    loops = [r for r in boundary_loops(root)[1:] if loop_length(root.points_mm, r) > _LEAST_LOOP_MM]
    found = []
    owner = [int(_nearest(root.points_mm[r].mean(axis=0)[None], places)[0]) for r in loops]
    for k, name in enumerate(apices):
        near = np.linalg.norm(root.face_centres_mm - apices[name], axis=1) < _REACH_MM
        region = np.flatnonzero(near & (nearest == k))
        if len(region) < _LEAST_FACES:
            continue
        direction = _direction(root, region, anatomy, apices[name])
        mine = [r for r, at in zip(loops, owner, strict=True) if at == k]
        end = _open_border(root, mine) or _hollow(root, region, direction) or _flat(root, region, direction)
        if end is not None:
            found.append(_root_end(name, end, direction, anatomy))
    return tuple(found)


def in_one_plane(ends: Sequence[RootEnd]) -> bool:
    """Whether several flat or open ends lie in one plane, as where the edge of a scan cuts the roots."""
    cut = [e.rim_mm for e in ends if e.kind != "hollow"]
    if len(cut) < 2:
        return False
    rims = np.concatenate(cut)
    return bool(np.linalg.svd(rims - rims.mean(axis=0))[1][2] / np.sqrt(len(rims)) < _ONE_PLANE_MM)


def completed_root(root: Surface, ends: Sequence[RootEnd]) -> Surface:
    """The supported ``root`` with each end replaced by a paraboloid of its missing length.

    The pieces are not joined point by point: for sums over facets only.
    """
    keep = np.ones(len(root.faces), dtype=np.bool_)
    for end in ends:
        keep[end.faces] = False
    points, faces = [root.points_mm], [root.faces[keep]]
    for end in ends:
        piece = _paraboloid(end)
        faces.append(piece.faces + sum(map(len, points)))
        points.append(piece.points_mm)
    return Surface(np.concatenate(points), np.concatenate(faces))


@dataclass(frozen=True, eq=False)
class _End:
    kind: EndKind
    rim: Array
    faces: IntArray


def _nearest(points: Array, apices: Array) -> IntArray:
    return np.asarray(((points[:, None] - apices) ** 2).sum(axis=2).argmin(axis=1))


def _direction(root: Surface, region: IntArray, anatomy: ToothAnatomy, apex: Array) -> Array:
    """Where the root points: from the middle of its last millimetres to its end, never far from the long axis."""
    axis = anatomy.long_axis
    centres, areas = root.face_centres_mm[region], root.areas_mm2[region]
    depth = (apex - centres) @ axis
    upper, lower = depth > 2.0, depth < 1.0
    if areas[upper].sum() < 1.0 or areas[lower].sum() == 0.0:
        return axis
    here = areas[lower] @ centres[lower] / areas[lower].sum()
    there = areas[upper] @ centres[upper] / areas[upper].sum()
    return unit(unit(here - there, name="root direction") + 0.5 * axis, name="root direction")


def _open_border(root: Surface, loops: Sequence[IntArray]) -> _End | None:
    """The longest of the borders at a root's end."""
    return _End("open border", root.points_mm[loops[0]], np.zeros(0, dtype=np.int64)) if loops else None


def _flat(root: Surface, region: IntArray, direction: Array) -> _End | None:
    """The largest flat part that faces apically, when it is wide."""
    normal = root.area_vectors_mm2[region] / np.maximum(root.areas_mm2[region], 1e-300)[:, None]
    centre, area = root.face_centres_mm[region], root.areas_mm2[region]
    seeds = np.flatnonzero(normal @ direction > _FACES_APICALLY)
    seeds = (
        seeds[np.linspace(0, len(seeds) - 1, min(len(seeds), 80)).astype(np.int64)] if len(seeds) else seeds
    )
    if not len(seeds):
        return None
    alike = normal @ normal[seeds].T > _FLAT_COSINE
    off = centre @ normal[seeds].T - np.einsum("ij,ij->i", centre[seeds], normal[seeds])
    member: BoolArray = alike & (np.abs(off) < _FLAT_OFF_MM)
    best = member[:, int((area @ member).argmax())]
    if float(area[best].sum()) < _LEAST_FLAT_MM2:
        return None
    faces = region[best]
    plane = unit(root.area_vectors_mm2[faces].sum(axis=0), name="normal of the flat end")
    level = area[best] @ centre[best] / area[best].sum()
    beyond = region[((centre - level) @ plane > 0.0) & ~best]  # what stands over the plane goes with it
    rim = _outermost(root.corners_mm[faces].reshape(-1, 3), level, direction)
    return _End("flat", rim, np.concatenate([faces, beyond]))


def _hollow(root: Surface, region: IntArray, direction: Array) -> _End | None:
    """The rim of a cup at the end, when it is wide and deep enough."""
    centre = root.face_centres_mm[region]
    height = centre @ direction
    top = float(np.quantile(height, 0.995))
    band = region[height > top - _BAND_MM]
    rim = _outermost(root.corners_mm[band].reshape(-1, 3), root.face_centres_mm[band].mean(axis=0), direction)
    middle = rim.mean(axis=0)
    off = centre - middle
    flat = off - (off @ direction)[:, None] * direction
    radius = float(
        np.linalg.norm(rim - middle - ((rim - middle) @ direction)[:, None] * direction, axis=1).mean()
    )
    apically = root.area_vectors_mm2[region] @ direction > 0.0
    inner = apically & (np.linalg.norm(flat, axis=1) < 0.5 * radius)
    floor = float(height[inner].max()) if inner.any() else top - _REACH_MM  # no floor in reach: a deep cup
    depth = float((rim @ direction).mean()) - floor
    if 2.0 * radius < _LEAST_ACROSS_MM or depth < _CUP_MM:
        return None
    inward = np.einsum("ij,ij->i", root.area_vectors_mm2[region], flat) < 0.0
    cup = (inward | apically) & (np.linalg.norm(flat, axis=1) < radius)
    return _End("hollow", rim, region[cup])


def _outermost(points: Array, about: Array, direction: Array) -> Array:
    """For each of ``_COLUMNS`` directions round ``about`` the point farthest out (k, 3); thin sectors are left out."""
    across, other = _cross_axes(direction)
    off = points - about
    turn = np.arctan2(off @ other, off @ across)
    column = np.floor((turn / (2.0 * np.pi) + 0.5) * _COLUMNS).astype(np.int64) % _COLUMNS
    far = np.hypot(off @ across, off @ other)
    order = np.lexsort((-far, column))
    _, first = np.unique(column[order], return_index=True)
    return np.asarray(points[order[first]])


def _cross_axes(direction: Array) -> tuple[Array, Array]:
    """Two unit vectors across ``direction`` and each other."""
    least = np.eye(3)[int(np.abs(direction).argmin())]
    across = unit(np.cross(direction, least), name="cross axis")
    return across, np.cross(direction, across)


def _root_end(name: str, end: _End, direction: Array, anatomy: ToothAnatomy) -> RootEnd:
    centre = end.rim.mean(axis=0)
    across, other = _cross_axes(direction)
    x, y = (end.rim - centre) @ across, (end.rim - centre) @ other
    order = np.argsort(np.arctan2(y, x))
    x, y = x[order], y[order]
    area = 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))
    wide = 2.0 * float(np.sqrt(area / np.pi))
    lacking = _usual_mm(name, anatomy.tooth) - float(anatomy.below_line_mm(centre[None])[0])
    lacking /= max(float(direction @ anatomy.long_axis), 0.5)
    return RootEnd(
        root=name, kind=end.kind, centre_mm=frozen(centre, (3,), name="centre_mm"), direction=direction,
        rim_mm=frozen(end.rim[order], (None, 3), name="rim_mm"), across_mm=wide,
        missing_mm=max(lacking, 0.5 * wide), faces=end.faces,
    )  # fmt: skip


def _usual_mm(name: str, tooth: ToothNumber) -> float:
    """Usual length of a root; none is known here but for upper molars."""
    return USUAL_ROOT_MM.get(name, _USUAL_MM) if tooth.upper and tooth.kind == "molar" else 0.0


def _paraboloid(end: RootEnd) -> Surface:
    """A paraboloid on the end's rim, ``missing_mm`` long, wound outward."""
    share = np.linspace(0.0, 1.0, _ROWS + 1)[:-1]
    rim = end.rim_mm - end.centre_mm
    rings = (
        end.centre_mm
        + np.sqrt(1.0 - share)[:, None, None] * rim
        + (share * end.missing_mm)[:, None, None] * end.direction
    )
    count = len(rim)
    tip = end.centre_mm + end.missing_mm * end.direction
    i, j = np.meshgrid(np.arange(_ROWS - 1), np.arange(count), indexing="ij")
    a, b = (i * count + j).ravel(), (i * count + (j + 1) % count).ravel()
    last = (_ROWS - 1) * count + np.arange(count)
    cap = np.stack([last, np.roll(last, -1), np.full(count, _ROWS * count)], axis=1)
    faces = np.concatenate(
        [np.stack([a, b, a + count], axis=1), np.stack([b, b + count, a + count], axis=1), cap]
    )
    return Surface(np.concatenate([rings.reshape(-1, 3), tip[None]]), faces)
