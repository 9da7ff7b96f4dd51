"""Elastic foundation: every facet of the supported root a normal and a tangential spring at its centroid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mechanics.ligament.facets import Facets, facets_of
from mesh_tools.arrays import Array, IntArray


@dataclass(frozen=True, eq=False)
class UnitStiffness:
    """Stiffness about the origin per unit spring: ``normal`` and ``shear``, each (..., 6, 6), mm2, mm3, mm4.

    K = k_n normal + k_t shear, and both add over facets.
    """

    normal: Array
    shear: Array

    def stiffness(self, *, k_normal: ArrayLike, k_shear: ArrayLike) -> Array:
        """K (..., 6, 6) for spring constants per area that broadcast against the leading shape."""
        normal, shear = np.asarray(k_normal)[..., None, None], np.asarray(k_shear)[..., None, None]
        return np.asarray(normal * self.normal + shear * self.shear)


def foundation_stiffness(points_mm: ArrayLike, faces: ArrayLike, *, k_normal: float, k_shear: float) -> Array:
    """Stiffness (6, 6) about the origin of the frame: N, N mm against mm, rad.

    ``points_mm`` (n, 3), ``faces`` (m, 3) of point indices; ``k_normal`` and ``k_shear`` in N/mm per mm2. A facet of
    area a and normal n adds a (k_n n n' + k_t (1 - n n')) at its centroid. The winding does not matter.
    Raises what ``facets_of`` raises.
    """
    return unit_stiffness(facets_of(points_mm, faces)).stiffness(k_normal=k_normal, k_shear=k_shear)


def unit_stiffness(facets: Facets) -> UnitStiffness:
    """The two unit stiffnesses of all ``facets`` together."""
    arms = facets.arms
    normal = (arms.T * facets.areas_mm2) @ arms
    return UnitStiffness(normal, isotropic_stiffness(facets.centres_mm, facets.areas_mm2) - normal)


def binned_unit_stiffness(facets: Facets, bins: IntArray, *, n_bins: int) -> UnitStiffness:
    """The unit stiffnesses of the facets in each bin, (n_bins, 6, 6); ``bins`` (m,) holds each facet's bin."""
    arms, centre, area = facets.arms, facets.centres_mm, facets.areas_mm2
    normal = _binned_squares(arms, area, bins, n_bins)
    moment = _binned_squares(np.hstack([np.ones((len(area), 1)), centre]), area, bins, n_bins)
    full = np.zeros((n_bins, 6, 6))
    full[:, :3, :3] = moment[:, 0, 0, None, None] * np.eye(3)
    full[:, :3, 3:] = _arm(moment[:, 0, 1:])
    full[:, 3:, :3] = full[:, :3, 3:].swapaxes(1, 2)
    second = moment[:, 1:, 1:]
    full[:, 3:, 3:] = np.trace(second, axis1=1, axis2=2)[:, None, None] * np.eye(3) - second
    return UnitStiffness(normal, full - normal)


def isotropic_stiffness(points_mm: Array, weights: Array) -> Array:
    """Stiffness (6, 6) about the origin of equal springs in every direction, of ``weights`` (m,) at ``points_mm``."""
    total, first = weights.sum(), weights @ points_mm
    second = (points_mm.T * weights) @ points_mm
    arm = _arm(first)
    inertia = np.trace(second) * np.eye(3) - second
    return np.block([[total * np.eye(3), arm], [arm.T, inertia]])


def _arm(first: Array) -> Array:
    """Minus the cross-product matrix of ``first`` (..., 3)."""
    x, y, z = np.moveaxis(first, -1, 0)
    zero = np.zeros_like(x)
    return np.stack(
        [np.stack(row, axis=-1) for row in ((zero, z, -y), (-z, zero, x), (y, -x, zero))], axis=-2
    )


def _binned_squares(rows: Array, weights: Array, bins: IntArray, n_bins: int) -> Array:
    """Sum over each bin of weight x row x row', (n_bins, k, k)."""
    size = rows.shape[1]
    out = np.zeros((n_bins, size, size))
    for i, j in zip(*np.triu_indices(size), strict=True):
        out[:, i, j] = out[:, j, i] = np.bincount(bins, weights * rows[:, i] * rows[:, j], minlength=n_bins)
    return out
