"""``centre.html``: one tooth's centre of resistance on one self-contained page."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from importlib.metadata import version
from typing import Any

from casework.cautions import CAUTIONS, SHORT_CAUTION
from casework.centre import CentreReport
from casework.centre_checks import checks_text
from casework.estimates_along import ALONG, Along, EstimateRow, EstimatesAlong
from casework.loaded_root import LoadedRoot
from casework.tooth_directions import axes_of_tooth
from mechanics.uncertainty.distributions import Distribution
from mechanics.uncertainty.propagate import Uncertainty
from viewer.palette import METHOD_ROLES, look
from viewer.templates import rendered
from viewer.words import method_name, signed

_AGAINST: dict[Along, str] = {"apical": "occlusal", "distal": "mesial", "lingual": "buccal"}
_FIRST = ("elastic_foundation", "thin_layer", "finite_elements", "root_centroid", "average_anatomy")
_PICTURES = {
    "centre.png": ("The tooth and its estimates", "The tooth with every estimate of its centre from three sides"),
    "estimates.png": ("Estimates with their bands", "Each estimate along apical, distal and lingual with its band"),
    "ligament.png": ("Pressure on the root", "The root coloured by pressure under a distal force, from four sides"),
}  # fmt: skip
_INPUT_NAMES = {
    "crest_below_cej_mm": "alveolar crest below the cervical line", "nu": "Poisson's ratio of the ligament",
    "surface_noise_mm": "error of the scan's surface", "tube_pick_mm": "pick of the tube",
    "occlusal_plane_deg": "tilt of the occlusal plane", "long_axis_deg": "tilt of the long axis",
}  # fmt: skip
_FROM = {"rule_of_thumb": "from rule", "furcation": "from furcation"}
_NO_SAMPLES = "The inputs were not sampled."
_BANDS = (
    "Bands in brackets: the middle 95 % of the samples for the elastic foundation, 1.96 published standard deviations "
    "over many teeth where a source gives them."
)


def centre_html(
    report: CentreReport, estimates: EstimatesAlong, loads: tuple[LoadedRoot, ...], pictures: Mapping[str, bytes]
) -> str:  # fmt: skip
    """The page as text; ``pictures``: PNG bytes by file name, those of ``centre.png`` and its fellows."""
    return rendered(
        "centre.html.j2",
        tooth=report.tooth.fdi,
        step=report.step,
        crest=f"{report.crest_below_cej_mm:.2g}",
        version=version("bowtrue"),
        origin=estimates.origin,
        short=_short(report, estimates, loads),
        true_lines=[*_true_lines(report), *checks_text(report)],
        warnings=report.warnings,
        others=[_FROM[name] for name in _FROM if name in report.methods],
        rows=[_row(report, row) for row in estimates.rows],
        band_words=_BANDS,
        pictures=[_picture(name, data) for name, data in pictures.items()],
        inputs=_inputs(report),
        findings=report.findings,
        anatomy=[] if report.anatomy is None else [_finding(f) for f in report.anatomy.findings],
        cautions=CAUTIONS,
        short_caution=SHORT_CAUTION,
        made_from=_made_from(report),
    )


def place_words(row: EstimateRow) -> str:
    """A row's place in words: ``2.4 mm apical, 0.5 mm distal, 0.5 mm buccal``."""
    parts = []
    for along in ALONG:
        value = row.places[along].value_mm
        parts.append(f"{abs(value):.1f} mm {along if value >= 0.0 else _AGAINST[along]}")
    return ", ".join(parts)


def _short(report: CentreReport, estimates: EstimatesAlong, loads: tuple[LoadedRoot, ...]) -> dict[str, Any]:
    """The estimate to look at first: a ligament model, else what comes nearest to one."""
    row = next((r for r in (estimates.row(name) for name in _FIRST) if r is not None), estimates.rows[0])
    lines = []
    apart = report.distance_mm(row.method, "rule_of_thumb")
    if apart is not None and row.method != "rule_of_thumb":
        lines.append(f"{apart:.1f} mm from the rule of thumb.")
    if report.confidence is None:
        lines.append(_NO_SAMPLES)
    else:
        lines.append(_region_words(report.confidence.uncertainty))
    lines += _load_lines(loads)
    return {"method": method_name(row.method), "place": place_words(row), "lines": lines}


