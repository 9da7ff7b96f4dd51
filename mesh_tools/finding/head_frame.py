"""The own frame of a head: its plane of symmetry, and up and front from its profile.

The profile is the outermost line of the section with the plane of symmetry. The nose is where it turns most. The line
that touches forehead and lips or chin with the nose left out runs about upright; up is along it, front square to it.
The scan's axes need only be right within about 45 degrees.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull, cKDTree

from mesh_tools.arrays import Array, frozen, unit
from mesh_tools.cut import level_curve
from mesh_tools.finding.mirror_plane import MirrorPlane, best_plane, best_starts
from mesh_tools.finding.record import NotFoundError
from mesh_tools.registration.samples import Samples, sampled
from mesh_tools.surface import Surface

SAMPLES = 60_000
_COARSE, _FINE = 350, 4000
_ABOUT_DEG, _STEP_DEG = 48.0, 8.0
_TOP_TO_CENTRE = 95.0
_BIN_DEG = 1.0
_NOSE_CHORD_MM, _NOSE_WITHIN_DEG, _NOSE_HALF_MM = 22.0, 75.0, 26.0
_HOLLOW_CHORD_MM, _BELOW_MM, _ABOVE_MM, _LEAST_HOLLOW_DEG = 9.0, (8.0, 32.0), (20.0, 75.0), 8.0
_PASSES, _SPACING_MM = 3, 0.7
_LEANS_DEG = (0.0, 25.0, -25.0)
_CHIN_MM = (35.0, 110.0)  # from nose to chin along the profile
_LEAST_TURN_DEG = 45.0
_FACE_MM = 130.0


@dataclass(frozen=True, eq=False)
class HeadFrame:
    """``axes`` (3, 3): rows left, back, up in the scan's frame; ``origin_mm`` (3,): the tip of the nose, on the plane
    of symmetry. ``profile_mm`` (n, 2): back and up from the nose, from the nape over the crown to the chin and neck.

    ``nose``: index of the tip in it. ``nose_turn_deg``: how much the profile turns there.
    """

    axes: Array
    origin_mm: Array
    mirror: MirrorPlane
    profile_mm: Array
    nose: int
    nose_turn_deg: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "axes", frozen(self.axes, (3, 3), name="axes"))
        object.__setattr__(self, "origin_mm", frozen(self.origin_mm, (3,), name="origin_mm"))
        object.__setattr__(self, "profile_mm", frozen(self.profile_mm, (None, 2), name="profile_mm"))

    def to_head(self, points: Array) -> Array:
        """Points (n, 3) of the scan's frame in the head's: left, back, up."""
        return np.asarray((points - self.origin_mm) @ self.axes.T)

    def to_scan(self, points: Array) -> Array:
        """Points (n, 3) of the head's frame in the scan's."""
        return np.asarray(points @ self.axes + self.origin_mm)


def head_frame(surface: Surface, samples: Samples | None = None) -> HeadFrame:
    """The frame of the head ``surface`` (LPS within about 45 degrees, mm, normals outward). Raises NotFoundError."""
    spread = sampled(surface, SAMPLES) if samples is None else samples
    mirror = head_mirror(spread)
    section = _section(surface, mirror)
    up, front = _best_lean(section, mirror.normal)
    for _ in range(_PASSES):
        outline = outer_profile(np.stack([section @ front, section @ up], axis=1))
        nose, turn, score = _nose(outline)
        if score < 0.0:
            raise NotFoundError(
                "face: no nose stands out on the profile; check the axes code of the scan (it need only be right "
                "within about 30 degrees), or give the landmarks by hand."
            )
        lean = _facial_line(outline, nose)
        turned = np.array([[lean[1], -lean[0]], lean])  # rows front, up
        tip = outline[nose, 0] * front + outline[nose, 1] * up + mirror.offset_mm * mirror.normal
        profile = (outline - outline[nose]) @ turned.T * [-1.0, 1.0]
        front, up = turned @ np.stack([front, up])
    rows = np.stack([np.cross(-front, up), -front, up])
    return HeadFrame(rows, tip, mirror, profile, nose, turn)


def _best_lean(section: Array, normal: Array) -> tuple[Array, Array]:
    """Up and front (3,) in the plane with ``normal``: as the scan's axes say, or leaning where no nose shows so."""
    up, front = _in_plane(normal)
    for lean in np.radians(_LEANS_DEG):
        ways = np.cos(lean) * up + np.sin(lean) * front, np.cos(lean) * front - np.sin(lean) * up
        if _nose(outer_profile(np.stack([section @ ways[1], section @ ways[0]], axis=1)))[2] >= 0.0:
            return ways
    return up, front


