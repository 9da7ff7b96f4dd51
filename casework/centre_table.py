"""Centre estimates side by side: as text for people and as CSV for programs."""

from __future__ import annotations

import csv
import io

from casework.cautions import SHORT_CAUTION
from casework.centre import CentreReport
from casework.centre_checks import checks_text

_HEAD = (
    f"{'method':<22}{'x':>9}{'y':>9}{'z':>9}{'from rule':>11}{'from furcation':>16}{'band':>14}{'time':>9}"
)


def centre_text(report: CentreReport) -> str:
    """The table that ``bowtrue centre`` prints; mm, LPS."""
    layer = report.ligament
    lines = [
        f"Tooth {report.tooth.fdi}, {report.step}; crest {report.crest_below_cej_mm:.3g} mm below the cervical line; "
        f"ligament E {layer.e_mpa:g} MPa, nu {layer.nu:g}, {layer.thickness_mm:g} mm",
        *_anatomy_lines(report),
        f"Centre of resistance, LPS mm (origin as in {report.file or 'the input'}):",
        _HEAD,
        *(_row(report, name) for name in report.methods),
        *(["  * made without what the method really needs: a fallback"] if _has_fallback(report) else []),
        *_how_sure(report),
        *checks_text(report),
        *(f"  ! {text}" for text in report.warnings),
        *(f"  . {text}" for text in report.findings),
        SHORT_CAUTION,
    ]
    return "\n".join(lines)


def _anatomy_lines(report: CentreReport) -> list[str]:
    a = report.anatomy
    if a is None:
        return []
    roots = ", ".join(f"{r.name} {r.length_mm:.1f} mm" for r in a.roots)
    return [f"Crown {a.crown_height_mm:.1f} mm; {a.separate_roots} separate root(s): {roots}"]


def _how_sure(report: CentreReport) -> list[str]:
    lines = []
    best = report.best_ligament
    if best is not None and report.root is not None:
        axes = best.axes_of_resistance()
        lines.append(
            f"A point is true to {axes.miss_mm:.2f} mm: axes of resistance for distal, buccal and vertical force miss "
            f"one another by up to {max(axes.distances_mm.values()):.2f} mm; radius of resistance "
            f"{best.radius_of_resistance_mm():.1f} mm."
        )
    if report.confidence is not None:
        u = report.confidence.uncertainty
        size = " x ".join(f"{2 * h:.1f}" for h in u.region.half_axes_mm)
        first = ", ".join(f"{n} {100 * u.indices['centre'][n].total:.0f} %" for n in u.ranking[:3])
        lines.append(
            f"Region of the elastic-foundation centre, 95 %: {size} mm ({u.convergence.samples} samples, "
            f"seed {u.seed}, settled to {u.convergence.mean_shift_mm:.3f} mm); "
            f"what matters most: {first}."
        )
    return lines


def _row(report: CentreReport, name: str) -> str:
    result = report.methods[name]
    x, y, z = result.point_mm
    mark = " *" if result.estimate.fallback else ""
    return (
        f"{name + mark:<22}{x:9.2f}{y:9.2f}{z:9.2f}{_mm(report, name, 'rule_of_thumb'):>11}"
        f"{_mm(report, name, 'furcation'):>16}{_band(report, name):>14}{result.seconds:8.2f}s"
    )


def _has_fallback(report: CentreReport) -> bool:
    return any(m.estimate.fallback for m in report.methods.values())


def _band(report: CentreReport, name: str) -> str:
    """95 % half-width of the sampled region for a ligament model, published SDs for a landmark, else a dash."""
    result = report.methods[name]
    if name == "elastic_foundation" and report.confidence is not None:
        return f"+-{report.confidence.band_mm:.1f} mm"
    scatter = result.estimate.scatter_mm
    return "-" if scatter is None else f"SD {min(scatter):.1f}-{max(scatter):.1f}"


def _mm(report: CentreReport, name: str, other: str) -> str:
    distance = report.distance_mm(name, other)
    return "-" if distance is None else f"{distance:.2f} mm"


def centre_csv(report: CentreReport) -> str:
    """One row a method."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(
        (
            "tooth",
            "method",
            "x_mm",
            "y_mm",
            "z_mm",
            "from_rule_of_thumb_mm",
            "from_furcation_mm",
            "fallback",
            "seconds",
        )
    )
    for name, result in report.methods.items():
        point = [f"{v:.6f}" for v in result.point_mm]
        apart = [_number(report.distance_mm(name, other)) for other in ("rule_of_thumb", "furcation")]
        fallback = str(result.estimate.fallback).lower()
        rows.writerow((report.tooth.fdi, name, *point, *apart, fallback, f"{result.seconds:.4f}"))
    return out.getvalue()


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.6f}"
