"""The supported root surface with its wanted ligament thickness."""

from __future__ import annotations

from dataclasses import dataclass

from mesh_tools.arrays import Array, IntArray


@dataclass(frozen=True, eq=False)
class Root:
    """Root surface ``points_mm`` (n, 3), ``faces`` (m, 3), open at the crest, and the wanted ``thickness_mm`` (n,)."""

    points_mm: Array
    faces: IntArray
    thickness_mm: Array
