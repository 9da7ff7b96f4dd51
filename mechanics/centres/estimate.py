"""One estimate of the centre of resistance: where, by what, on what assumptions, with what scatter."""

from __future__ import annotations

from dataclasses import dataclass

from mesh_tools.arrays import Array, frozen


@dataclass(frozen=True, eq=False)
class CentreEstimate:
    """``point_mm`` (3,) by ``method``; ``scatter_mm`` (3,) standard deviations along mesiodistal, buccolingual and
    vertical where published, else None; ``fallback`` marks an estimate made without what the method really needs."""

    method: str
    point_mm: Array
    assumptions: str
    source: str
    scatter_mm: tuple[float, float, float] | None = None
    fallback: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "point_mm", frozen(self.point_mm, (3,), name=f"{self.method} point"))