def _region_words(u: Uncertainty) -> str:
    size = " × ".join(f"{2.0 * h:.1f}" for h in u.region.half_axes_mm)
    return (
        f"95 % region: an ellipsoid of {size} mm, which holds {100.0 * u.region.share_inside:.0f} % of "
        f"{u.convergence.samples} samples (seed {u.seed}); the second half of them moved its middle by "
        f"{u.convergence.mean_shift_mm:.3f} mm."
    )


def _true_lines(report: CentreReport) -> list[str]:
    axes, best = axes_of_tooth(report), report.best_ligament
    if axes is None or best is None:
        return []
    apart = ", ".join(f"{mm:.2f} mm ({pair.replace('-', ' and ')})" for pair, mm in axes.distances_mm.items())
    return [
        f"In 3D one point need not exist: the axes of resistance pass one another at {apart}.",
        f"The point nearest all three misses them by up to {axes.miss_mm:.2f} mm. Radius of resistance "
        f"{best.radius_of_resistance_mm():.1f} mm.",
    ]


def _load_lines(loads: tuple[LoadedRoot, ...]) -> list[str]:
    return [f"1 N distal {load.words}: 99 % of the root within {load.largest_kpa:.2g} kPa." for load in loads]


def _row(report: CentreReport, row: EstimateRow) -> dict[str, Any]:
    result = report.methods[row.method]
    point = ", ".join(signed(float(v), digits=2) for v in result.point_mm)
    apart = [_mm(report.distance_mm(row.method, other)) for other in _FROM if other in report.methods]
    return {
        "name": method_name(row.method),
        "colour": look(METHOD_ROLES.get(row.method, "estimate")).colour,
        "fallback": row.fallback,
        "cells": [
            point,
            *(_with_band(row, a) for a in ALONG),
            *apart,
            f"{result.seconds:.2f}\N{NO-BREAK SPACE}s",
        ],
        "assumptions": result.estimate.assumptions,
        "source": result.estimate.source,
    }


def _with_band(row: EstimateRow, along: Along) -> str:
    place = row.places[along]
    value = signed(place.value_mm)
    if row.bands == "none":
        return value
    return f"{value} ({signed(place.low_mm)} to {signed(place.high_mm)})"


def _mm(value: float | None) -> str:
    return "" if value is None else f"{value:.1f}"


def _picture(name: str, data: bytes) -> dict[str, str]:
    title, alt = _PICTURES[name]
    return {"title": title, "alt": alt, "data": base64.b64encode(data).decode("ascii")}


def _inputs(report: CentreReport) -> list[dict[str, str]]:
    """What the samples drew, the most telling first."""
    if report.confidence is None:
        return []
    u = report.confidence.uncertainty
    total = u.indices["centre"]
    return [
        {
            "name": _INPUT_NAMES.get(name, name.replace("_", " ")),
            "share": f"{100.0 * max(total[name].total, 0.0):.0f} %",
            "words": _distribution_words(u.inputs[name]),
            "source": u.inputs[name].source,
        }
        for name in u.ranking
    ]


def _distribution_words(d: Distribution) -> str:
    if d.kind == "uniform":
        return f"even between {d.low:g} and {d.high:g}"
    return f"normal, {d.mean:g} ± {d.sd:g}, between {d.low:g} and {d.high:g}"


def _finding(found: Any) -> dict[str, Any]:
    item = found.item.removesuffix("_mm").replace("_mm.", ", ").replace("_", " ")
    return {"item": item[0].upper() + item[1:], "how": found.how, "confidence": found.confidence}


def _made_from(report: CentreReport) -> list[dict[str, str]]:
    files = [{"name": f"tooth {report.tooth.fdi}", "file": report.file, "sha256": report.sha256}]
    bone = report.extra.get("bone")
    return files if bone is None else [*files, {"name": "bone", **bone}]
