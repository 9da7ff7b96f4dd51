"""The base of every part of a case file: nothing unknown, nothing converted silently."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

N_PER_GF = 9.80665e-3  # standard gravity, exact by definition (SI brochure, CGPM 1901)
Point = Annotated[list[float], Field(min_length=3, max_length=3)]
Pair = Annotated[list[float], Field(min_length=2, max_length=2)]


class Strict(BaseModel):
    """Base of every part: no unknown keys, no NaN, no silent conversion of text to numbers."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)
