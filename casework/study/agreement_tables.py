"""A study's agreement as tables: one row an agreement, a dependence, an outlier."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import astuple
from typing import Any

from casework.study.agreement import Agreement, Dependence, Interval, Outlier, StudyAgreement
from casework.study.scan_errors import ScanError


def agreement_csv(found: StudyAgreement) -> dict[str, str]:
    """File names and texts: ``agreement.csv``, ``dependence.csv``, ``outliers.csv``."""
    return {
        "agreement.csv": _text(_AGREEMENT, [_agreement(a) for a in found.agreements]),
        "dependence.csv": _text(_DEPENDENCE, [_dependence(d) for d in found.dependences]),
        "outliers.csv": _text(_OUTLIER, [_outlier(o) for o in found.outliers]),
    }


_AGREEMENT = (
    "group", "method", "reference", "way", "teeth", "fallbacks", "mean_mm", "mean_low_mm", "mean_high_mm", "sd_mm",
    "lower_limit_mm", "lower_low_mm", "lower_high_mm", "upper_limit_mm", "upper_low_mm", "upper_high_mm", "icc",
    "icc_low", "icc_high",
)  # fmt: skip
_DEPENDENCE = (
    "group", "method", "reference", "way", "term", "teeth", "slope", "slope_low", "slope_high", "p", "r_squared",
)  # fmt: skip
_OUTLIER = ("group", "id", "line", "method", "reference", "way", "difference_mm", "score")


def _agreement(a: Agreement) -> list[Any]:
    icc = (None, None, None) if a.icc is None else (a.icc.value, a.icc.low, a.icc.high)
    return [a.group, a.method, a.reference, a.way, a.teeth, a.fallbacks, *_ends(a.mean), a.sd_mm, *_ends(a.lower),
            *_ends(a.upper), *icc]  # fmt: skip


def _dependence(d: Dependence) -> list[Any]:
    return [d.group, d.method, d.reference, d.way, d.term, d.teeth, *_ends(d.slope), d.p, d.r_squared]


def _outlier(o: Outlier) -> list[Any]:
    return [o.group, o.id, o.line, o.method, o.reference, o.way, o.difference_mm, o.score]


def errors_csv(found: Sequence[ScanError]) -> str:
    """One row a fault, size and method."""
    head = ("fault", "size", "method", "teeth", "refused", "shift_apical_mm", "rms_mm", "p95_mm")
    return _text(head, [astuple(e) for e in found])


def _ends(i: Interval) -> tuple[float | None, ...]:
    return (i.value, i.low, i.high)


def _text(head: Sequence[str], rows: Sequence[Sequence[Any]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    writer.writerows(
        [f"{v:.6g}" if isinstance(v, float) else "" if v is None else v for v in row] for row in rows
    )
    return out.getvalue()
