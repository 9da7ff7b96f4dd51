"""What was found on a scan: one proposal a thing, each with a confidence and the reason for it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array, IntArray, frozen, frozen_ints
from mesh_tools.errors import BadValueError


class NotFoundError(BadValueError):
    """The scan does not show what was looked for; the text says what to do."""


@dataclass(frozen=True, eq=False)
class Proposal:
    """One thing proposed on a scan: a starting point to be verified, never a fact.

    ``points_mm`` (n, 3) in the frame of the surface it was found on: one row for a point, the rows of a curve or of
    the places that carry a plane otherwise. ``normal`` (3,): of a plane. ``direction`` (3,): of an axis.
    ``faces`` (k,): indices of the surface's faces that make a patch. ``confidence`` 0 to 1; ``why``: one line.
    """

    name: str
    points_mm: Array
    confidence: float
    why: str
    normal: Array | None = None
    direction: Array | None = None
    faces: IntArray | None = None

    def __post_init__(self) -> None:
        points = np.atleast_2d(np.asarray(self.points_mm, dtype=np.float64))
        object.__setattr__(self, "points_mm", frozen(points, (None, 3), name=self.name))
        for key in ("normal", "direction"):
            value = getattr(self, key)
            if value is not None:
                object.__setattr__(self, key, frozen(value, (3,), name=f"{self.name}.{key}"))
        if self.faces is not None:
            object.__setattr__(self, "faces", frozen_ints(self.faces, (None,), name=f"{self.name}.faces"))
        if not 0.0 <= self.confidence <= 1.0:
            raise BadValueError(f"{self.name}: confidence must lie in 0 to 1; got {self.confidence:g}.")

    @property
    def point_mm(self) -> Array:
        """The point (3,); of a curve, plane or patch the middle of its points."""
        return np.asarray(self.points_mm.mean(axis=0))

    def moved(self, rotation: ArrayLike, shift_mm: ArrayLike = (0.0, 0.0, 0.0)) -> Proposal:
        """The same proposal with points as ``rotation @ p + shift``."""
        turn = np.asarray(rotation, dtype=np.float64)
        return replace(
            self,
            points_mm=self.points_mm @ turn.T + np.asarray(shift_mm, dtype=np.float64),
            normal=None if self.normal is None else turn @ self.normal,
            direction=None if self.direction is None else turn @ self.direction,
        )


def squashed(value: float, *, nothing: float, sure: float) -> float:
    """A confidence rising linearly from 0 where ``value`` is ``nothing`` to 1 where it is ``sure``."""
    return float(np.clip((value - nothing) / (sure - nothing), 0.0, 1.0))
