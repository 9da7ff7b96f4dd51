"""Landmarks given in a scan's own frame, ``[landmarks_in.NAME]``, moved with that scan into the frame of the case."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

import numpy as np

from casework.case_file import CaseModel
from casework.scans import Scan
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface

# How far from its scan a landmark may lie, mm (common practice, no source): a tube stands off the tooth, a strap
# and its pads off the skin and hair.
_OFF_MM, _TUBE_OFF_MM, _STRAP_OFF_MM = 3.0, 5.0, 10.0
_ON_STRAP = ("strap_", "high_strap_", "nape_", "crown_")


class LandmarkOffScanError(BadValueError):
    """A landmark of ``landmarks_in`` does not lie on its scan; the text names both."""


class Located(NamedTuple):
    """A case whose landmarks all lie in its own frame, how they came there, and what to warn of."""

    case: CaseModel
    findings: tuple[str, ...]
    warnings: tuple[str, ...]


def located_case(case: CaseModel, scans: Mapping[str, Scan]) -> Located:
    """``case`` with every landmark in its frame, LPS mm; ``scans`` as read, in that frame.

    Landmarks of ``landmarks_in`` go with their scan's motion; ``landmarks_in`` of the answer is empty. Raises
    LandmarkOffScanError in one line for a landmark that does not lie on its scan.
    """
    moved: dict[str, list[float] | list[list[float]]] = {}
    findings: list[str] = []
    for name, given in _tables(case):
        placed = {key: _placed(name, key, points, scans[name]) for key, points in given.items()}
        moved |= {key: points.tolist() for key, points in placed.items()}
        findings.append(_told(name, placed, scans[name]))
    if not moved:
        return Located(case, (), ())
    landmarks = case.landmarks.model_copy(update=moved)
    empty = type(case.landmarks_in)()
    return Located(
        case.model_copy(update={"landmarks": landmarks, "landmarks_in": empty}), tuple(findings), ()
    )


def _tables(case: CaseModel) -> Iterator[tuple[str, dict[str, Array]]]:
    """Each scan's name with its landmarks, (3,) or (n, 3), in that scan's own frame."""
    for name in type(case.landmarks_in).model_fields:
        table = getattr(case.landmarks_in, name)
        if table is not None and (given := table.model_dump(exclude_none=True)):
            yield name, {key: np.asarray(points, dtype=np.float64) for key, points in given.items()}


def _placed(scan_name: str, key: str, points: Array, scan: Scan) -> Array:
    """Landmark ``key`` of ``scan`` in the frame of the case; raises LandmarkOffScanError."""
    rows = np.atleast_2d(points)
    there = rows if scan.motion is None else scan.motion.applied(rows)
    off, limit = distances_mm(there, scan.surface), allowed_off_mm(key)
    worst = int(off.argmax())
    if off[worst] > limit:
        which = f"point {worst + 1} of landmarks_in" if points.ndim == 2 else "landmarks_in"
        at = ", ".join(f"{v:.1f}" for v in rows[worst])
        raise LandmarkOffScanError(
            f"{which}.{scan_name}.{key}: ({at}) lies {off[worst]:.1f} mm off the scan {scan.file}, more than "
            f"{limit:g} mm; give it in that scan's own frame (its axes and unit applied, before it is registered), "
            "or pick it again."
        )
    return there[0] if points.ndim == 1 else there


def allowed_off_mm(key: str) -> float:
    """How far from its scan the landmark ``key`` may lie, mm."""
    if key.startswith("tube_"):
        return _TUBE_OFF_MM
    return _STRAP_OFF_MM if key.startswith(_ON_STRAP) else _OFF_MM


def distances_mm(points_mm: Array, surface: Surface) -> Array:
    """Distance (n,) of points (n, 3) from ``surface``, exact over all its triangles."""
    from mesh_tools.registration.nearest import closest_on_faces  # slow to import

    corners = surface.corners_mm
    centres = corners.mean(axis=1)
    reach = np.linalg.norm(corners - centres[:, None], axis=2).max(axis=1)
    found = []
    for p in points_mm:
        away = np.linalg.norm(centres - p, axis=1)
        near = np.flatnonzero(away - reach <= away.min())  # no other triangle can be nearer
        closest = closest_on_faces(p[None], surface, near[None])[0]
        found.append(np.linalg.norm(closest - p, axis=1).min())
    return np.array(found)


def _told(name: str, placed: Mapping[str, Array], scan: Scan) -> str:
    how = "its frame is the case's" if scan.motion is None else "moved with it into the case's frame"
    return f"landmarks_in.{name}: {', '.join(placed)} on {scan.file}, {how}."
