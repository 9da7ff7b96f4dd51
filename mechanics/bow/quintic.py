"""Quintic curve pieces with given place, direction and curvature at both ends: joints of them are smooth
(G2)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array

_GAUSS_U, _GAUSS_W = np.polynomial.legendre.leggauss(16)
_GAUSS_U, _GAUSS_W = 0.5 * (_GAUSS_U + 1.0), 0.5 * _GAUSS_W


@dataclass(frozen=True, eq=False)
class CurveEnd:
    """One end of a piece: place (3,), unit direction of travel (3,) and curvature vector (3,), 1/mm."""

    point_mm: Array
    direction: Array
    curvature: Array


@dataclass(frozen=True, eq=False)
class Quintic:
    """Curve p(u) = sum of ``coefficients`` (6, 3) times u^k, u from 0 to 1."""

    coefficients: Array

    @classmethod
    def between(cls, start: CurveEnd, end: CurveEnd, *, start_speed: float, end_speed: float) -> Quintic:
        """The piece from ``start`` to ``end``; the speeds (mm per unit of u) say how far each end's
        direction reaches.

        Hermite interpolation of place, first and second derivative; the second derivative has no part along
        the curve.
        """
        v0, v1 = start_speed * start.direction, end_speed * end.direction
        a0, a1 = start_speed**2 * start.curvature, end_speed**2 * end.curvature
        gap = end.point_mm - start.point_mm
        rows = (
            start.point_mm,
            v0,
            0.5 * a0,
            10.0 * gap - 6.0 * v0 - 4.0 * v1 - 1.5 * a0 + 0.5 * a1,
            -15.0 * gap + 8.0 * v0 + 7.0 * v1 + 1.5 * a0 - a1,
            6.0 * gap - 3.0 * v0 - 3.0 * v1 - 0.5 * a0 + 0.5 * a1,
        )
        return cls(np.array(rows))

    def at(self, u: ArrayLike, *, derivative: int = 0) -> Array:
        """Derivative of that order by u, (..., 3), at parameters ``u``."""
        c = self.coefficients
        for _ in range(derivative):
            c = c[1:] * np.arange(1.0, len(c))[:, None]
        powers = np.asarray(u, dtype=np.float64)[..., None] ** np.arange(len(c))
        return np.asarray(powers @ c)

    def curvature_at(self, u: ArrayLike) -> Array:
        """Curvature vectors (..., 3) in 1/mm."""
        return _curvature(self.at(u, derivative=1), self.at(u, derivative=2))

    @cached_property
    def length_mm(self) -> float:
        """Arc length, by 16-point Gauss quadrature."""
        first = _GAUSS_ROWS @ self.coefficients
        return float(_GAUSS_W @ np.sqrt(np.einsum("ij,ij->i", first, first)))

    def end_at(self, u: float) -> CurveEnd:
        """Place, direction and curvature at ``u``."""
        first = self.at(u, derivative=1)
        return CurveEnd(self.at(u), first / np.linalg.norm(first), self.curvature_at(u))


def unevenness(piece: Quintic, *, samples: int, scale_mm: float, sharpest_mm: float) -> Array:
    """Residuals of a fair curve: the change of curvature along ``piece``, made free of units by
    ``scale_mm``, and a hundred times any excess over the curvature of a circle of radius ``sharpest_mm``.

    The curve of least curvature variation is the fair one (minimum variation curves, Moreton HP, Sequin CH
    1992 Computer Graphics 26:167-176, from memory).
    """
    first, second, between = _grid(samples) @ piece.coefficients
    bend = _curvature(first, second)
    step = np.sqrt(np.einsum("ij,ij->i", between[:-1], between[:-1])) / (samples - 1)
    change = (bend[1:] - bend[:-1]) * (scale_mm**1.5 / np.sqrt(step))[:, None]
    sharp = np.sqrt(np.einsum("ij,ij->i", bend, bend)) * sharpest_mm - 1.0
    return np.concatenate([change.ravel(), 100.0 * np.maximum(0.0, sharp)])


def _curvature(first: Array, second: Array) -> Array:
    """Curvature vectors (..., 3) from the first two derivatives by the parameter."""
    speed2 = np.einsum("...i,...i->...", first, first)[..., None]
    along = np.einsum("...i,...i->...", first, second)[..., None]
    return np.asarray((second - first * (along / speed2)) / speed2)


def _powers(u: Array, derivative: int) -> Array:
    """Rows (n, 6) that take coefficients to the derivative of that order at ``u`` (n,)."""
    k = np.arange(6.0)
    factor = np.ones(6)
    for d in range(derivative):
        factor *= np.maximum(k - d, 0.0)
    return np.asarray(factor * u[:, None] ** np.maximum(k - derivative, 0.0))


@lru_cache(maxsize=8)
def _grid(samples: int) -> Array:
    """Rows (3, n, 6): first and second derivative at n even parameters, first derivative between them
    (last unused)."""
    u = np.linspace(0.0, 1.0, samples)
    between = np.append(0.5 * (u[1:] + u[:-1]), 1.0)
    return np.stack([_powers(u, 1), _powers(u, 2), _powers(between, 1)])


_GAUSS_ROWS = _powers(_GAUSS_U, 1)
