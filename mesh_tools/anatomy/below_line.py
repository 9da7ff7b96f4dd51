"""How far apical of the cervical line every point lies, as one smooth field over the whole tooth."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.anatomy.cervical_line import CervicalLine
from mesh_tools.arrays import Array

_HARMONICS = 24


def rim_heights(line: CervicalLine, points_tooth: ArrayLike) -> Array:
    """Height (n,) mm of the cervical rim over every point (n, 3) of the tooth's frame.

    On and outside the neck it is the line's height at that angle; inside, the harmonic function with those
    rim values (Poisson's solution for a disc, after scaling every radius by the neck's), so that points
    between
    the roots get a smooth value.
    """
    points = np.asarray(points_tooth, dtype=np.float64)
    count = len(line.heights_mm)
    coefficients = np.fft.rfft(line.heights_mm) / count
    turn = np.arctan2(points[:, 1], points[:, 0])
    share = np.minimum(1.0, np.hypot(points[:, 0], points[:, 1]) / _radius(line, turn))
    z = share * np.exp(1j * turn)
    total = np.zeros(len(points), dtype=np.complex128)
    for k in range(min(_HARMONICS, count // 2 - 1), 0, -1):
        total = (total + 2.0 * coefficients[k]) * z
    return np.asarray(coefficients[0].real + total.real)


def below_line(line: CervicalLine, points_tooth: ArrayLike) -> Array:
    """Distance (n,) mm along the long axis from the cervical rim; positive on the root, negative on the
    crown."""
    points = np.asarray(points_tooth, dtype=np.float64)
    return np.asarray(points[:, 2] - rim_heights(line, points))


def _radius(line: CervicalLine, turn: Array) -> Array:
    angle = 2.0 * np.pi * np.arange(len(line.radii_mm)) / len(line.radii_mm)
    return np.asarray(np.interp(turn, angle, line.radii_mm, period=2.0 * np.pi))
