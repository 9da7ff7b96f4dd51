"""The outline of a surface in a view: which part of the picture it covers, as closed curves."""

from __future__ import annotations

import numpy as np

from mesh_tools.arrays import Array, BoolArray
from viewer.scene import SurfaceItem
from viewer.view import View

_CELLS = 220


def outlines(item: SurfaceItem, view: View) -> list[Array]:
    """Closed curves (n, 2) in the view's mm around what ``item`` covers, holes included; to a cell's size.

    The faces are painted on a grid of about 220 cells along the longer edge and the border is traced at half cover.
    """
    from contourpy import contour_generator

    flat = view.flat(item.points_mm)
    low, high = flat.min(axis=0), flat.max(axis=0)
    cell = float((high - low).max()) / _CELLS
    covered = np.pad(painted(flat[item.faces], low=low, cell=cell, shape=_shape(low, high, cell)), 2)
    xs = low[0] + cell * (np.arange(covered.shape[1]) - 1.5)
    ys = low[1] + cell * (np.arange(covered.shape[0]) - 1.5)
    lines = contour_generator(xs, ys, _softened(covered)).lines(0.5)
    return [np.asarray(loop)[::2] for loop in lines if len(loop) > 16]


def _shape(low: Array, high: Array, cell: float) -> tuple[int, int]:
    across, up = np.ceil((high - low) / cell).astype(int) + 1
    return int(up), int(across)


def painted(corners: Array, *, low: Array, cell: float, shape: tuple[int, int]) -> BoolArray:
    """Cells (rows up, columns across) touched by the triangles ``corners`` (m, 3, 2): points spread over each face.

    Each face gets enough points that neighbours lie within half a cell, so no covered cell is missed by more than that.
    """
    grid = np.zeros(shape, dtype=bool)
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    steps = np.maximum(np.ceil(longest / (0.5 * cell)).astype(int), 1)
    steps = 2 ** np.ceil(np.log2(steps)).astype(int)
    for n in np.unique(steps):
        i, j = np.triu_indices(n + 1)
        weights = np.stack([i, j - i, n - j], axis=-1) / n
        points = (weights @ corners[steps == n].transpose(1, 0, 2).reshape(3, -1)).reshape(-1, 2)
        columns, rows = np.clip(((points - low) / cell).astype(int), 0, [shape[1] - 1, shape[0] - 1]).T
        grid[rows, columns] = True
    return grid


def _softened(covered: BoolArray) -> Array:
    """Cover between 0 and 1, averaged over neighbours so that the outline is smooth."""
    from scipy.ndimage import gaussian_filter

    return np.asarray(gaussian_filter(covered.astype(np.float64), 1.2))
