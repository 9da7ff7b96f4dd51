"""Whether points lie inside a surface, by the winding number.

The solid angle of each face seen from the point is summed (A. Van Oosterom, J. Strackee 1983, IEEE Trans Biomed Eng
30:125-126); the sum over 4 pi is one inside and zero outside a closed surface, and degrades gently with holes
(A. Jacobson et al. 2013, ACM Trans Graph 32:33).
"""

from __future__ import annotations

import numpy as np

from mesh_tools.arrays import Array, BoolArray
from mesh_tools.surface import Surface

_BLOCK = 2_000_000


def winding_numbers(surface: Surface, points: Array) -> Array:
    """Winding number (k,) of ``surface`` about each of ``points`` (k, 3)."""
    rows = max(1, _BLOCK // max(len(surface.faces), 1))
    parts = [_block(surface.corners_mm, points[i : i + rows]) for i in range(0, len(points), rows)]
    return np.concatenate(parts) if parts else np.zeros(0)


def inside(surface: Surface, points: Array) -> BoolArray:
    """Mask (k,) of the ``points`` inside ``surface``, whichever way it is wound."""
    return np.abs(winding_numbers(surface, points)) > 0.5


def _block(corners: Array, points: Array) -> Array:
    """Winding numbers of a few points."""
    a, b, c = (corners[None, :, k] - points[:, None] for k in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=2) for v in (a, b, c))
    ab, bc, ca = (np.einsum("ijk,ijk->ij", *pair) for pair in ((a, b), (b, c), (c, a)))
    top = np.einsum("ijk,ijk->ij", a, np.cross(b, c))
    below = la * lb * lc + ab * lc + bc * la + ca * lb
    return np.asarray(2.0 * np.arctan2(top, below).sum(axis=1) / (4.0 * np.pi))
