"""Small array helpers that every layer uses: types, validation at the door, unit vectors."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mesh_tools.errors import BadShapeError, BadValueError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


def frozen(value: ArrayLike, shape: tuple[int | None, ...], *, name: str) -> Array:
    """Read-only float copy of ``value``; ``None`` in ``shape`` accepts any length.

    Raises BadShapeError for another shape and BadValueError for a NaN or an infinity.
    """
    array = np.array(value, dtype=np.float64)
    _check_shape(array, shape, name=name)
    if not np.isfinite(array).all():
        raise BadValueError(f"{name} must be finite; got {array[~np.isfinite(array)][:3].tolist()}.")
    array.setflags(write=False)
    return array


def frozen_ints(value: ArrayLike, shape: tuple[int | None, ...], *, name: str) -> IntArray:
    """Read-only int64 copy of ``value``; raises BadShapeError for another shape."""
    array = np.array(value, dtype=np.int64)
    _check_shape(array, shape, name=name)
    array.setflags(write=False)
    return array


def unit(vector: ArrayLike, *, name: str = "vector") -> Array:
    """Unit vector (3,) along ``vector``; raises BadValueError where it has no length."""
    v = np.asarray(vector, dtype=np.float64)
    length = float(np.linalg.norm(v))
    if not np.isfinite(length) or length < 1e-12:
        raise BadValueError(f"{name} must have a length; got {v.tolist()}.")
    return v / length


def skew(v: ArrayLike) -> Array:
    """Matrix (3, 3) whose product with w is the cross product v x w."""
    x, y, z = np.asarray(v, dtype=np.float64)
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


def vee(matrix: ArrayLike) -> Array:
    """Vector (3,) of the skew part of ``matrix`` (3, 3): the inverse of ``skew``."""
    m = np.asarray(matrix, dtype=np.float64)
    return 0.5 * np.array([m[2, 1] - m[1, 2], m[0, 2] - m[2, 0], m[1, 0] - m[0, 1]])


def _check_shape(array: NDArray[Any], shape: tuple[int | None, ...], *, name: str) -> None:
    fits = array.ndim == len(shape) and all(
        s is None or s == n for s, n in zip(shape, array.shape, strict=True)
    )
    if not fits:
        wanted = tuple("n" if s is None else s for s in shape)
        raise BadShapeError(f"{name} must have shape {wanted}; got {array.shape}.")
