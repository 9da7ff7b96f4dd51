"""An invented patient for the face-bow's tests, and small changes of it."""

from __future__ import annotations

from typing import Any

import numpy as np

from mechanics.bow.needs import BowNeeds
from mechanics.bow.wire import Tube
from mechanics.sides import SIDES, Side, outward_sign
from mechanics.strap.direction import strap_direction
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array
from mesh_tools.surface import Surface


def tube(side: Side, *, x: float = 26.0, y: float = 0.0, z: float = 0.0, splay: float = 0.6) -> Tube:
    """A 4 mm tube whose mesial end lies at (x, y, z) on the left, mirrored on the right."""
    g = outward_sign(side)
    return Tube(np.array([g * x, y, z]), np.array([g * (x + splay), y + 4.0, z]), 1.27)


def needs(**changes: Any) -> BowNeeds:
    """Mirror-symmetric, child-sized needs with arms of 76 mm."""
    plain: dict[str, Any] = {
        "tubes": {s: tube(s) for s in SIDES},
        "incisor_mm": np.array([0.0, -36.0, -1.0]),
        "corner_mm": {s: np.array([outward_sign(s) * 21.0, -27.0, 0.5]) for s in SIDES},
        "arm_length_mm": {"right": 76.0, "left": 76.0},
    }
    return BowNeeds(**{**plain, **changes})


def targets() -> dict[Side, Array]:
    """Centres of resistance 10 mm up and 2 mm back from the tubes' mesial ends, 4 mm inward."""
    return {s: np.array([outward_sign(s) * 22.0, 2.0, 10.0]) for s in SIDES}


def cervical(*, force_n: float = 4.0, angle_deg: float = -25.0) -> dict[Side, StrapPull]:
    """The same neck pull on both sides, 15 degrees inward."""
    return {
        s: StrapPull.along(strap_direction(s, angle_deg=angle_deg, midline_deg=15.0), force_n=force_n)
        for s in SIDES
    }


def ellipsoid(
    *, radii_mm: tuple[float, float, float], centre_mm: tuple[float, float, float], n: int = 48
) -> Surface:
    """A closed ellipsoid wound outward: n rings of 2n points and two poles."""
    v, u = np.meshgrid(np.linspace(0, np.pi, n + 2)[1:-1], np.arange(2 * n) * np.pi / n, indexing="ij")
    ring = np.stack([np.sin(v) * np.cos(u), np.sin(v) * np.sin(u), np.cos(v)], axis=-1).reshape(-1, 3)
    points = np.vstack([ring, [[0, 0, 1], [0, 0, -1]]]) * radii_mm + centre_mm
    k = np.arange(n * 2 * n).reshape(n, 2 * n)
    a, b, c, d = k[:-1], np.roll(k, -1, axis=1)[:-1], k[1:], np.roll(k, -1, axis=1)[1:]
    sides = np.concatenate([np.stack([a, c, b], -1).reshape(-1, 3), np.stack([b, c, d], -1).reshape(-1, 3)])
    top = np.stack([k[0], np.roll(k[0], -1), np.full(2 * n, len(points) - 2)], -1)
    bottom = np.stack([np.roll(k[-1], -1), k[-1], np.full(2 * n, len(points) - 1)], -1)
    return Surface(points, np.concatenate([sides, top, bottom]))
