"""What an apex outside the scan, or not yet closed, does to the centre of resistance: closed by a cone and compared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mechanics.centres.stiffness_centres import sagittal_centre
from mechanics.ligament.foundation import foundation_stiffness
from mechanics.ligament.springs import Ligament
from mesh_tools.arrays import Array, IntArray, frozen, unit
from mesh_tools.errors import BadValueError


@dataclass(frozen=True, eq=False)
class MissingApex:
    """Effect of what is missing.

    Sagittal centre as scanned, ``scanned_mm`` (3,), and with a cone on every cut end, ``completed_mm`` (k, 3), for each
    of the ``lengths_mm`` (k,).
    """

    scanned_mm: Array
    lengths_mm: Array
    completed_mm: Array

    @property
    def shifts_mm(self) -> Array:
        """How far the centre moves (k,) when the missing part is put back."""
        return np.asarray(np.linalg.norm(self.completed_mm - self.scanned_mm, axis=1))


def missing_apex_effect(
    points_mm: ArrayLike,
    faces: ArrayLike,
    ligament: Ligament,
    *,
    cut_ends_mm: Sequence[ArrayLike],
    apical: ArrayLike,
    lengths_mm: Sequence[float] = (1.0, 2.0, 4.0),
    x_axis: ArrayLike = (1.0, 0.0, 0.0),
) -> MissingApex:
    """Effect of ends lost beyond the closed loops ``cut_ends_mm`` (each (k, 3), in order), on the scanned root surface.

    Each loop is closed by a cone whose tip lies ``lengths_mm`` beyond the loop's middle along ``apical`` (3,): the scan
    does not show the missing length, so several are tried. The straight cone is our choice, no source. Raises
    BadValueError for a loop of fewer than three points or a length that is not positive.
    """
    loops = [frozen(loop, (None, 3), name="cut end") for loop in cut_ends_mm]
    if not loops or min(len(loop) for loop in loops) < 3:
        raise BadValueError("a cut end must be a closed loop of at least three points.")
    if not all(length > 0.0 for length in lengths_mm):
        raise BadValueError(f"missing lengths must be positive; got {list(lengths_mm)} mm.")
    up = unit(apical, name="apical direction")
    springs = {"k_normal": ligament.k_normal, "k_shear": ligament.k_shear}
    scanned = foundation_stiffness(points_mm, faces, **springs)
    completed = [
        scanned + sum(foundation_stiffness(*_cone(loop, length * up), **springs) for loop in loops)
        for length in lengths_mm
    ]
    centres = np.array([sagittal_centre(k, x_axis=x_axis) for k in completed])
    return MissingApex(
        sagittal_centre(scanned, x_axis=x_axis), np.asarray(lengths_mm, dtype=np.float64), centres
    )


def _cone(loop: Array, beyond_mm: Array, *, rings: int = 8) -> tuple[Array, IntArray]:
    """Points and faces of the cone from the loop (k, 3) to the tip ``beyond_mm`` (3,) past its middle."""
    k, tip = len(loop), loop.mean(axis=0) + beyond_mm
    share = np.linspace(0.0, 1.0, rings + 1)[:, None, None]
    points = (loop + share * (tip - loop)).reshape(-1, 3)
    start, j = np.meshgrid(np.arange(rings) * k, np.arange(k), indexing="ij")
    a, b = start + j, start + (j + 1) % k
    faces = np.concatenate(
        [np.stack([a, b, b + k], -1).reshape(-1, 3), np.stack([a, b + k, a + k], -1).reshape(-1, 3)]
    )
    return points, faces
