"""Coincident points merged, faces without area and faces twice there dropped."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from mesh_tools.arrays import IntArray
from mesh_tools.repair_record import Finding, Step, plural
from mesh_tools.surface import Surface

THIN = 1e-9  # a face is without area when its height is below this share of the box's diagonal


def coincident_merged(step: Step) -> Step:
    """Points at exactly the same place become the one that came first."""
    surface = step.surface
    first = first_of_equal(surface)
    moved = first != np.arange(len(first))
    moved &= np.isin(np.arange(len(first)), surface.faces)
    if not moved.any():
        return step
    count = int(moved.sum())
    merged = Surface(surface.points_mm, first[surface.faces])
    told = Finding("coincident points", count, f"{plural(count, 'coincident point')} merged")
    return replace(step, surface=merged, point_map=first[step.point_map]).told(told)


def first_of_equal(surface: Surface) -> IntArray:
    """For every point (n,) the lowest index of a point at exactly the same place."""
    points = surface.points_mm + 0.0
    order = np.lexsort(points.T)
    ordered = points[order]
    fresh = np.ones(len(points), dtype=bool)
    fresh[1:] = (ordered[1:] != ordered[:-1]).any(axis=1)
    first = np.empty(len(points), dtype=np.int64)
    first[order] = order[fresh][np.cumsum(fresh) - 1] if len(points) else order
    return first


def slivers_dropped(step: Step) -> Step:
    """Faces of no area go: two corners alike, or a height below a billionth of the box's diagonal."""
    surface = step.surface
    corners = surface.corners_mm
    longest = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2).max(axis=1)
    limit = THIN * float(np.linalg.norm(surface.extent_mm))
    a, b, c = surface.faces.T
    flat = (a == b) | (b == c) | (c == a) | (2.0 * surface.areas_mm2 <= limit * longest)
    if not flat.any():
        return step
    count = int(flat.sum())
    text = f"{plural(count, 'face')} without area dropped"
    return step.only(~flat, Finding("zero-area faces", count, text))


def duplicates_dropped(step: Step) -> Step:
    """Of faces on the same three points the first stays."""
    rows = np.sort(step.surface.faces, axis=1)
    _, first = np.unique(_keys(rows, len(step.surface.points_mm)), return_index=True)
    keep = np.zeros(len(rows), dtype=bool)
    keep[first] = True
    if keep.all():
        return step
    count = int((~keep).sum())
    text = f"{plural(count, 'duplicate face')} dropped"
    return step.only(keep, Finding("duplicate faces", count, text))


def _keys(rows: IntArray, count: int) -> IntArray:
    """One number a row (m, 3) of point indices below ``count``, alike only for rows alike."""
    pair = np.unique(rows[:, 0] * count + rows[:, 1], return_inverse=True)[1]
    return np.asarray(pair.ravel() * count + rows[:, 2], dtype=np.int64)
