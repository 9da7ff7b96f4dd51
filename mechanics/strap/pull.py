"""The pull of one or more straps on a hook, and how it turns when the hook moves."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array, frozen, unit
from mesh_tools.errors import BadValueError

if TYPE_CHECKING:
    from mechanics.strap.follow import BandEnd

NEAREST_MM = 1.0


@dataclass(frozen=True, eq=False)
class Strap:
    """One strap of tension ``force_n`` (N), toward the point ``toward_mm`` (3,), along ``direction`` (3,) or as the
    end ``band`` of a taut band; one of the three.

    A point is fixed to the patient, so the pull turns as the hook moves; a direction stays; a band leaves the skin
    at another place when its hooks move. Raises BadValueError for a negative or infinite force and unless exactly
    one line is given.
    """

    force_n: float
    toward_mm: Array | None = None
    direction: Array | None = None
    band: BandEnd | None = None

    def __post_init__(self) -> None:
        if not (np.isfinite(self.force_n) and self.force_n >= 0.0):
            raise BadValueError(f"strap force must be zero or more newtons; got {self.force_n}.")
        if sum(line is not None for line in (self.toward_mm, self.direction, self.band)) != 1:
            raise BadValueError(
                "a strap needs a point, a direction or a band, exactly one of the three; give one."
            )
        if self.toward_mm is not None:
            object.__setattr__(self, "toward_mm", frozen(self.toward_mm, (3,), name="strap point"))
        if self.direction is not None:
            line = unit(frozen(self.direction, (3,), name="strap direction"), name="strap direction")
            object.__setattr__(self, "direction", frozen(line, (3,), name="strap direction"))

    @property
    def turns(self) -> bool:
        """Whether the pull turns as its hook moves."""
        return self.direction is None

    def direction_at(self, hook_mm: ArrayLike, other_mm: ArrayLike | None = None) -> Array:
        """Unit vector (3,) of the pull on a hook at ``hook_mm``; raises BadValueError within 1 mm of the
        strap point. A band also asks where the hook of the other side is, ``other_mm`` (left out: where it was
        when the band was laid)."""
        return self._line(hook_mm, other_mm)[0]

    def force_at(self, hook_mm: ArrayLike, other_mm: ArrayLike | None = None) -> Array:
        """Force (3,) in N on a hook at ``hook_mm`` (3,), the other side's hook at ``other_mm``."""
        return self.force_n * self.direction_at(hook_mm, other_mm)

    def tangent_at(self, hook_mm: ArrayLike, other_mm: ArrayLike | None = None) -> Array:
        """Derivative (3, 3) of the force by the hook's own place, N/mm; zero for a fixed direction."""
        direction, distance, slope = self._line(hook_mm, other_mm)
        if self.direction is not None:
            return np.zeros((3, 3))
        across = self.force_n / distance * (np.eye(3) - np.outer(direction, direction))
        return across @ (slope - np.eye(3))

    def _line(self, hook_mm: ArrayLike, other_mm: ArrayLike | None) -> tuple[Array, float, Array]:
        """Direction (3,), distance to where it leads, and how that place moves with the hook (3, 3)."""
        slope = np.zeros((3, 3))
        if self.direction is not None:
            return self.direction, float(np.inf), slope
        goal = self.toward_mm
        if self.band is not None:
            goal, slope = self.band.leaving(hook_mm, other_mm)
        assert goal is not None
        away = goal - np.asarray(hook_mm, dtype=np.float64)
        distance = float(np.linalg.norm(away))
        if distance < NEAREST_MM:
            raise BadValueError(
                f"strap point {np.round(goal, 1).tolist()} is {distance:.2f} mm from the hook; "
                f"it must be at least {NEAREST_MM} mm away: move the strap point back."
            )
        return away / distance, distance, slope


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

    def standing(self, hook_mm: ArrayLike, other_mm: ArrayLike) -> StrapPull:
        """This pull with every band replaced by the point it leads to from a hook at ``hook_mm``."""
        led = [
            s if s.band is None else Strap(s.force_n, toward_mm=s.band.leaving(hook_mm, other_mm)[0])
            for s in self.straps
        ]
        return StrapPull(tuple(led))

    def combined_with(self, other: StrapPull) -> StrapPull:
        """Both pulls on one hook."""
        return StrapPull(self.straps + other.straps)

    def scaled(self, factor: float) -> StrapPull:
        """The same lines with every force times ``factor`` (load steps)."""
        return StrapPull(tuple(replace(s, force_n=s.force_n * factor) for s in self.straps))

    def force_at(self, hook_mm: ArrayLike, other_mm: ArrayLike | None = None) -> Array:
        """Resultant force (3,) in N on a hook at ``hook_mm`` (3,), the other side's hook at ``other_mm``."""
        return np.asarray(np.sum([s.force_at(hook_mm, other_mm) for s in self.straps], axis=0))

    def tangent_at(self, hook_mm: ArrayLike, other_mm: ArrayLike | None = None) -> Array:
        """Derivative (3, 3) of the resultant by the hook's own place, N/mm."""
        return np.asarray(np.sum([s.tangent_at(hook_mm, other_mm) for s in self.straps], axis=0))
