"""A strap held where it lies: the taut line in the plane of both hooks and one place at the back.

Skin and pad grip each other, so a strap laid level round the nape (or a cap sewn to stay on the crown) does not slide
to the shortest path of all. Seen from the side it runs straight from the hook to its place at the back; in that plane
it is taut: the convex outline of the skin's cut. How much grip that needs is told by ``grip_needed``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mechanics.strap.bed import Bed
from mechanics.strap.hull import hull_places
from mechanics.strap.tauten import Taut, on_bed
from mesh_tools.arrays import Array, IntArray
from mesh_tools.errors import NoAnswerError

_TURNS = 6


@dataclass(frozen=True, eq=False)
class Plane:
    """Height over the fan's zero plane: ``slope`` (2,) along left and back, ``rise`` mm at its origin."""

    slope: Array
    rise: float

    @classmethod
    def through(cls, ends: Array, back: Array) -> Plane:
        """The plane through both hooks, ``ends`` (2, 3), and ``back`` (3,), fan axes."""
        three = np.concatenate([ends, back[None]])
        a, b, c = np.linalg.solve(np.column_stack([three[:, :2], np.ones(3)]), three[:, 2])
        return cls(np.array([a, b]), float(c))


def held_taut(bed: Bed, ends: Array, back: Array) -> Taut:
    """The taut line between ``ends`` (2, 3) in their plane with ``back`` (3,), fan axes.

    Raises NoAnswerError when it touches no skin.
    """
    between, points = _cut(bed, ends, Plane.through(ends, back))
    places = hull_places(np.concatenate([ends[:1], points, ends[1:]])[:, :2])[1:-1] - 1
    if not len(places):
        raise NoAnswerError("the strap touches no skin between the hooks; check the hooks and the skin.")
    k, points = between[places], points[places]
    steps = np.diff(np.concatenate([ends[:1], points, ends[1:]]), axis=0)
    along = steps / np.linalg.norm(steps, axis=1, keepdims=True)
    press = np.linalg.norm(np.diff(along, axis=0), axis=1)
    return Taut(k, points[:, 2], points, press)


def held_leaving(bed: Bed, ends: Array, back: Array) -> tuple[Array, Array]:
    """Leaving points (2, 3), right and left, and how they move with the hooks (2, 3, 2, 3), fan axes.

    As ``held_taut`` without the line between: the outline's farthest turn seen from each hook.
    """
    plane = Plane.through(ends, back)
    between, points = _cut(bed, ends, plane)
    if not len(between):
        raise NoAnswerError("the strap touches no skin between the hooks; check the hooks and the skin.")
    last = np.array([_outermost(points, ends[0], 1.0), _outermost(points, ends[1], -1.0)])
    return points[last], _moves(bed, ends, back, plane, between[last], points[last])


def grip_needed(bed: Bed, ends: Array, taut: Taut) -> float:
    """Greatest share of the contact force that has to hold the strap from sliding across itself: the coefficient of
    friction it needs. Summed over the strap's width, so that single turns of the mesh do not count."""
    path = np.concatenate([ends[:1], taut.points, ends[1:]])
    steps = np.diff(path, axis=0)
    along = steps / np.linalg.norm(steps, axis=1, keepdims=True)
    turn = along[:-1] - along[1:]
    normal = _normals(bed, taut)
    into = np.sum(turn * normal, axis=1)
    sideways = turn - into[:, None] * normal
    place = np.concatenate([[0.0], np.cumsum(np.linalg.norm(steps[1:-1], axis=1))])
    near = np.abs(place[:, None] - place) <= 0.5 * bed.width_mm
    pressing = near @ into
    return float(np.max(np.linalg.norm(near @ sideways, axis=1) / np.maximum(pressing, 1e-12)))


def _normals(bed: Bed, taut: Taut) -> Array:
    """Outward normals (n, 3) of the bed at the touching points, by differences over neighbouring half-planes."""
    last = len(bed.fan.angles) - 1
    ahead, behind = np.minimum(taut.k + 1, last), np.maximum(taut.k - 1, 0)
    across = on_bed(bed, ahead, taut.height_mm) - on_bed(bed, behind, taut.height_mm)
    _, d1, _ = bed.at(taut.k, taut.height_mm)
    angle = bed.fan.angles[taut.k]
    up = np.stack([d1 * np.sin(angle), d1 * np.cos(angle), np.ones_like(d1)], axis=1)
    normal = np.cross(up, across)
    return np.asarray(normal / np.linalg.norm(normal, axis=1, keepdims=True))


def _cut(bed: Bed, ends: Array, plane: Plane) -> tuple[IntArray, Array]:
    """Outline (n, 3) of the bed's cut with ``plane`` in the half-planes (n,) between the hooks'."""
    right, left = np.arctan2(ends[:, 0], ends[:, 1])
    angles = bed.fan.angles
    k = np.flatnonzero((angles > right + 1e-6) & (angles < left - 1e-6))
    slope = plane.slope[0] * np.sin(angles[k]) + plane.slope[1] * np.cos(angles[k])
    height = np.full(len(k), plane.rise)
    for _ in range(_TURNS):
        reach, d1, _ = bed.at(k, height)
        wanting = plane.rise + slope * reach - height
        if np.abs(wanting).max(initial=0.0) < 1e-10:
            break
        height = height + wanting / np.maximum(1.0 - slope * d1, 0.2)
    return k, on_bed(bed, k, height)


def _outermost(points: Array, hook: Array, turn: float) -> int:
    """Place of the outline's point that lies farthest outside, seen from ``hook``; ``turn`` +1 right, -1 left."""
    away = points[:, :2] - hook[:2]
    middle = np.array([-hook[0], -hook[1]])
    across = turn * (middle[0] * away[:, 1] - middle[1] * away[:, 0])
    forward = away @ middle
    return int(np.argmax(np.arctan2(across, forward)))


def _moves(bed: Bed, ends: Array, back: Array, plane: Plane, k: IntArray, points: Array) -> Array:
    """Derivatives (2, 3, 2, 3): the hook tilts the plane, and the point slides along its own half-plane's profile."""
    three = np.concatenate([ends, back[None]])
    flat = np.column_stack([three[:, :2], np.ones(3)])
    weight = np.linalg.solve(flat.T, np.column_stack([points[:, :2], np.ones(2)]).T)[:2]  # hook, point
    across = np.array([-plane.slope[0], -plane.slope[1], 1.0])
    _, d1, _ = bed.at(k, points[:, 2])
    s, c = np.sin(bed.fan.angles[k]), np.cos(bed.fan.angles[k])
    along = plane.slope[0] * s + plane.slope[1] * c
    rise = weight / (1.0 - along * d1)
    tangent = np.stack([d1 * s, d1 * c, np.ones(2)], axis=1)
    return np.asarray(np.einsum("pi,hp,j->pihj", tangent, rise, across))
