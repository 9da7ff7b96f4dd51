"""How hard a strap presses on the skin."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mechanics.sides import Side
from mesh_tools.arrays import Array

_KPA = 1000.0  # N/mm2 to kPa
_GAP_MM = 4.0
"""Points farther apart than this have air between them, not skin."""


def pressures_kpa(path: Array, press: Array, *, tension_n: Mapping[Side, float], width_mm: float) -> Array:
    """Contact pressure (n,) at the points of ``path`` (n, 3), zero at the hooks at its ends.

    Tension times curvature over width (a string's contact force, T dphi/ds), averaged over one strap's width along
    the path. ``press`` (n - 2,): turn at each inner point, rad. Unequal tensions change as friction lets them, by
    the same share per angle of wrap (capstan law).
    """
    inner = path[1:-1]
    step = np.linalg.norm(np.diff(inner, axis=0), axis=1)
    place = np.concatenate([[0.0], np.cumsum(step)])
    wrap = np.cumsum(press) - 0.5 * press
    share = wrap / max(float(press.sum()), 1e-12)
    right, left = max(tension_n["right"], 1e-12), max(tension_n["left"], 1e-12)
    tension = right * (left / right) ** share
    half = 0.5 * np.minimum(step, _GAP_MM)
    length = np.concatenate([[0.0], half]) + np.concatenate([half, [0.0]])
    near = np.abs(place[:, None] - place) <= 0.5 * width_mm
    pressure = (near @ (tension * press)) / np.maximum(near @ length, 1e-9) / width_mm * _KPA
    return np.array([0.0, *pressure, 0.0])


def friction_along(tension_n: Mapping[Side, float], *, wrap_rad: float) -> float:
    """Coefficient of friction along the strap that keeps unequal tensions apart: ln(T1 / T2) / wrap, the capstan law
    (Euler 1769; from memory). Infinite when one side is slack."""
    one, other = sorted((tension_n["right"], tension_n["left"]))
    if one == other:
        return 0.0
    return float(np.log(other / one) / wrap_rad) if one > 0.0 and wrap_rad > 0.0 else float(np.inf)
