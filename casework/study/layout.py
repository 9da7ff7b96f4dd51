"""A study's centres laid out as a published comparison has them: from the trifurcation, and from the buccal crown face.

Gandhi V, Luu B, Dresner R, Pierce D, Upadhyay M 2021 AJODO 160:442-450: finite elements of 50 upper first molars of 25
patients, 20.8 +- 8.7 years; mean +- SD in mm, along the tooth's apical (gingival), distal and lingual directions.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from casework.study.rows import group_name
from mesh_tools.errors import BadValueError

if TYPE_CHECKING:
    import pandas as pd

From = Literal["trifurcation", "buccal face"]
PUBLISHED: dict[tuple[From, str], tuple[float, float]] = {
    ("trifurcation", "apical"): (0.19, 1.75),
    ("trifurcation", "distal"): (1.48, 2.26),
    ("trifurcation", "lingual"): (0.14, 1.51),
    ("buccal face", "apical"): (7.86, 1.66),
    ("buccal face", "distal"): (2.54, 2.70),
    ("buccal face", "lingual"): (4.94, 1.39),
}


@dataclass(frozen=True)
class LaidOut:
    """One line: where from, along what, how many teeth, mean and SD here, and mean and SD published, mm.

    ``p``: of a t test of this mean against the published one with their own spreads (Welch), 50 teeth there.
    """

    place: From
    way: str
    teeth: int
    mean_mm: float
    sd_mm: float
    published_mean_mm: float
    published_sd_mm: float
    p: float


def laid_out(results: pd.DataFrame, *, method: str = "elastic_foundation") -> tuple[LaidOut, ...]:
    """The six lines for ``method`` over the upper first molars in ``results`` (the columns of results.csv).

    Only teeth with a furcation count, since elsewhere the frame has another origin. Raises BadValueError below three.
    """
    rows = results[
        (results["method"] == method) & (results["status"] == "ok") & (results["origin"] == "furcation")
    ]
    rows = rows[[group_name(int(t)) == "upper 6" for t in rows["tooth"]]]
    if len(rows) < 3:
        raise BadValueError(
            f"{method}: {len(rows)} upper first molars with a furcation are too few; give three."
        )
    return tuple(_line(rows, place, way, *known) for (place, way), known in PUBLISHED.items())


def _line(rows: pd.DataFrame, place: From, way: str, mean: float, sd: float) -> LaidOut:
    from scipy.stats import ttest_ind_from_stats

    column, sign = ("buccal", -1.0) if way == "lingual" else (way, 1.0)
    values = rows[f"centre_{column}_mm"].to_numpy(float)
    if place == "buccal face":
        values = values - rows[f"buccal_face_{column}_mm"].to_numpy(float)
    values = sign * values
    own_sd = float(values.std(ddof=1))
    p = ttest_ind_from_stats(values.mean(), own_sd, len(values), mean, sd, 50, equal_var=False).pvalue
    return LaidOut(place, way, len(values), float(values.mean()), own_sd, mean, sd, float(np.asarray(p)))
