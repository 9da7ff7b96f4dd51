"""One molar's crown cut out of a one-piece arch at a seed point, for a scan of a case with ``seed_mm``."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from casework.landmark_frames import distances_mm
from casework.scans import Scan
from mechanics.sides import Side
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError
from mesh_tools.finding.arch import ArchFound, arch_found
from mesh_tools.finding.molars import first_molar
from mesh_tools.finding.tooth_row import ToothRow
from mesh_tools.surface import Surface

_OFF_MM = 2.0  # a seed further off the scan is a slip (common practice, no source)
_NEXT_MM = (
    10.0  # mesiodistal width of an upper second molar, 9 to 10 mm (Ash/Nelson), and its neighbour's slope
)


def crown_of_seed(scan: Scan, seed_mm: Array, side: Side) -> Scan:
    """``scan`` of an arch cut down to the crown at ``seed_mm`` (3,), both in the scan's own frame, LPS mm.

    The crown is the one of the tooth row in which the seed lies, whichever the row takes for the first molar. Raises
    BadValueError in one line for a seed off the scan, on the other side, or on no molar or premolar.
    """
    surface = scan.surface
    off = float(distances_mm(seed_mm[None], surface)[0])
    if off > _OFF_MM:
        raise BadValueError(
            f"seed_mm: lies {off:.1f} mm off the scan, more than {_OFF_MM:g} mm; put it on the chewing surface of the "
            "molar, in the file's own frame, its axes and unit applied."
        )
    found = arch_found(surface)
    row = _row_to_seed(found, seed_mm, side)
    molar = first_molar(surface, found.frame, found.form, row, side)
    told = (
        f"crown cut out at the seed: {molar.size_mm[0]:.1f} x {molar.size_mm[1]:.1f} x {molar.size_mm[2]:.1f} mm, "
        f"{molar.patch.in_valley:.0%} of the cut runs in a valley"
    )
    crown = _used_only(surface.with_faces(np.isin(np.arange(len(surface.faces)), molar.patch.faces)))
    return replace(scan, surface=crown, changes=(*scan.changes, told))


def _row_to_seed(found: ArchFound, seed_mm: Array, side: Side) -> ToothRow:
    """The tooth row of ``side`` as far as the crown that holds the seed."""
    if side not in found.rows:
        raise BadValueError(f"seed_mm: no row of teeth is seen on the {side} side of the scan.")
    row, sign = found.rows[side], 1.0 if side == "left" else -1.0
    place = found.frame.to_arch(seed_mm[None])
    along = sign * float(found.form.unrolled(place[:, :2])[0][0])
    edges = np.append(row.edges_mm, row.edges_mm[-1] + _NEXT_MM)
    crown = int(np.searchsorted(edges, along))  # its distal boundary
    if not 4 <= crown < len(edges):
        where = "the other side" if along < 0.0 else f"{along:.0f} mm along the arch from the midline"
        raise BadValueError(
            f"seed_mm: lies on no {side} molar ({where}); put it on the chewing surface of the molar."
        )
    return replace(row, edges_mm=edges[: crown + 1], dips=np.append(row.dips, 0.0)[: crown + 1])


def _used_only(surface: Surface) -> Surface:
    used, faces = np.unique(surface.faces, return_inverse=True)
    return Surface(surface.points_mm[used], faces.reshape(-1, 3))
