"""Nested dissection of a surface: its faces cut in halves again and again across their longest direction."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array, BoolArray, IntArray

FACES_A_LEAF = 32


@dataclass(frozen=True, eq=False)
class FaceTree:
    """Steps of the elimination: the sorted faces of a leaf, or None to merge the two parts that were done last."""

    steps: tuple[IntArray | None, ...]


def face_tree(centres_mm: Array, *, leaf: int = FACES_A_LEAF) -> FaceTree:
    """Binary tree over faces with centres (m, 3), in the order children, parent."""
    steps: list[IntArray | None] = []
    jobs: list[IntArray | None] = [np.arange(len(centres_mm))]
    while jobs:
        faces = jobs.pop()
        split = None if faces is None or len(faces) <= leaf else halves(centres_mm[faces])
        if faces is None or split is None:
            steps.append(faces)
        else:
            jobs += [None, faces[split], faces[~split]]
    return FaceTree(tuple(steps))


def halves(centres_mm: Array) -> BoolArray | None:
    """Mask (m,) of the half below the median along the longest principal axis, or None if it cannot be cut."""
    spread = centres_mm - centres_mm.mean(axis=0)
    _, axes = np.linalg.eigh(spread.T @ spread)
    along = spread @ axes[:, -1]
    low = along <= np.median(along)
    return None if low.all() else low
