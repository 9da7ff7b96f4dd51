"""What was read off the patient with the bow in: by ruler, protractor and gauge, or from a lateral photograph.

Both kinds give, in the sagittal plane of the treatment frame, the hook's place from the tube's mark (the mesial end of
the tube, or its mark on the cheek) and each strap's angle and force. Every reading is a list of plain numbers with a
standard deviation each, so that the error of measuring can be carried through either kind in the same way.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from casework.check.errors import CheckError
from mechanics.sides import Side
from mesh_tools.arrays import Array, frozen

MOST_ANGLE_DEG = 75.0
MOST_MM = 200.0
MOST_FORCE_N = 30.0
_LEAST_PX = 1.0
_MOST_TILT_DEG = 60.0


def _apart(one: Array, other: Array, what: str) -> None:
    distance = float(np.linalg.norm(one - other))
    if distance < _LEAST_PX:
        raise CheckError(
            f"photo: {what} lie {distance:.1f} pixels apart and must be two places: mark them again."
        )


def _checked_angle(angle_deg: float | None) -> None:
    if angle_deg is not None and not (np.isfinite(angle_deg) and abs(angle_deg) <= MOST_ANGLE_DEG):
        raise CheckError(
            f"strap_angle_deg: must lie within {MOST_ANGLE_DEG:g} degrees of the occlusal plane, positive up; got "
            f"{angle_deg:g}: a strap pulls back."
        )


def _checked_force(force_n: float | None) -> None:
    if force_n is not None and not (np.isfinite(force_n) and 0.0 < force_n <= MOST_FORCE_N):
        raise CheckError(f"force_n: must be above 0 and at most {MOST_FORCE_N:g} N; got {force_n:g}.")


@dataclass(frozen=True)
class MeasuringErrors:
    """Standard deviations of measuring; every default is our assumption, no source was found.

    ``photo_scale_share``: a scale held 30 mm nearer to a camera a metre away is 3 % too large.
    ``unmeasured_*``: how far a strap's angle or force may be from the plan's when it was not measured.
    """

    ruler_mm: float = 1.0
    protractor_deg: float = 3.0
    gauge_share: float = 0.05
    photo_point_mm: float = 0.5
    photo_scale_share: float = 0.03
    unmeasured_angle_deg: float = 5.0
    unmeasured_force_share: float = 0.15

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if not (np.isfinite(value) and 0.0 <= value <= 30.0):
                raise CheckError(f"errors.{name}: must be a standard deviation of 0 to 30; got {value:g}.")


@dataclass(frozen=True)
class StrapReading:
    """One strap: angle to the occlusal plane, positive up, and its force; None where it was not measured."""

    angle_deg: float | None = None
    force_n: float | None = None

    def __post_init__(self) -> None:
        _checked_angle(self.angle_deg)
        _checked_force(self.force_n)


@dataclass(frozen=True)
class RulerReading:
    """The hook ``up_mm`` above and ``back_mm`` behind the tube's mark, in straight lines along the treatment frame.

    ``straps``: one for a single pull, neck then head for a combination.
    """

    up_mm: float
    back_mm: float
    straps: tuple[StrapReading, ...] = (StrapReading(),)

    def __post_init__(self) -> None:
        for name, value in (("hook_up_mm", self.up_mm), ("hook_back_mm", self.back_mm)):
            if not (np.isfinite(value) and abs(value) <= MOST_MM):
                raise CheckError(
                    f"{name}: must lie within {MOST_MM:g} mm of the mark; got {value:g}: measure again, in mm."
                )


@dataclass(frozen=True, eq=False)
class PhotoReading:
    """Points (column, row) in pixels on one lateral photograph, rows counted downward, whichever way the face looks.

    ``scale_px`` (2, 2): two points ``scale_mm`` apart; ``plane_px`` (2, 2): a front and a back point of the occlusal
    plane; ``mark_px``, ``hook_px`` (2,); ``strap_px`` (k, 2): a point on each strap behind the hook; ``forces_n``: as
    read by a gauge, None where not.
    """

    scale_px: Array
    scale_mm: float
    plane_px: Array
    mark_px: Array
    hook_px: Array
    strap_px: Array
    forces_n: tuple[float | None, ...] = (None,)

    def __post_init__(self) -> None:
        for name, shape in (("scale_px", (2, 2)), ("plane_px", (2, 2)), ("mark_px", (2,)), ("hook_px", (2,)),
                            ("strap_px", (None, 2))):  # fmt: skip
            object.__setattr__(self, name, frozen(getattr(self, name), shape, name=f"photo.{name}"))
        if not (np.isfinite(self.scale_mm) and self.scale_mm > 0.0):
            raise CheckError(
                f"photo.scale_mm: must be the true distance of the two scale points, above zero; got {self.scale_mm:g}."
            )
        _apart(self.scale_px[0], self.scale_px[1], "the two scale points")
        _apart(self.plane_px[0], self.plane_px[1], "the two points of the occlusal plane")
        for point in self.strap_px:
            _apart(self.hook_px, point, "the hook and the strap point")
        for force in self.forces_n:
            _checked_force(force)
        self._check_upright()

    def _check_upright(self) -> None:
        along = self.plane_px[1] - self.plane_px[0]
        tilt = float(np.degrees(np.arctan2(abs(along[1]), abs(along[0]))))
        if tilt > _MOST_TILT_DEG:
            raise CheckError(
                f"photo.plane_px: the occlusal plane stands {tilt:.0f} degrees to the picture's rows, more than "
                f"{_MOST_TILT_DEG:.0f}, so up cannot be told from down: turn the photograph upright."
            )

    @property
    def px_per_mm(self) -> float:
        """Pixels for one mm at the scale."""
        return float(np.linalg.norm(self.scale_px[1] - self.scale_px[0]) / self.scale_mm)


Reading = RulerReading | PhotoReading


@dataclass(frozen=True, eq=False)
class Measured:
    """What was read on one side or both, and how well such readings are made."""

    sides: Mapping[Side, Reading]
    errors: MeasuringErrors = field(default_factory=MeasuringErrors)

    def __post_init__(self) -> None:
        if not self.sides:
            raise CheckError("nothing was measured: give the hook of one side at least.")
