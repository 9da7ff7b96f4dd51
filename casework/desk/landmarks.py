"""The landmarks of a case: which there are, where each lies, whether it is plausible, and its mirror image.

Coordinates are LPS mm. A doubt is one line for a person, never a refusal: the anatomy of a patient may be unusual.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from casework.bow_needs import PLAN_LANDMARKS
from casework.desk.draft import Draft
from casework.frame import treatment_rotation
from mechanics.bow.nearest_face import NearestFaces
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array, frozen, unit
from mesh_tools.errors import BadValueError, BowtrueError
from mesh_tools.surface import Surface

Group = Literal["tube", "occlusal plane", "incisors", "mouth", "strap"]


@dataclass(frozen=True)
class LandmarkKind:
    """One landmark: its key under ``landmarks``, and the key of its label in a catalogue of strings.

    ``scans``: the scans it may lie on, the likeliest first; ``from_mm`` and ``to_mm``: how far outside their surface
    its point lies. ``needed``: whether a plan cannot do without. ``many``: a list of points. ``partner``: the same
    landmark of the other side.
    """

    name: str
    group: Group
    scans: tuple[str, ...]
    from_mm: float
    to_mm: float
    side: Side | None = None
    many: bool = False
    partner: str | None = None

    @property
    def label_key(self) -> str:
        """The key of its label."""
        return f"landmark.{self.name.removesuffix('_mm')}"

    @property
    def needed(self) -> bool:
        """Whether a plan needs it."""
        return self.name in PLAN_LANDMARKS


def _paired(stem: str, group: Group, scans: Mapping[Side, tuple[str, ...]], reach: tuple[float, float]) -> tuple[
    LandmarkKind, ...
]:  # fmt: skip
    other = {"right": "left", "left": "right"}
    return tuple(
        LandmarkKind(stem.format(s), group, scans[s], *reach, side=s, partner=stem.format(other[s]))
        for s in SIDES
    )


# Reaches are our choice: a tube's axis stands off the tooth by its own wall and band, a picked point lies on the skin.
_MOLARS: dict[Side, tuple[str, ...]] = {"right": ("right_molar", "arch"), "left": ("left_molar", "arch")}
_FACE: dict[Side, tuple[str, ...]] = {"right": ("face",), "left": ("face",)}
LANDMARKS: tuple[LandmarkKind, ...] = (
    *_paired("tube_{}_mesial_mm", "tube", _MOLARS, (0.3, 5.0)),
    *_paired("tube_{}_distal_mm", "tube", _MOLARS, (0.3, 5.0)),
    LandmarkKind("occlusal_plane_mm", "occlusal plane", ("arch", "right_molar", "left_molar"), -1.5, 1.5, many=True),
    LandmarkKind("incisor_contact_mm", "incisors", ("arch",), -2.0, 2.0),
    *_paired("mouth_corner_{}_mm", "mouth", _FACE, (-3.0, 3.0)),
    *_paired("strap_{}_mm", "strap", _FACE, (-3.0, 3.0)),
    *_paired("high_strap_{}_mm", "strap", _FACE, (-3.0, 6.0)),
)  # fmt: skip
KINDS: Mapping[str, LandmarkKind] = {kind.name: kind for kind in LANDMARKS}


@dataclass(frozen=True, eq=False)
class Plane:
    """A plane through ``point_mm`` (3,) with the unit ``normal`` (3,), LPS; a midsagittal one points to the left."""

    point_mm: Array
    normal: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "point_mm", frozen(self.point_mm, (3,), name="plane point"))
        object.__setattr__(self, "normal", frozen(unit(self.normal), (3,), name="plane normal"))

    def height_mm(self, point_mm: ArrayLike) -> Array:
        """Signed distances (...) of points (..., 3)."""
        return np.asarray((np.asarray(point_mm, dtype=np.float64) - self.point_mm) @ self.normal)

    def mirrored(self, point_mm: ArrayLike) -> Array:
        """Points (..., 3) on the other side of the plane, as far away."""
        points = np.asarray(point_mm, dtype=np.float64)
        return np.asarray(points - 2.0 * self.height_mm(points)[..., None] * self.normal)


@dataclass(frozen=True, eq=False)
class Mirrored:
    """A landmark carried over from the other side: where to, how far it was moved to lie on its scan as its partner
    does, and what to tell."""

    name: str
    point_mm: Array
    moved_mm: float
    told: tuple[str, ...]


def kind_of(name: str) -> LandmarkKind:
    """The landmark ``name``; raises BadValueError for another word."""
    if name not in KINDS:
        raise BadValueError(f"unknown landmark {name!r}; known are {', '.join(KINDS)}.")
    return KINDS[name]


def point_of(draft: Draft, name: str) -> Array | None:
    """The landmark in ``draft``: (3,), or (n, 3) of the occlusal plane; None when it is not placed or not numbers."""
    try:
        points = np.asarray(draft.value(("landmarks", name)), dtype=np.float64)
    except (TypeError, ValueError):
        return None
    wanted = 2 if kind_of(name).many else 1
    fits = points.ndim == wanted and points.shape[-1] == 3 and points.size and np.isfinite(points).all()
    return points if fits else None


def missing(draft: Draft) -> tuple[str, ...]:
    """Names of the landmarks that a plan needs and ``draft`` does not have yet, in the order of placing."""
    few = {k.name: 3 if k.many else 1 for k in LANDMARKS if k.needed}
    return tuple(
        n for n, least in few.items() if (p := point_of(draft, n)) is None or len(np.atleast_2d(p)) < least
    )


def lies_on(name: str, point_mm: ArrayLike, surfaces: Mapping[str, Surface]) -> tuple[str, float] | None:
    """The scan that the landmark lies on and how far outside it (mm, negative inside); None without such a scan.

    Of several scans it is the likeliest; of the occlusal plane's, the nearest.
    """
    kind, point = kind_of(name), np.atleast_2d(np.asarray(point_mm, dtype=np.float64))
    tried = [k for k in kind.scans if k in surfaces][: None if kind.many else 1]
    gaps = {k: float(near(surfaces[k]).of(point).distance_mm[0]) for k in tried}
    return min(gaps.items(), key=lambda item: abs(item[1])) if gaps else None


def snapped(name: str, point_mm: ArrayLike, surfaces: Mapping[str, Surface]) -> Array:
    """The nearest point (3,) of the scan that the landmark lies on; ``point_mm`` itself without such a scan."""
    point = np.asarray(point_mm, dtype=np.float64)
    on = lies_on(name, point, surfaces)
    return point if on is None else np.asarray(near(surfaces[on[0]]).of(point[None]).points_mm[0])


def frame_of(draft: Draft) -> Array:
    """Rotation (3, 3) from LPS to the treatment frame; identity while the occlusal plane is not placed well enough."""
    points = point_of(draft, "occlusal_plane_mm")
    if points is None or len(points) < 3:
        return np.eye(3)
    try:
        return treatment_rotation(points)
    except BowtrueError:
        return np.eye(3)


def midsagittal(draft: Draft, *, without: str | None = None) -> Plane | None:
    """The plane half-way between the landmarks of both sides, square to the occlusal plane; None without any pair.

    It leans on all pairs but that of ``without``, the wider the more, and on the incisor contact.
    """
    kinds = [k for k in LANDMARKS if k.side == "right" and without not in (k.name, k.partner)]
    pairs = [(point_of(draft, k.name), point_of(draft, k.partner or "")) for k in kinds]
    whole = [(r, left) for r, left in pairs if r is not None and left is not None]
    if not whole:
        return None
    up = frame_of(draft)[2]
    across = np.sum([left - r for r, left in whole], axis=0)
    middles = [0.5 * (r + left) for r, left in whole]
    incisor = point_of(draft, "incisor_contact_mm")
    if incisor is not None:
        middles.append(incisor)
    return Plane(np.mean(middles, axis=0), across - (across @ up) * up)


def mirrored(
    draft: Draft, name: str, plane: Plane | None = None, *, surfaces: Mapping[str, Surface] | None = None
) -> Mirrored:
    """The landmark ``name`` from its partner on the other side, set as far off its own scan as that is off its own.

    ``plane``: of symmetry; ``midsagittal`` of the other landmarks by default. Raises BadValueError for a landmark in
    the middle, a partner that is not placed and a plane that cannot be had.
    """
    kind = kind_of(name)
    start = None if kind.partner is None else point_of(draft, kind.partner)
    if kind.partner is None:
        raise BadValueError(f"landmarks.{name}: has no other side to be taken from; place it.")
    if start is None:
        raise BadValueError(
            f"landmarks.{name}: its partner {kind.partner} is not placed yet; place it first."
        )
    mirror = plane or midsagittal(draft, without=name)
    if mirror is None:
        raise BadValueError(
            f"landmarks.{name}: no plane of symmetry yet; place another pair (mouth corners, tubes) or both by hand."
        )
    flat = mirror.mirrored(start)
    point, told = _set_off(kind, flat, start, mirror, surfaces or {})
    return Mirrored(name, frozen(point, (3,), name=name), float(np.linalg.norm(point - flat)), told)


def _set_off(
    kind: LandmarkKind, flat: Array, start: Array, mirror: Plane, surfaces: Mapping[str, Surface]
) -> tuple[Array, tuple[str, ...]]:
    """``flat`` moved so that it stands off its scan as its partner ``start`` does off its own."""
    mine = lies_on(kind.name, flat, surfaces)
    theirs = lies_on(kind.partner or "", start, surfaces)
    if mine is None:
        return flat, ("no scan to lie on: it is the mirror image alone",)
    foot = near(surfaces[mine[0]]).of(flat[None]).points_mm[0]
    if theirs is None:
        return foot, ()
    off = start - near(surfaces[theirs[0]]).of(start[None]).points_mm[0]
    turned = mirror.mirrored(mirror.point_mm + off) - mirror.point_mm
    image = near(surfaces[mine[0]]).of((flat - turned)[None]).points_mm[0]
    return image + turned, ()


@lru_cache(maxsize=12)
def near(surface: Surface) -> NearestFaces:
    """The search for nearest points of ``surface``, built once."""
    return NearestFaces(surface)
