"""Necks with closed forms: surfaces of revolution and elliptic columns, upright unless turned."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from mechanics.sides import Side
from mesh_tools.arrays import Array
from mesh_tools.surface import Surface

CENTRE = np.array([0.0, 85.0, 0.0])
HOOKS: dict[Side, Array] = {"right": np.array([-65.0, 10.0, 0.0]), "left": np.array([65.0, 10.0, 0.0])}


def column(
    radius: Callable[[Array], Array] | float = 48.0,
    *,
    squash: float = 1.0,
    half_height: float = 100.0,
    around: int = 720,
    rings: int = 101,
    part: float = 2.0 * np.pi,
) -> Surface:
    """An open column about ``CENTRE``; ``radius`` of the height; depth is ``squash`` times the breadth; ``part``: how
    much of the turn has skin, centred on the front."""
    z = np.linspace(-half_height, half_height, rings)
    closed = part >= 2.0 * np.pi - 1e-9
    n = around if closed else round(around * part / (2.0 * np.pi))
    angle = -0.5 * np.pi + part * (np.arange(n) / n - 0.5)
    r = np.full(rings, float(radius)) if isinstance(radius, int | float) else radius(z)
    x, y = r[:, None] * np.cos(angle), squash * r[:, None] * np.sin(angle)
    points = np.stack([x, y, np.broadcast_to(z[:, None], x.shape)], axis=2).reshape(-1, 3) + CENTRE
    a = np.arange(n if closed else n - 1)
    b = (a + 1) % n
    start = n * np.arange(rings - 1)[:, None]
    one = np.stack([start + a, start + b, start + n + b], axis=2).reshape(-1, 3)
    two = np.stack([start + a, start + n + b, start + n + a], axis=2).reshape(-1, 3)
    return Surface(points, np.concatenate([one, two]))