def _section(surface: Surface, mirror: MirrorPlane) -> Array:
    """Points (n, 3) about ``_SPACING_MM`` apart where the plane of symmetry cuts the surface."""
    curves = level_curve(surface, surface.points_mm @ mirror.normal - mirror.offset_mm)
    return np.concatenate([_resampled(c) for c in curves]) if curves else np.zeros((0, 3))


def length_along(line: Array) -> Array:
    """Arc length (n,) from the first point of ``line`` (n, d)."""
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])


def _resampled(curve: Array) -> Array:
    length = length_along(curve)
    at = np.arange(0.0, max(length[-1], 1e-9), _SPACING_MM)
    return np.stack([np.interp(at, length, curve[:, k]) for k in range(3)], axis=1)


def head_mirror(spread: Samples) -> MirrorPlane:
    """The plane of symmetry whose normal is within about 45 degrees of x."""
    step = max(len(spread.points_mm) // _FINE, 1)
    points, normals = spread.points_mm[::step], spread.normals[::step]
    few = points[:: max(len(points) // _COARSE, 1)]
    tries = np.radians(np.arange(-_ABOUT_DEG, _ABOUT_DEG + 1.0, _STEP_DEG))
    yaw, roll = (a.ravel() for a in np.meshgrid(tries, tries))
    ways = np.stack([np.cos(yaw) * np.cos(roll), np.sin(yaw) * np.cos(roll), np.sin(roll)], axis=1)
    tree = cKDTree(points[::3])
    starts = best_starts(few, tree, ways, reach_mm=24.0, step_mm=8.0)
    spacing = spread.spacing_mm * float(np.sqrt(step))
    found = best_plane(points, normals, starts, spacing_mm=spacing)
    normal = found.normal * np.sign(found.normal[0] or 1.0)
    return MirrorPlane(
        normal, found.offset_mm * float(np.sign(found.normal @ normal)), found.residual_mm, found.share
    )


def _in_plane(normal: Array) -> tuple[Array, Array]:
    """Up and front (3,) in the plane, as the scan's axes say."""
    up = unit(np.array([0.0, 0.0, 1.0]) - normal[2] * normal)
    front = np.cross(normal, up)
    return up, front * np.sign(-front[1] or 1.0)


def outer_profile(flat: Array) -> Array:
    """Outermost points (k, 2) by angle of ``flat`` (n, 2: front, up) about the middle of the skull.

    From behind and below over the crown to the front and below.
    """
    top = flat[:, 1].max()
    level = flat[np.abs(flat[:, 1] - (top - _TOP_TO_CENTRE)) < 15.0]
    if len(level) < 10:
        raise NotFoundError(
            "face: the scan is not a head with skull and face (nothing 95 mm below its top); check unit and axes."
        )
    centre = np.array([0.5 * (level[:, 0].min() + level[:, 0].max()), top - _TOP_TO_CENTRE])
    arm = flat - centre
    turn = np.degrees(np.arctan2(-arm[:, 0], -arm[:, 1]))  # 0 straight down, growing to the back
    turn = np.where(turn < 0.0, turn + 360.0, turn)
    far = np.linalg.norm(arm, axis=1)
    row = np.minimum((turn / _BIN_DEG).astype(int), int(360 / _BIN_DEG) - 1)
    order = np.argsort(far, kind="stable")
    best = np.full(int(360 / _BIN_DEG), -1)
    best[row[order]] = order
    found = flat[best[best >= 0]]
    return _smooth(found)


def _smooth(line: Array) -> Array:
    """Three-point mean along the line, its ends kept."""
    inner = (line[:-2] + line[1:-1] + line[2:]) / 3.0
    return np.concatenate([line[:1], inner, line[-1:]])


def turning(line: Array, *, chord_mm: float) -> Array:
    """Angle (n,) in degrees by which ``line`` (n, 2) turns at each point, seen from ``chord_mm`` before and after it
    along it; positive where it is convex for a line that runs clockwise seen with front to the right and up upward."""
    length = length_along(line)
    before = np.stack([np.interp(length - chord_mm, length, line[:, k]) for k in range(2)], axis=1)
    after = np.stack([np.interp(length + chord_mm, length, line[:, k]) for k in range(2)], axis=1)
    a, b = line - before, after - line
    bend = np.degrees(np.arctan2(-(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]), (a * b).sum(axis=1)))
    inner = (length > chord_mm) & (length < length[-1] - chord_mm)
    return np.where(inner, bend, 0.0)


def _nose(outline: Array) -> tuple[int, float, float]:
    """Index of the tip of the nose, how much the profile turns there in degrees, and a score, negative for no nose.

    A nose is convex and, unlike a chin or a cut edge, hollow soon below it and above it.
    """
    bend, fine = (turning(outline, chord_mm=c) for c in (_NOSE_CHORD_MM, _HOLLOW_CHORD_MM))
    arm = outline - outline.mean(axis=0)
    ahead = np.degrees(np.abs(np.arctan2(arm[:, 1], arm[:, 0]))) < _NOSE_WITHIN_DEG
    below = _hollow(outline, fine, _BELOW_MM, 1.0)
    above = _hollow(outline, fine, _ABOVE_MM, -1.0)
    fits = ahead & (bend > _LEAST_TURN_DEG) & (below > _LEAST_HOLLOW_DEG)
    score = np.where(fits, bend + 1.5 * below + 0.5 * above, -1.0)
    at = int(score.argmax())
    before = length_along(outline)[at] - length_along(outline)
    upper = np.where((before > _CHIN_MM[0]) & (before < _CHIN_MM[1]), score, -1.0)
    if upper.max() > 0.4 * score[at] > 0.0:  # what was found is the chin: the nose is above it
        at = int(upper.argmax())
    return at, float(bend[at]), float(score[at])


def _hollow(outline: Array, bend: Array, reach: tuple[float, float], way: float) -> Array:
    """How much (n,) degrees, up to 40, the profile turns inward within ``reach`` mm along it after each point."""
    length = length_along(outline)
    apart = way * (length[None, :] - length[:, None])
    inside = (apart > reach[0]) & (apart < reach[1])
    return np.asarray(np.clip(np.where(inside, -bend[None, :], 0.0).max(axis=1), 0.0, 40.0))


def _facial_line(outline: Array, nose: int) -> Array:
    """Unit vector (2,), up, of the line that touches the face above and below the nose."""
    away = np.linalg.norm(outline - outline[nose], axis=1)
    rest = outline[(away > _NOSE_HALF_MM) & (away < _FACE_MM)]
    hull = rest[ConvexHull(rest).vertices]
    edge = np.roll(hull, -1, axis=0) - hull
    out = np.stack([edge[:, 1], -edge[:, 0]], axis=1)  # hull runs anticlockwise
    above = (out * (outline[nose] - hull)).sum(axis=1) / np.maximum(np.linalg.norm(edge, axis=1), 1e-9)
    length = np.linalg.norm(edge, axis=1)
    above = np.where(length > 15.0, above, -np.inf)
    found = edge[int(above.argmax())]
    found = found / np.linalg.norm(found)
    return np.asarray(found * np.sign(found[1] or 1.0))
