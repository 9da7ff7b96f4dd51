"""The face, head and neck of an invented child of ten as an implicit surface.

LPS mm, origin between the edges of the upper central incisors, head upright. Sizes aim at the medians for 10-11
years (Snyder et al. 1977, UM-HSRI-77-17: bizygomatic 122-124, head breadth 143-145, mouth breadth 40-41, face
height 98-100 mm) and a neck of 27.5-28.5 cm (primary-school girls and boys, Turkay and Kabaran 2022, BMC Pediatr).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from demo_meshes.implicit import Field, ellipsoid, smooth_max, smooth_min
from mesh_tools.arrays import Array

STOMION_Z_MM = 2.5
NECK_TOP = np.array([0.0, 88.0, 0.0])
NECK_FOOT = np.array([0.0, 114.0, -110.0])
NECK_HALF_MM = (43.0, 45.0)
BASE_Z_MM = -98.0
"""Where the neck is cut off and capped."""
BOX = ((-86.0, -40.0, -104.0), (86.0, 190.0, 168.0))


@dataclass(frozen=True)
class Blob:
    """An ellipsoid of the head: centre (x is mirrored to the other side too), half axes, width of its fillet."""

    centre: tuple[float, float, float]
    half: tuple[float, float, float]
    blend_mm: float


# Skull, brow, cheek bones, cheeks, jaw and its angle, chin, shoulder slope; drawn by eye to the sizes above.
_BLOBS = (
    Blob((0.0, 86.0, 84.0), (69.9, 91.0, 72.0), 0.0),
    Blob((0.0, 96.0, 58.0), (62.0, 72.0, 52.0), 25.0),
    Blob((0.0, 42.0, 22.0), (44.0, 50.0, 58.0), 22.0),
    Blob((0.0, 8.0, 76.0), (34.0, 14.0, 13.0), 14.0),
    Blob((35.4, 38.0, 33.0), (15.0, 33.0, 17.0), 22.0),
    Blob((26.0, 24.0, 6.0), (17.5, 22.0, 24.0), 16.0),
    Blob((0.0, 36.0, -8.0), (40.0, 40.0, 26.0), 14.0),
    Blob((31.0, 62.0, 0.0), (11.5, 18.0, 22.0), 18.0),
    Blob((0.0, 5.0, -24.5), (16.0, 11.0, 10.5), 13.0),
    Blob((0.0, 7.0, 11.0), (19.0, 18.0, 12.0), 9.0),
    Blob((0.0, 128.0, -136.0), (105.0, 55.0, 50.0), 34.0),
)


def head_field() -> Field:
    """The head and neck, capped at the base of the neck; a slight lack of symmetry is worked in."""

    def field(p: Array) -> Array:
        q = np.column_stack([np.abs(_unwarped(p)), p[:, 1], p[:, 2]])
        body = _bulk(q)
        body = _eyes(q, body)
        body = _nose(q, body)
        body = _mouth(q, body)
        body = smooth_min(body, _ear(q), blend_mm=2.5)
        return smooth_max(body, BASE_Z_MM - p[:, 2], blend_mm=2.0)

    return field


def _unwarped(p: Array) -> Array:
    return np.asarray(p[:, 0] - 0.8 * np.sin(p[:, 2] / 45.0 + 0.6) + 0.4)


def _bulk(q: Array) -> Array:
    body = ellipsoid(q, centre=_BLOBS[0].centre, half=_BLOBS[0].half)
    for blob in _BLOBS[1:]:
        body = smooth_min(body, ellipsoid(q, centre=blob.centre, half=blob.half), blend_mm=blob.blend_mm)
    return smooth_min(body, _neck(q), blend_mm=16.0)


def _neck(q: Array) -> Array:
    axis = (NECK_FOOT - NECK_TOP) / np.linalg.norm(NECK_FOOT - NECK_TOP)
    along = (q - NECK_TOP) @ axis
    across = np.cross(axis, [1.0, 0.0, 0.0])
    u, v = q[:, 0] / NECK_HALF_MM[0], ((q - NECK_TOP) @ across) / NECK_HALF_MM[1]
    wall = (np.hypot(u, v) - 1.0) * np.sqrt(NECK_HALF_MM[0] * NECK_HALF_MM[1])
    return smooth_max(wall, -along - 6.0, blend_mm=20.0)


def _string(q: Array, path: Array, radius: Array) -> Array:
    """Field of a string of balls: centres (m, 3) and radii (m,)."""
    value = np.full(len(q), 50.0)
    low, high = path.min(axis=0) - radius.max() - 12.0, path.max(axis=0) + radius.max() + 12.0
    near = ((q > low) & (q < high)).all(axis=1)
    away = np.linalg.norm(q[near][:, None, :] - path[None], axis=2) - radius
    value[near] = away.min(axis=1)
    return value


def _eyes(q: Array, body: Array) -> Array:
    socket = ellipsoid(q, centre=(29.0, -9.0, 53.0), half=(15.0, 9.0, 8.0))
    body = smooth_max(body, -socket, blend_mm=10.0)
    ball = ellipsoid(q, centre=(29.5, 11.0, 53.5), half=(15.0, 11.5, 10.0))
    body = smooth_min(body, ball, blend_mm=5.0)
    x = np.linspace(-11.0, 11.5, 30)
    z = 50.6 - 1.7 * (1.0 - (x / 11.5) ** 2)
    y = 11.0 - 11.5 * np.sqrt(np.maximum(1.0 - (x / 15.0) ** 2 - ((z - 53.5) / 10.0) ** 2, 0.05))
    slit = _string(q, np.column_stack([29.5 + x, y, z]), np.full(30, 0.9))
    return smooth_max(body, -slit, blend_mm=1.6)


def _nose(q: Array, body: Array) -> Array:
    t = np.linspace(0.0, 1.0, 26)
    ridge = np.column_stack([0 * t, -1.5 - 19.0 * t**1.25 + 1.5 * np.sin(np.pi * t), 63.0 - 34.5 * t])
    body = smooth_min(body, _string(q, ridge, 5.5 + 2.2 * t**2), blend_mm=10.0)
    body = smooth_min(body, ellipsoid(q, centre=(9.6, -12.5, 25.8), half=(5.4, 8.0, 5.8)), blend_mm=6.0)
    body = smooth_min(body, ellipsoid(q, centre=(0.0, -15.0, 22.8), half=(3.4, 9.0, 4.0)), blend_mm=3.0)
    nostril = ellipsoid(q, centre=(6.3, -16.0, 20.6), half=(2.6, 4.6, 3.6))
    return smooth_max(body, -nostril, blend_mm=2.0)


def _mouth(q: Array, body: Array) -> Array:
    x = np.linspace(0.0, 20.0, 24)
    inward = (x / 20.0) ** 2
    upper = np.column_stack(
        [x, -7.6 + 6.6 * inward, STOMION_Z_MM + 3.6 * (1 - inward) + 0.7 * np.sin(np.pi * x / 20.0)]
    )
    lower = np.column_stack([x, -6.4 + 5.6 * inward, STOMION_Z_MM - 4.2 * (1 - inward)])
    body = smooth_min(body, _string(q, upper, 4.4 - 2.6 * inward), blend_mm=4.5)
    body = smooth_min(body, _string(q, lower, 4.9 - 3.1 * inward), blend_mm=4.5)
    line = np.column_stack([x, -11.6 + 6.4 * inward, np.full(24, STOMION_Z_MM) - 0.6 * inward])
    body = smooth_max(body, -_string(q, line, 1.5 - 0.3 * inward), blend_mm=2.4)
    fold = np.column_stack([x * 0.55, -9.2 + 3.0 * inward, np.full(24, -10.5)])
    body = smooth_max(body, -_string(q, fold, np.full(24, 1.6)), blend_mm=5.0)
    z = np.linspace(9.0, 18.0, 8)
    groove = np.column_stack([0 * z, np.linspace(-14.0, -13.6, 8), z])
    return smooth_max(body, -_string(q, groove, np.full(8, 1.0)), blend_mm=3.5)


def _ear(q: Array) -> Array:
    """Auricle: a tilted disc standing off the head, hollowed in front, with a lobe."""
    tilt, out = np.radians(12.0), np.radians(18.0)
    d = q - np.array([68.0, 95.0, 40.0])
    y = d[:, 1] * np.cos(tilt) + d[:, 2] * np.sin(tilt)
    z = d[:, 2] * np.cos(tilt) - d[:, 1] * np.sin(tilt)
    x = d[:, 0] * np.cos(out) - y * np.sin(out)
    y = d[:, 0] * np.sin(out) + y * np.cos(out)
    r = np.column_stack([x, y, z])
    narrow = 1.0 + 0.006 * np.maximum(-z, 0.0)
    disc = ellipsoid(
        r * np.column_stack([np.ones(len(r)), narrow, np.ones(len(r))]),
        centre=(0, 0, 0),
        half=(4.8, 15.5, 25.0),
    )
    hollow = ellipsoid(r, centre=(4.5, -1.5, 2.0), half=(4.0, 10.0, 17.0))
    concha = ellipsoid(r, centre=(3.0, -4.0, -4.0), half=(5.0, 6.5, 8.5))
    return smooth_max(smooth_max(disc, -hollow, blend_mm=2.5), -concha, blend_mm=2.0)
