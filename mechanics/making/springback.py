"""Springback of a round wire bent under pliers: elastic, perfectly plastic bending of a solid circular
section.

With s = k_y / k <= 1 and the yield curvature k_y = 2 sigma_y / (E d), the moment is M / M_p = (3/8) asin(s)
/ s + (5/8 - s^2 / 4) sqrt(1 - s^2), M_p = sigma_y d^3 / 6, and the curvature that stays is k_r = k - M / (E
I), that is k_r / k = 1 - (16 / (3 pi)) (M / M_p) s. Derived from plane sections; checked by quadrature in
the tests. Hardening is left out, so a worked wire springs back more than this.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mechanics.bow.wire import StockMaterial
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError

SHAPE_FACTOR = 16.0 / (3.0 * np.pi)
BEAK_RADIUS_MM = 3.0  # round beak of heavy wire pliers (common practice, no source)


def yield_curvature(material: StockMaterial, *, diameter_mm: float) -> float:
    """Curvature (1/mm) at which the outermost fibre reaches the proof stress; BadValueError for no
    diameter."""
    if not (np.isfinite(diameter_mm) and diameter_mm > 0.0):
        raise BadValueError(f"wire diameter must be above zero; got {diameter_mm} mm.")
    return 2.0 * material.proof_mpa / (material.e_mpa * diameter_mm)


def moment_ratio(s: ArrayLike) -> Array:
    """M / M_p (...) at s = k_y / k (...): the formula above up to s = 1, elastic (falling as 1 / s)
    beyond."""
    s = np.asarray(s, dtype=np.float64)
    if bool((s <= 0.0).any()):
        raise BadValueError(f"yield over bending curvature must be above zero; got {s.min()}.")
    p = np.minimum(s, 1.0)
    plastic = 0.375 * np.arcsin(p) / p + (0.625 - 0.25 * p**2) * np.sqrt(1.0 - p**2)
    return np.asarray(np.where(s < 1.0, plastic, 1.0 / (SHAPE_FACTOR * s)))


def kept_fraction(radius_mm: ArrayLike, *, diameter_mm: float, material: StockMaterial) -> Array:
    """Part (...) of the curvature that stays once a wire bent to centreline ``radius_mm`` (...) is let go;
    0 if elastic."""
    radius = np.asarray(radius_mm, dtype=np.float64)
    if bool((radius <= 0.0).any()):
        raise BadValueError(f"bend radius must be above zero; got {radius.min()} mm.")
    s = yield_curvature(material, diameter_mm=diameter_mm) * radius
    return np.asarray(np.maximum(0.0, 1.0 - SHAPE_FACTOR * moment_ratio(s) * s))


def loaded_curvature(kept_per_mm: ArrayLike, *, diameter_mm: float, material: StockMaterial) -> Array:
    """Curvature (...) to bend to, so that ``kept_per_mm`` (...) stays; by bisection to round-off.

    What springs back lies between nothing and M_p / (E I), the shape factor times the yield curvature.
    """
    kept = np.abs(np.asarray(kept_per_mm, dtype=np.float64))
    k_y = yield_curvature(material, diameter_mm=diameter_mm)
    low, high = np.maximum(kept, 1e-12 * k_y), kept + SHAPE_FACTOR * k_y
    for _ in range(60):
        middle = 0.5 * (low + high)
        stays = middle * kept_fraction(1.0 / middle, diameter_mm=diameter_mm, material=material)
        low, high = np.where(stays < kept, middle, low), np.where(stays < kept, high, middle)
    return np.asarray(np.sign(kept_per_mm) * 0.5 * (low + high))


@dataclass(frozen=True)
class PlierBend:
    """A bend to make: the angle it shall keep, and the angle to go to under the pliers before letting go."""

    final_deg: float
    plier_deg: float
    beak_radius_mm: float

    @property
    def springs_back_deg(self) -> float:
        """What the wire gives back."""
        return self.plier_deg - self.final_deg


def plier_bend(
    final_deg: float, *, diameter_mm: float, material: StockMaterial, beak_radius_mm: float = BEAK_RADIUS_MM
) -> PlierBend:
    """The angle under pliers whose beak has ``beak_radius_mm``, for a bend that keeps ``final_deg``.

    The wire lies on the beak, so its centreline has the beak's radius plus half its diameter. Raises
    BadValueError when that radius only bends the wire elastically, or the plier angle would pass 170
    degrees.
    """
    radius = beak_radius_mm + 0.5 * diameter_mm
    kept = float(kept_fraction(radius, diameter_mm=diameter_mm, material=material))
    if kept <= 0.0 or abs(final_deg) / kept > 170.0:
        raise BadValueError(
            f"a bend of {final_deg:.0f} degrees over a beak of {beak_radius_mm:.1f} mm keeps only {100 * kept:.0f} % "
            "of its curvature; use a thinner beak."
        )
    return PlierBend(final_deg, final_deg / kept, beak_radius_mm)
