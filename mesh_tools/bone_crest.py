"""The alveolar crest around a tooth from the surface of the bone: where bone stops lining the root.

Bone lines the root at the width of the ligament (0.15-0.38 mm: Biomaterials 2011, PMC3185383) and turns away at the
crest. So the bone within ``LINING_MM`` of the tooth is the socket, and in every sector around the long axis its most
occlusal point is the crest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.anatomy import ToothAnatomy
from mesh_tools.arrays import Array, BoolArray, frozen
from mesh_tools.cut import clipped
from mesh_tools.errors import BowtrueError
from mesh_tools.surface import Surface

LINING_MM = 0.6  # twice a usual ligament and the size of a CBCT voxel (common practice, no source)
SECTORS = 36
_FAR_MM = 3.0
_LEAST_SHARE = 0.75
_WIDEST_GAP = 0.2  # of the turn, between two sectors that have bone
_SPAN_MM = (-3.0, 15.0)  # apical of the cervical line, where a crest can be
# Highest crest of 223 children, mesial of first molars: Needleman HL et al. 1997 J Dent Child 64:188.
_HIGHEST_MM = -1.35
_FACES_TRIED = 8


class NoBoneCrestError(BowtrueError, ValueError):
    """The bone surface shows no crest around the tooth."""


@dataclass(frozen=True, eq=False)
class BoneCrest:
    """Crest points (k, 3) mm in order around the tooth, and how far (k,) mm each lies apical of the cervical line."""

    points_mm: Array
    below_cej_mm: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm, (None, 3), name="points_mm"))
        object.__setattr__(self, "below_cej_mm", frozen(self.below_cej_mm, (None,), name="below_cej_mm"))


def bone_crest(
    tooth: Surface, anatomy: ToothAnatomy, bone: Surface, *, lining_mm: float = LINING_MM
) -> BoneCrest:
    """Crest of ``bone`` around ``tooth``, both LPS mm in one frame; the bone may reach on over neighbouring teeth.

    The bone is cut exactly where it is ``lining_mm`` away from the tooth; of what is nearer, each of ``SECTORS`` around
    the long axis gives its most occlusal point, single outliers are levelled by the median of five, sectors without
    bone are left out. Raises NoBoneCrestError for bone that is elsewhere, lines less than three
    quarters of the turn, or reaches over the crown as a jaw with its teeth does.
    """
    near = _near_part(tooth, anatomy, bone, lining_mm)
    places = anatomy.frame.to_tooth(near.points_mm)
    height, radius = _by_sector(places)
    seen = np.isfinite(height)
    _check_round(seen, anatomy)
    height[seen] = _levelled(height[seen])
    angle = _sector_angles()[seen]
    ring = np.stack([radius[seen] * np.cos(angle), radius[seen] * np.sin(angle), height[seen]], axis=1)
    points = anatomy.frame.to_lps(ring)
    below = anatomy.below_line_mm(points)
    _check_level(float(below.mean()), anatomy)
    return BoneCrest(points, below)


def _check_level(below_mm: float, anatomy: ToothAnatomy) -> None:
    if below_mm < _HIGHEST_MM:
        raise NoBoneCrestError(
            f"tooth {anatomy.tooth.fdi}: the bone surface reaches {-below_mm:.1f} mm over the cervical line on average "
            f"(bone reaches {-_HIGHEST_MM:g} at most); it must hold bone alone, without teeth or gum."
        )


def _near_part(tooth: Surface, anatomy: ToothAnatomy, bone: Surface, lining_mm: float) -> Surface:
    """The part of the bone that lines the root."""
    away = _distances(bone.points_mm, tooth, up_to=_FAR_MM)
    below = anatomy.below_line_mm(bone.points_mm)
    here = (below > _SPAN_MM[0]) & (below < _SPAN_MM[1] + 5.0)
    away = np.where(here, away, _FAR_MM)
    if not (away < _FAR_MM).any():
        raise NoBoneCrestError(
            f"tooth {anatomy.tooth.fdi}: no bone within {_FAR_MM:g} mm of the root; the bone surface must be in the "
            "frame and unit of the tooth (same scan, same axes code)."
        )
    near = clipped(bone, away, lining_mm)
    if not len(near.faces):
        raise NoBoneCrestError(
            f"tooth {anatomy.tooth.fdi}: no bone lines the root within {lining_mm:g} mm (nearest {away.min():.2f} mm); "
            "check that both surfaces come from the same scan."
        )
    return near


def _distances(points: Array, tooth: Surface, *, up_to: float) -> Array:
    """Distance (n,) of ``points`` to the tooth's faces, no more than ``up_to``."""
    from scipy.spatial import cKDTree  # slow to import

    tree = cKDTree(tooth.face_centres_mm)
    reach = float(np.linalg.norm(tooth.corners_mm - tooth.face_centres_mm[:, None], axis=2).max())
    away = np.full(len(points), up_to)
    count = min(_FACES_TRIED, len(tooth.faces))
    rough, face = tree.query(points, k=range(1, count + 1), distance_upper_bound=up_to + reach)
    some = np.flatnonzero(np.isfinite(rough[:, 0]))
    face = np.where(np.isfinite(rough[some]), face[some], face[some, :1])
    exact = point_face_distances(np.repeat(points[some], count, axis=0), tooth.corners_mm[face.ravel()])
    away[some] = np.minimum(exact.reshape(-1, count).min(axis=1), up_to)
    return away


