"""A root surface smoothed where a layer would fold over on it, a little and only there."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import numpy as np

from mechanics.ligament_fe.coarsen import coarsened
from mechanics.ligament_fe.nodes import surface_nodes
from mechanics.ligament_fe.offset import LayerFoldsError, doubles_back
from mechanics.ligament_fe.root import Root
from mesh_tools.arrays import IntArray

_ATTEMPTS = 4
_SHARE = 0.5
_LEVELS = (1.0, 0.9, 0.8, 0.7, 0.55, 0.4)

Made = TypeVar("Made")


def mended(root: Root, build: Callable[[Root], Made]) -> tuple[Root, Made, float]:
    """The root used, ``build`` of it, and how far in mm the root was smoothed at most so that no layer folds over.

    First ``root`` itself, smoothed up to four times around the points where its layer folds; then the same with it
    coarsened. Raises LayerFoldsError when nothing helps.
    """
    for level in _LEVELS:
        start = coarsened(root, target_faces=int(level * len(root.faces)))
        try:
            used, made = _smoothed_until_built(start, build)
        except LayerFoldsError:
            if level == _LEVELS[-1]:
                raise
        else:
            break
    return used, made, float(np.linalg.norm(used.points_mm - start.points_mm, axis=1).max())


def _smoothed_until_built(root: Root, build: Callable[[Root], Made]) -> tuple[Root, Made]:
    """The root and ``build(root)``, smoothed where it folds; raises LayerFoldsError after four smoothings."""
    for _ in range(_ATTEMPTS):
        try:
            return root, build(root)
        except LayerFoldsError as found:
            better = smoothed(smoothed(root, found.at), found.at)
            if doubles_back(better.points_mm, better.faces).any():
                raise
            root = better
    return root, build(root)


def smoothed(root: Root, at: IntArray) -> Root:
    """Root whose points ``at`` and their neighbours lie half-way to the mean of theirs; the rim stays."""
    nodes = surface_nodes(root.faces, len(root.points_mm))
    count = nodes.corner_count
    near = np.zeros(count, dtype=bool)
    near[root.faces[np.isin(root.faces, at).any(axis=1)]] = True
    near &= ~nodes.rim[:count]
    a, b = nodes.edges.T
    uses = np.bincount(a, minlength=count) + np.bincount(b, minlength=count)
    total = np.stack(
        [
            np.bincount(a, axis[b], minlength=count) + np.bincount(b, axis[a], minlength=count)
            for axis in root.points_mm.T
        ],
        axis=1,
    )
    points = root.points_mm.copy()
    points[near] += _SHARE * (total[near] / uses[near, None] - points[near])
    return Root(points, root.faces, root.thickness_mm)
