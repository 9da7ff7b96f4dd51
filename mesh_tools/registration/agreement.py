"""How well two laid scans agree: judged by the places that lie near one another, kept or not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array, frozen
from mesh_tools.errors import BadValueError
from mesh_tools.registration.errors import PoorOverlapError, ResidualError
from mesh_tools.registration.samples import Samples
from mesh_tools.registration.trimmed import Poses

_LARGE_MM = 100.0
_COSINE = 0.5
PERCENTILES = (50.0, 90.0, 95.0)


@dataclass(frozen=True)
class Tolerance:
    """What counts as the same place, mm, and how much of the scans must agree.

    Places farther apart than ``reach_mm`` are not compared: one scan has there what the other has not. Of the places
    compared, ``least_agreement`` must lie within ``same_mm``. On open meshes scans of one thing, with 0.1 mm of noise
    and cropped, agree at 0.93 or more of their places, two different teeth, arches or heads at 0.70 or less.
    """

    same_mm: float
    reach_mm: float
    least_agreement: float = 0.80
    least_overlap: float = 0.10

    def __post_init__(self) -> None:
        if not 0.0 < self.same_mm < self.reach_mm:
            raise BadValueError(
                f"same_mm must lie between 0 and reach_mm {self.reach_mm:g}; got {self.same_mm:g}."
            )

    @classmethod
    def for_extent(cls, extent_mm: float, same_mm: float | None = None) -> Tolerance:
        """0.3 mm for a tooth or an arch, 1 mm for a face or a head (longest extent 100 mm or more); reach 10/3 of it.

        Intraoral scans deviate by about 0.1 mm and teeth in CBCT by 0.1-0.3 mm; skin moves with the face between two
        scans (common practice, no source).
        """
        same = same_mm if same_mm is not None else 0.3 if extent_mm < _LARGE_MM else 1.0
        return cls(same, same * 10.0 / 3.0)


@dataclass(frozen=True, eq=False)
class Agreement:
    """``distances_mm`` (k,): of the places compared. Shares are of the smaller scan's area, or of places compared."""

    distances_mm: Array
    overlap_share: float
    agreement: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "distances_mm", frozen(self.distances_mm, (None,), name="distances_mm"))

    @property
    def rms_mm(self) -> float:
        """Root mean square distance of the places compared."""
        return float(np.sqrt(np.mean(self.distances_mm**2))) if len(self.distances_mm) else float("inf")

    def percentile_mm(self, percent: float) -> float:
        """Distance that ``percent`` of the places compared stay within."""
        return float(np.percentile(self.distances_mm, percent)) if len(self.distances_mm) else float("inf")


def agreement_of(pose: Poses, moving: Samples, fixed: Samples, tolerance: Tolerance) -> Agreement:
    """How ``moving`` at the first of ``pose`` agrees with ``fixed``."""
    placed = pose.applied(moving.points_mm)[0]
    own = moving.normals @ pose.rotations[0].T
    distance, index = fixed.tree.query(placed)
    normals = fixed.normals[index]
    off = np.abs(np.einsum("nk,nk->n", placed - fixed.points_mm[index], normals))
    error = np.maximum(off, distance - fixed.spacing_mm)
    alike = ~fixed.at_border[index] & (np.einsum("nk,nk->n", own, normals) > _COSINE)
    near = alike & (error < tolerance.reach_mm)
    same = near & (error < tolerance.same_mm)
    return Agreement(error[near], float(same.mean()), float(same.sum() / max(int(near.sum()), 1)))


def is_good(found: Agreement, tolerance: Tolerance) -> bool:
    """Whether nothing speaks against the fit."""
    return found.overlap_share >= tolerance.least_overlap and found.agreement >= tolerance.least_agreement


def check_agreement(found: Agreement, tolerance: Tolerance) -> None:
    """Raises PoorOverlapError or ResidualError with the share that was found and the share that is needed."""
    if found.overlap_share < tolerance.least_overlap:
        raise PoorOverlapError(
            f"only {found.overlap_share:.0%} of the smaller scan lies on the other within {tolerance.same_mm:g} mm, "
            f"less than {tolerance.least_overlap:.0%}: scans of different places, or a start too far off; give three "
            "landmark pairs."
        )
    if found.agreement < tolerance.least_agreement:
        raise ResidualError(
            f"where the scans lie near one another (rms {found.rms_mm:.2f} mm) only {found.agreement:.0%} agrees "
            f"within {tolerance.same_mm:g} mm, less than {tolerance.least_agreement:.0%}: two people, two teeth, or a "
            "start too far off; check the files, or give three landmark pairs."
        )
