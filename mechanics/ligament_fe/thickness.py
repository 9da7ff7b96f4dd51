"""Ligament thickness at the points of the root: hour-glass along the root, or the distance to a bone socket."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from mechanics.ligament_fe.offset import offset_directions
from mesh_tools.arrays import Array, frozen, frozen_ints, unit
from mesh_tools.errors import BadValueError

_CANDIDATES = 32
_MOST_MISSES = 0.3


def hour_glass_thickness(
    points_mm: ArrayLike, *, apical: ArrayLike, middle_mm: float = 0.16, ends_mm: float = 0.26
) -> Array:
    """Thickness (n,), mm: ``middle_mm`` half-way down the root, a parabola up to ``ends_mm`` at crest and apex.

    ``apical`` (3,) points from crest to apex. The shape (thinnest at mid-root) is that of E. D. Coolidge, J Am Dent
    Assoc 24 (1937) 1260 (from memory); the default widths are an assumption that keeps his mean of about 0.2 mm.
    Raises BadValueError unless 0 < middle <= ends.
    """
    if not 0.0 < middle_mm <= ends_mm:
        raise BadValueError(
            f"the ligament must be thinnest at mid-root; got middle {middle_mm:g}, ends {ends_mm:g} mm."
        )
    height = frozen(points_mm, (None, 3), name="points_mm") @ unit(apical, name="apical")
    depth = (height - height.min()) / max(float(np.ptp(height)), 1e-12)
    return np.asarray(middle_mm + (ends_mm - middle_mm) * (2.0 * depth - 1.0) ** 2)


def thickness_from_socket(
    points_mm: ArrayLike,
    faces: ArrayLike,
    socket_points_mm: ArrayLike,
    socket_faces: ArrayLike,
    *,
    longest_mm: float = 1.0,
) -> Array:
    """Thickness (n,), mm, so that the offset of the root meets the wall of the bone socket.

    Measured from each point along its outward normal to the socket's faces (T. Moeller, B. Trumbore, J Graphics Tools 2
    (1997) 21); points whose line meets no face within ``longest_mm``, such as those above the socket's rim, take the
    value of the nearest point that has one. Raises BadValueError when more than 30 % of the points have none.
    """
    points = frozen(points_mm, (None, 3), name="points_mm")
    corners = frozen_ints(faces, (None, 3), name="faces")
    socket = frozen(socket_points_mm, (None, 3), name="socket_points_mm")[
        frozen_ints(socket_faces, (None, 3), name="socket_faces")
    ]
    direction = offset_directions(points, corners)
    thickness = _first_hits(points, direction, socket, longest_mm=longest_mm)
    hit = np.isfinite(thickness)
    if hit.mean() < 1.0 - _MOST_MISSES:
        raise BadValueError(
            f"the bone socket must surround the root; {100 * (1 - hit.mean()):.0f} % of the root's points meet no bone "
            f"within {longest_mm:g} mm; check that both are in the same frame and units."
        )
    _, nearest = cKDTree(points[hit]).query(points[~hit])
    thickness[~hit] = thickness[hit][nearest]
    return thickness


def _first_hits(points: Array, direction: Array, socket: Array, *, longest_mm: float) -> Array:
    """Multiples (n,) of ``direction`` at which lines from the points first meet a face (m, 3, 3); inf for none."""
    count = min(_CANDIDATES, len(socket))
    _, near = cKDTree(socket.mean(axis=1)).query(points, k=range(1, count + 1))
    a, b, c = np.moveaxis(socket[near], 2, 0)
    along = np.broadcast_to(direction[:, None, :], a.shape)
    cross = np.cross(along, c - a)
    determinant = np.einsum("nkx,nkx->nk", b - a, cross)
    start = points[:, None, :] - a
    with np.errstate(divide="ignore", invalid="ignore"):
        first = np.einsum("nkx,nkx->nk", start, cross) / determinant
        turned = np.cross(start, b - a)
        second = np.einsum("nkx,nkx->nk", along, turned) / determinant
        distance = np.einsum("nkx,nkx->nk", c - a, turned) / determinant
        inside = (first >= -1e-9) & (second >= -1e-9) & (first + second <= 1.0 + 1e-9)
    hit = inside & (distance > 1e-6) & (distance <= longest_mm)
    return np.asarray(np.where(hit, distance, np.inf).min(axis=1))
