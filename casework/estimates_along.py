"""Every estimate of one tooth along apical, distal and lingual, from a landmark of the tooth, with its band."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from casework.centre import CentreReport
from casework.tooth_directions import tooth_directions
from mechanics.centres.estimate import CentreEstimate
from mechanics.uncertainty.region import band
from mesh_tools.arrays import Array

Along = Literal["apical", "distal", "lingual"]
ALONG: tuple[Along, ...] = ("apical", "distal", "lingual")
BandKind = Literal["samples", "published", "none"]
_SD_95 = 1.959964  # half-width of the middle 95 % of a normal distribution, in standard deviations
_SAMPLED = "elastic_foundation"


@dataclass(frozen=True)
class Place:
    """``value_mm`` from the origin and its 95 % band from ``low_mm`` to ``high_mm``; both are the value without one."""

    value_mm: float
    low_mm: float
    high_mm: float


@dataclass(frozen=True)
class EstimateRow:
    """One method: its place along each direction, and what its bands are made of."""

    method: str
    fallback: bool
    bands: BandKind
    places: dict[Along, Place]


@dataclass(frozen=True, eq=False)
class EstimatesAlong:
    """The rows in the report's order, from ``origin_mm`` (3,), which ``origin`` names."""

    origin: str
    origin_mm: Array
    rows: tuple[EstimateRow, ...]

    def row(self, method: str) -> EstimateRow | None:
        """The row of ``method``, or None."""
        return next((r for r in self.rows if r.method == method), None)


def estimates_along(report: CentreReport) -> EstimatesAlong:
    """Rows relative to the furcation, else the middle of the cervical line, else the rule of thumb or first point.

    A band is the middle 95 % of the samples (for the elastic foundation, which was sampled) or 1.96 published
    standard deviations to either side. The rule of thumb has none.
    """
    origin, origin_mm = _origin(report)
    rows = tuple(_row(report, name, origin_mm) for name in report.methods)
    return EstimatesAlong(origin, origin_mm, rows)


def _origin(report: CentreReport) -> tuple[str, Array]:
    if report.anatomy is not None and report.anatomy.trifurcation_mm is not None:
        return "furcation", report.anatomy.trifurcation_mm
    if report.anatomy is not None:
        return "middle of the cervical line", report.anatomy.cervical_line_mm.mean(axis=0)
    name = "rule_of_thumb" if "rule_of_thumb" in report.methods else next(iter(report.methods))
    return name.replace("_", " "), report.methods[name].point_mm


def _row(report: CentreReport, name: str, origin_mm: Array) -> EstimateRow:
    estimate = report.methods[name].estimate
    ways = _ways(report)
    if name == _SAMPLED and report.confidence is not None:
        samples = report.confidence.uncertainty.draws.centres_mm
        places = {a: _sampled(estimate, samples, origin_mm, ways[a]) for a in ALONG}
        return EstimateRow(name, estimate.fallback, "samples", places)
    scatter = _scatter(estimate)
    places = {a: _published(float((estimate.point_mm - origin_mm) @ ways[a]), scatter[a]) for a in ALONG}
    return EstimateRow(
        name, estimate.fallback, "none" if estimate.scatter_mm is None else "published", places
    )


def _ways(report: CentreReport) -> dict[Along, Array]:
    d = tooth_directions(report)
    return {"apical": d.apical, "distal": d.distal, "lingual": d.lingual}


def _sampled(estimate: CentreEstimate, samples: Array, origin_mm: Array, way: Array) -> Place:
    found = band((samples - origin_mm) @ way)
    return Place(float((estimate.point_mm - origin_mm) @ way), found.low, found.high)


def _scatter(estimate: CentreEstimate) -> dict[Along, float]:
    distal, lingual, apical = estimate.scatter_mm or (0.0, 0.0, 0.0)
    return {"apical": apical, "distal": distal, "lingual": lingual}


def _published(value: float, sd: float) -> Place:
    half = _SD_95 * sd
    return Place(value, value - half, value + half)
