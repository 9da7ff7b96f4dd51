"""Readings from a TOML table, or from words of the command line."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from casework.case_file import MOST_FORCE_N, N_PER_GF, Pair, too_strong
from casework.check.errors import CheckError
from casework.check.readings import (
    Measured,
    MeasuringErrors,
    PhotoReading,
    Reading,
    RulerReading,
    StrapReading,
)
from mechanics.sides import SIDES, Side
from mesh_tools.errors import BadFileError, BowtrueError, MissingFileError, one_line


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class _Strap(_Strict):
    strap_angle_deg: float | None = None
    force_n: float | None = None
    force_gf: float | None = None

    def newtons(self) -> float | None:
        if self.force_n is not None and self.force_gf is not None:
            raise CheckError("give the force once, as force_n or as force_gf.")
        force = self.force_n if self.force_gf is None else self.force_gf * N_PER_GF
        if force is not None and force > MOST_FORCE_N:
            if self.force_gf is None:
                raise CheckError(f"force_n: {too_strong(force, write='force_gf = {:g}')}")
            raise CheckError(
                f"force_gf: {self.force_gf:g} gf is {force:.1f} N; must be at most {MOST_FORCE_N:g} N."
            )
        return force

    def reading(self) -> StrapReading:
        return StrapReading(self.strap_angle_deg, self.newtons())


class _Photo(_Strict):
    scale_px: list[Pair] = Field(min_length=2, max_length=2)
    scale_mm: float
    plane_px: list[Pair] = Field(min_length=2, max_length=2)
    mark_px: Pair
    hook_px: Pair
    strap_px: Pair
    high_strap_px: Pair | None = None


class _Side(_Strap):
    hook_up_mm: float | None = None
    hook_back_mm: float | None = None
    high: _Strap | None = None
    photo: _Photo | None = None

    def to_reading(self) -> Reading:
        if self.photo is not None:
            return self._from_photo(self.photo)
        if self.hook_up_mm is None or self.hook_back_mm is None:
            raise CheckError("give hook_up_mm and hook_back_mm, or a photo table.")
        straps = [self.reading(), *([] if self.high is None else [self.high.reading()])]
        return RulerReading(self.hook_up_mm, self.hook_back_mm, tuple(straps))

    def _from_photo(self, photo: _Photo) -> PhotoReading:
        if (self.hook_up_mm, self.hook_back_mm, self.strap_angle_deg) != (None, None, None):
            raise CheckError("give the hook and the strap's angle by ruler or by photo, not both.")
        two = photo.high_strap_px is not None
        forces = [self.newtons(), *([self.high.newtons() if self.high else None] if two else [])]
        points = [photo.strap_px, *([photo.high_strap_px] if photo.high_strap_px is not None else [])]
        return PhotoReading(
            np.array(photo.scale_px), photo.scale_mm, np.array(photo.plane_px), np.array(photo.mark_px),
            np.array(photo.hook_px), np.array(points), tuple(forces),
        )  # fmt: skip


class _Errors(_Strict):
    ruler_mm: float | None = None
    protractor_deg: float | None = None
    gauge_share: float | None = None
    photo_point_mm: float | None = None
    photo_scale_share: float | None = None
    unmeasured_angle_deg: float | None = None
    unmeasured_force_share: float | None = None


class _File(_Strict):
    right: _Side | None = None
    left: _Side | None = None
    errors: _Errors = Field(default_factory=_Errors)


def read_measured(path: str | os.PathLike[str]) -> Measured:
    """Readings of the TOML file at ``path``; docs/months.md has its keys. Raises BowtrueError naming the file."""
    where = Path(path)
    try:
        values = tomllib.loads(where.read_bytes().decode("utf-8-sig"))
    except FileNotFoundError as err:
        raise MissingFileError(f"{where}: no such file; give the readings' TOML file.") from err
    except (OSError, ValueError, RecursionError) as err:
        raise BadFileError(f"{where}: is not a TOML file ({' '.join(str(err).split())}).") from err
    try:
        return measured_from(values)
    except BowtrueError as err:
        raise type(err)("\n".join(f"{where}: {line}" for line in str(err).splitlines())) from err


def measured_from(values: dict[str, Any]) -> Measured:
    """Readings of a table as in the file. Raises CheckError, one line for each key that is wrong."""
    try:
        model = _File.model_validate(values)
    except ValidationError as err:
        raise CheckError("\n".join(_problems(err))) from err
    errors = MeasuringErrors(**model.errors.model_dump(exclude_none=True))
    return Measured(dict(_sides(model)), errors)


def _sides(model: _File) -> Iterator[tuple[Side, Reading]]:
    for side in SIDES:
        table: _Side | None = getattr(model, side)
        if table is None:
            continue
        try:
            yield side, table.to_reading()
        except BowtrueError as err:
            raise CheckError(f"{side}.{err}" if str(err)[:5] != "give " else f"{side}: {err}") from err


def _problems(err: ValidationError) -> Iterator[str]:
    for problem in err.errors(include_url=False):
        key = one_line(".".join(str(part) for part in problem["loc"]))
        if problem["type"] == "extra_forbidden":
            yield f"{key}: unknown key; see docs/months.md."
        elif problem["type"] == "missing":
            yield f"{key}: is missing; add it."
        else:
            yield f"{key}: {problem['msg'].replace('Input should be', 'must be')}; got {problem['input']!r:.60}."