def point_face_distances(points: Array, corners: Array) -> Array:
    """Distance (k,) of each point (k, 3) to its own triangle ``corners`` (k, 3, 3)."""
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.maximum(np.linalg.norm(normal, axis=1), 1e-300)
    off = np.einsum("ij,ij->i", points - corners[:, 0], normal) / size
    sides = []
    within: BoolArray = np.ones(len(points), dtype=np.bool_)
    for k in range(3):
        a, along = corners[:, k], corners[:, (k + 1) % 3] - corners[:, k]
        away = points - a
        within &= np.einsum("ij,ij->i", np.cross(along, away), normal) >= 0.0
        share = np.einsum("ij,ij->i", away, along) / np.maximum(np.einsum("ij,ij->i", along, along), 1e-300)
        sides.append(np.linalg.norm(away - np.clip(share, 0.0, 1.0)[:, None] * along, axis=1))
    return np.asarray(np.where(within, np.abs(off), np.min(sides, axis=0)), dtype=np.float64)


def _sector_angles() -> Array:
    return np.asarray((np.arange(SECTORS) + 0.5) * (2.0 * np.pi / SECTORS), dtype=np.float64)


def _by_sector(places: Array) -> tuple[Array, Array]:
    """Most occlusal height (SECTORS,) and its distance from the axis; NaN without bone.

    ``places`` (n, 3) are buccal, mesial, apical coordinates.
    """
    turn = np.arctan2(places[:, 1], places[:, 0]) % (2.0 * np.pi)
    sector = np.minimum((turn * SECTORS / (2.0 * np.pi)).astype(np.int64), SECTORS - 1)
    order = np.lexsort((places[:, 2], sector))
    found, first = np.unique(sector[order], return_index=True)
    top = places[order[first]]
    height, radius = np.full(SECTORS, np.nan), np.full(SECTORS, np.nan)
    height[found], radius[found] = top[:, 2], np.hypot(top[:, 0], top[:, 1])
    return height, radius


def _levelled(height: Array) -> Array:
    """The middle of each five neighbours, around the turn."""
    return np.asarray(np.median([np.roll(height, k) for k in (-2, -1, 0, 1, 2)], axis=0))


def _check_round(seen: BoolArray, anatomy: ToothAnatomy) -> None:
    at = np.flatnonzero(seen)
    gap = float(np.diff(at, append=at[0] + SECTORS).max()) / SECTORS if len(at) else 1.0
    if seen.mean() < _LEAST_SHARE or gap > _WIDEST_GAP:
        raise NoBoneCrestError(
            f"tooth {anatomy.tooth.fdi}: bone lines {100 * seen.mean():.0f} % of the way round the root, a gap of "
            f"{360 * gap:.0f} degrees (at least {100 * _LEAST_SHARE:.0f} %, at most {360 * _WIDEST_GAP:.0f} degrees "
            "are needed); give the whole socket, or leave the bone out."
        )
