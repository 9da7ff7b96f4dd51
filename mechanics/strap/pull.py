"""The pull of one or more straps on a hook, and how it turns when the hook moves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array, frozen, unit
from mesh_tools.errors import BadValueError

NEAREST_MM = 1.0


@dataclass(frozen=True, eq=False)
class Strap:
    """One strap of tension ``force_n`` (N), toward the point ``toward_mm`` (3,) or along ``direction`` (3,),
    not both.

    A point is fixed to the patient, so the pull turns as the hook moves; a direction stays. Raises
    BadValueError for a negative or infinite force and unless exactly one of the two lines is given.
    """

    force_n: float
    toward_mm: Array | None = None
    direction: Array | None = None

    def __post_init__(self) -> None:
        if not (np.isfinite(self.force_n) and self.force_n >= 0.0):
            raise BadValueError(f"strap force must be zero or more newtons; got {self.force_n}.")
        if (self.toward_mm is None) == (self.direction is None):
            raise BadValueError("a strap needs a point or a direction, exactly one of the two; give one.")
        if self.toward_mm is not None:
            object.__setattr__(self, "toward_mm", frozen(self.toward_mm, (3,), name="strap point"))
        if self.direction is not None:
            line = unit(frozen(self.direction, (3,), name="strap direction"), name="strap direction")
            object.__setattr__(self, "direction", frozen(line, (3,), name="strap direction"))

    def direction_at(self, hook_mm: ArrayLike) -> Array:
        """Unit vector (3,) of the pull on a hook at ``hook_mm``; raises BadValueError within 1 mm of the
        strap point."""
        return self._line(hook_mm)[0]

    def force_at(self, hook_mm: ArrayLike) -> Array:
        """Force (3,) in N on a hook at ``hook_mm`` (3,)."""
        return self.force_n * self.direction_at(hook_mm)

    def tangent_at(self, hook_mm: ArrayLike) -> Array:
        """Derivative (3, 3) of the force by the hook's place, N/mm; symmetric, zero for a fixed direction."""
        direction, distance = self._line(hook_mm)
        return -self.force_n / distance * (np.eye(3) - np.outer(direction, direction))

    def _line(self, hook_mm: ArrayLike) -> tuple[Array, float]:
        if self.toward_mm is None:
            assert self.direction is not None
            return self.direction, float(np.inf)
        away = self.toward_mm - np.asarray(hook_mm, dtype=np.float64)
        distance = float(np.linalg.norm(away))
        if distance < NEAREST_MM:
            raise BadValueError(
                f"strap point {np.round(self.toward_mm, 1).tolist()} is {distance:.2f} mm from the hook; "
                f"it must be at least {NEAREST_MM} mm away: move the strap point back."
            )
        return away / distance, distance


@dataclass(frozen=True, eq=False)
class StrapPull:
    """All straps on one hook: one for cervical or high pull, two for combination; their forces add as
    vectors."""

    straps: tuple[Strap, ...]

    def __post_init__(self) -> None:
        if not self.straps:
            raise BadValueError("a pull needs at least one strap; give one.")

    @classmethod
    def toward(cls, point_mm: ArrayLike, *, force_n: float) -> StrapPull:
        """One strap toward a fixed point (3,)."""
        return cls((Strap(force_n, toward_mm=np.asarray(point_mm, dtype=np.float64)),))

    @classmethod
    def along(cls, direction: ArrayLike, *, force_n: float) -> StrapPull:
        """One strap along a fixed direction (3,)."""
        return cls((Strap(force_n, direction=np.asarray(direction, dtype=np.float64)),))

    def combined_with(self, other: StrapPull) -> StrapPull:
        """Both pulls on one hook."""
        return StrapPull(self.straps + other.straps)

    def scaled(self, factor: float) -> StrapPull:
        """The same lines with every force times ``factor`` (load steps)."""
        return StrapPull(tuple(Strap(s.force_n * factor, s.toward_mm, s.direction) for s in self.straps))

    def force_at(self, hook_mm: ArrayLike) -> Array:
        """Resultant force (3,) in N on a hook at ``hook_mm`` (3,)."""
        return np.asarray(np.sum([s.force_at(hook_mm) for s in self.straps], axis=0))

    def tangent_at(self, hook_mm: ArrayLike) -> Array:
        """Derivative (3, 3) of the resultant by the hook's place, N/mm."""
        return np.asarray(np.sum([s.tangent_at(hook_mm) for s in self.straps], axis=0))
