"""The course of a case over its visits: relation by month and side, beside the bands of published rates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from casework.visits.rates import Band, bands
from casework.visits.record import Visit
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array, frozen

DAYS_A_MONTH = 30.4375  # 365.25 / 12
_AHEAD_MONTHS, _LEAST_MONTHS = 3.0, 6.0


@dataclass(frozen=True, eq=False)
class Course:
    """One side: months (n,) since the first visit and relation (n,) in mm, only visits at which it was measured."""

    months: Array
    relation_mm: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "months", frozen(self.months, (None,), name="months"))
        object.__setattr__(self, "relation_mm", frozen(self.relation_mm, (None,), name="relation_mm"))

    @property
    def gained_mm(self) -> float:
        """Correction from the first to the last measure, mm, positive toward class I."""
        return float(self.relation_mm[0] - self.relation_mm[-1]) if len(self.months) else 0.0

    @property
    def over_months(self) -> float:
        """Months from the first to the last measure."""
        return float(self.months[-1] - self.months[0]) if len(self.months) else 0.0


@dataclass(frozen=True, eq=False)
class Progress:
    """``bands``: of the side that began with more class II; ``side_bands``: of each measured side, from its own
    start. ``wear``: months, recorded and told hours of each visit."""

    visits: tuple[Visit, ...]
    courses: dict[Side, Course]
    bands: tuple[Band, ...]
    bands_from: Side | None
    side_bands: dict[Side, tuple[Band, ...]]
    wear: tuple[tuple[float, float | None, float | None], ...]
    prescribed_hours: float | None


def progress_of(visits: Sequence[Visit], pull: str) -> Progress:
    """The course of ``visits`` under ``pull``."""
    courses = {s: _course(visits, s) for s in SIDES}
    begun = {s: c for s, c in courses.items() if len(c.months)}
    worst = _most_at_first(begun)
    shown = (
        max(_LEAST_MONTHS, months_between(visits[0], visits[-1]) + _AHEAD_MONTHS) if visits else _LEAST_MONTHS
    )
    found = {side: _bands_of(course, pull, shown) for side, course in begun.items()}
    return Progress(
        visits=tuple(visits),
        courses=courses,
        bands=() if worst is None else found[worst],
        bands_from=worst,
        side_bands=found,
        wear=tuple((months_between(visits[0], v), v.recorded_hours, v.told_hours) for v in visits),
        prescribed_hours=last_prescribed(visits),
    )


def _bands_of(course: Course, pull: str, shown: float) -> tuple[Band, ...]:
    """The bands from the first measure of ``course`` to month ``shown``, months since the first visit."""
    start = float(course.months[0])
    drawn = bands(pull, float(course.relation_mm[0]), months=shown - start)
    return tuple(replace(band, months=band.months + start) for band in drawn)


def last_prescribed(visits: Sequence[Visit]) -> float | None:
    """The hours last prescribed."""
    return next((v.prescribed_hours for v in reversed(visits) if v.prescribed_hours is not None), None)


def months_between(one: Visit, other: Visit) -> float:
    """Months from one visit to another."""
    return (other.day - one.day).days / DAYS_A_MONTH


def _most_at_first(courses: dict[Side, Course]) -> Side | None:
    worst: Side | None = None
    for side, course in courses.items():
        if worst is None or course.relation_mm[0] > courses[worst].relation_mm[0]:
            worst = side
    return worst


def _course(visits: Sequence[Visit], side: Side) -> Course:
    seen = [(months_between(visits[0], v), r) for v in visits if (r := v.side(side).relation_mm) is not None]
    return Course(np.array([m for m, _ in seen]), np.array([r for _, r in seen]))
