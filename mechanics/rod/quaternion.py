"""Unit quaternions (..., 4) as (scalar, vector), many at a time."""

from __future__ import annotations

import numpy as np

from mesh_tools.arrays import Array

IDENTITY = np.array([1.0, 0.0, 0.0, 0.0])


def product(p: Array, q: Array) -> Array:
    """Hamilton product (..., 4): the rotation ``q`` first, then ``p``."""
    a, b, c, d = p[..., 0], p[..., 1], p[..., 2], p[..., 3]
    e, f, g, h = q[..., 0], q[..., 1], q[..., 2], q[..., 3]
    out = np.empty(np.broadcast_shapes(p.shape, q.shape))
    out[..., 0] = a * e - b * f - c * g - d * h
    out[..., 1] = a * f + b * e + c * h - d * g
    out[..., 2] = a * g - b * h + c * e + d * f
    out[..., 3] = a * h + b * g - c * f + d * e
    return out


def conjugate(q: Array) -> Array:
    """The opposite rotation (..., 4)."""
    return np.asarray(q * np.array([1.0, -1.0, -1.0, -1.0]))


def normalised(q: Array) -> Array:
    """The same rotation at unit length."""
    return np.asarray(q / np.sqrt(np.einsum("...i,...i->...", q, q))[..., None])


def from_vector(theta: Array) -> Array:
    """Quaternions (..., 4) of the rotation vectors ``theta`` (..., 3) in rad."""
    half = 0.5 * np.sqrt(np.einsum("...i,...i->...", theta, theta))
    scale = 0.5 * np.sinc(half / np.pi)
    return np.concatenate([np.cos(half)[..., None], scale[..., None] * theta], axis=-1)


def to_vector(q: Array) -> Array:
    """Rotation vectors (..., 3), angle at most pi; exact to rounding also for tiny angles."""
    q = np.where(q[..., :1] < 0.0, -q, q)
    sine = np.sqrt(np.einsum("...i,...i->...", q[..., 1:], q[..., 1:]))
    angle = 2.0 * np.arctan2(sine, q[..., 0])
    small = sine < 1e-12
    scale = np.where(small, 2.0, angle / np.where(small, 1.0, sine))
    return np.asarray(scale[..., None] * q[..., 1:])


def to_matrix(q: Array) -> Array:
    """Rotation matrices (..., 3, 3)."""
    w, x, y, z = q[..., 0], q[..., 1], q[..., 2], q[..., 3]
    out = np.empty((*q.shape[:-1], 3, 3))
    out[..., 0, 0] = 1.0 - 2.0 * (y * y + z * z)
    out[..., 1, 1] = 1.0 - 2.0 * (x * x + z * z)
    out[..., 2, 2] = 1.0 - 2.0 * (x * x + y * y)
    out[..., 0, 1], out[..., 1, 0] = 2.0 * (x * y - w * z), 2.0 * (x * y + w * z)
    out[..., 0, 2], out[..., 2, 0] = 2.0 * (x * z + w * y), 2.0 * (x * z - w * y)
    out[..., 1, 2], out[..., 2, 1] = 2.0 * (y * z - w * x), 2.0 * (y * z + w * x)
    return out


def turned(q: Array, v: Array) -> Array:
    """Vectors ``v`` (..., 3) turned by ``q`` (..., 4)."""
    return np.asarray(np.einsum("...ij,...j->...i", to_matrix(q), v))


def aligning(direction: Array) -> Array:
    """Quaternions (n, 4) of frames whose first axis is ``direction`` (n, 3), unit; the other two are free."""
    d = np.asarray(direction, dtype=np.float64)
    ahead = d[:, :1] >= 0.0
    near = np.where(ahead, d, -d)
    zero = np.zeros(len(d))
    short = np.stack([1.0 + near[:, 0], zero, -near[:, 2], near[:, 1]], axis=-1)
    half_turn = np.broadcast_to(np.array([0.0, 0.0, 0.0, 1.0]), short.shape)
    return normalised(np.where(ahead, short, product(short, half_turn)))
