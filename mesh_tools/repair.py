"""Repair as a separate, named step: what is wrong with a scan is put right and every change is told.

Order: coincident points, zero-area faces, duplicate faces, winding, flakes and voids, small holes. A clean surface
comes back as it is. Every decision is by connection, area, length or signed volume, so that a mirrored, turned or
shifted scan gives the mirrored, turned or shifted result.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from mesh_tools.arrays import IntArray
from mesh_tools.repair_holes import holes_closed
from mesh_tools.repair_points import coincident_merged, duplicates_dropped, slivers_dropped
from mesh_tools.repair_record import Finding, Step
from mesh_tools.repair_shells import shells_chosen
from mesh_tools.repair_winding import outward, wound_alike
from mesh_tools.surface import Surface
from mesh_tools.topology import edges

__all__ = ["Finding", "Repair", "repaired"]


@dataclass(frozen=True, eq=False)
class Repair:
    """A repaired surface, what was changed, what was only noticed, and where points and faces went.

    ``point_map`` (n,) and ``face_map`` (m,) give each old point's and face's new index, -1 where it is gone. New faces
    (closed holes) come last. ``notes`` are findings that repair leaves as they are.
    """

    surface: Surface
    changes: tuple[Finding, ...]
    notes: tuple[Finding, ...]
    point_map: IntArray
    face_map: IntArray


def repaired(surface: Surface) -> Repair:
    """``surface`` put right as far as it is safe, with every change told.

    Raises SeveralTeethError for several full-size shells apart from one another, and BadValueError where no faces
    are left. Borders longer than a small hole stay open, as in a scan that has a border.
    """
    step = Step.start(surface)
    for change in (
        coincident_merged,
        slivers_dropped,
        duplicates_dropped,
        wound_alike,
        shells_chosen,
        outward,
        holes_closed,
        _crowded_noted,
    ):
        step = change(step)
    return _finished(surface, step)


def _finished(surface: Surface, step: Step) -> Repair:
    """The record of the last step; the input itself when nothing changed, else without unused points."""
    if not step.changes:
        return Repair(surface, (), step.notes, step.point_map, step.face_map)
    used = np.unique(step.surface.faces)
    number = np.full(len(step.surface.points_mm), -1, dtype=np.int64)
    number[used] = np.arange(len(used))
    kept = step.point_map >= 0
    point_map = np.where(kept, number[np.where(kept, step.point_map, 0)], -1)
    clean = Surface(step.surface.points_mm[used], number[step.surface.faces])
    return Repair(clean, step.changes, step.notes, point_map, step.face_map)


def _crowded_noted(step: Step) -> Step:
    """Note edges with more than two faces: they are reported, never guessed at."""
    crowded = int((edges(step.surface).use > 2).sum())
    if not crowded:
        return step
    text = f"{crowded} edges carry more than two faces; left as they are"
    return replace(step, notes=(*step.notes, Finding("crowded edges", crowded, text)))
