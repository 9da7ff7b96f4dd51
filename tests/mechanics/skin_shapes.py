"""Skins with closed forms: a sheet over side view."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from mechanics.sides import Side, outward_sign
from mesh_tools.arrays import Array
from mesh_tools.surface import Surface


def sheet(
    x_of: Callable[[Array, Array], Array | float], *, n: int = 30, half_mm: float = 20.0, side: Side = "left"
) -> Surface:
    """A skin x = x_of(y, z) over a square of side view, n by n cells, mirrored for the right side."""
    line = np.linspace(-half_mm, half_mm, n + 1)
    y, z = np.meshgrid(line, line, indexing="ij")
    x = x_of(y, z) * np.ones_like(y)
    points = np.stack([outward_sign(side) * x, y, z], axis=-1).reshape(-1, 3)
    k = (np.arange(n)[:, None] * (n + 1) + np.arange(n)).ravel()
    one, two = (
        np.stack([k, k + n + 1, k + n + 2], axis=1),
        np.stack([k, k + n + 2, k + 1], axis=1),
    )
    return Surface(points, np.concatenate([one, two]))
