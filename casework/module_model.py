"""The case file's ``[module]`` table: the spring between strap and hook as the user measured it, and the holes."""

from __future__ import annotations

from typing import Literal

import numpy as np
from pydantic import Field, model_validator

from casework.strict import N_PER_GF, Pair, Point, Strict
from mechanics.force_module.curve import ForceCurve
from mesh_tools.errors import BadValueError

LONGEST_MM = 40.0  # how far a rate is trusted when the user does not say: our assumption


class ModuleCurveModel(Strict):
    """One kind of module with its strap. The curve is given once: rows of extension and force, or a rate.

    ``slack_mm``: length along the strap at hole 1 with the modules at rest, hook to hook for a neck strap, hook to cap
    (one side) for a head cap; left out, the length that gives the wanted force is computed. Each further hole takes
    ``hole_pitch_mm`` off at either end.
    """

    table_mm_n: list[Pair] | None = Field(default=None, min_length=2)
    table_mm_gf: list[Pair] | None = Field(default=None, min_length=2)
    rate_n_per_mm: float | None = Field(default=None, gt=0.0, le=50.0)
    longest_mm: float | None = Field(default=None, gt=0.0, le=300.0)
    release_mm: float | None = Field(default=None, gt=0.0, le=300.0)
    release_n: float | None = Field(default=None, gt=0.0, le=100.0)
    slack_mm: float | None = Field(default=None, gt=0.0, le=1200.0)
    hole_pitch_mm: float = Field(default=5.0, gt=0.0, le=50.0)
    holes: int = Field(default=5, ge=1, le=20)
    hole: int | None = Field(default=None, ge=1, le=20)

    @model_validator(mode="after")
    def _one_curve(self) -> ModuleCurveModel:
        given = [v for v in (self.table_mm_n, self.table_mm_gf, self.rate_n_per_mm) if v is not None]
        if len(given) != 1:
            raise ValueError("give the module's force once: table_mm_n, table_mm_gf or rate_n_per_mm")
        if self.longest_mm is not None and self.rate_n_per_mm is None:
            raise ValueError("longest_mm belongs to rate_n_per_mm; a table ends with its last row")
        if self.hole is not None and self.hole > self.holes:
            raise ValueError(f"hole must be one of the {self.holes} holes")
        if self.hole is not None and self.slack_mm is None:
            raise ValueError("hole needs slack_mm, the strap's length at hole 1")
        try:
            self.curve()
        except BadValueError as err:
            raise ValueError(str(err)) from err
        return self

    def curve(self) -> ForceCurve:
        """The module's curve in mm and N."""
        if self.rate_n_per_mm is not None:
            longest = LONGEST_MM if self.longest_mm is None else self.longest_mm
            return ForceCurve.spring(
                self.rate_n_per_mm, longest_mm=longest, release_mm=self.release_mm, release_n=self.release_n
            )
        rows = np.array(self.table_mm_n if self.table_mm_n is not None else self.table_mm_gf)
        scale = 1.0 if self.table_mm_n is not None else N_PER_GF
        return ForceCurve(rows[:, 0], scale * rows[:, 1], self.release_mm, self.release_n)


class ModuleModel(ModuleCurveModel):
    """``[module]``: the module of the strap, or in combination pull of the neck strap, with ``high`` for the cap's.

    ``turn_deg`` and ``nod_deg``: how far the head is turned and nodded for the table. ``turn_axis_mm``: a point on the
    upright axis of turning, ``nod_axis_mm``: one on the side-to-side axis of nodding, LPS mm, head straight; left out,
    the first is the middle of the neck, the second lies above it at the height of the hard palate (our assumption).
    ``grip``: whether the neck strap slides freely, is held by the skin, or both for comparison.
    """

    high: ModuleCurveModel | None = None
    turn_deg: float = Field(default=30.0, gt=0.0, le=60.0)
    nod_deg: float = Field(default=15.0, gt=0.0, le=45.0)
    turn_axis_mm: Point | None = None
    nod_axis_mm: Point | None = None
    grip: Literal["free", "held", "both"] = "both"
