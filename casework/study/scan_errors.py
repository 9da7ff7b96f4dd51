"""How far a bad scan moves each method's centre: the same tooth, scanned well and scanned badly.

Reads a study of teeth that share a covariate ``base``, with ``fault`` and ``size``; the good scan has fault ``none``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from mesh_tools.errors import BadValueError

if TYPE_CHECKING:
    import pandas as pd

_PLACE = ["x_mm", "y_mm", "z_mm"]


@dataclass(frozen=True)
class ScanError:
    """Error of one method under one fault: teeth that were estimated, share that was refused, and distances in mm.

    ``shift_apical_mm``: mean signed shift along +z; ``rms_mm``: of the distance from the good scan's centre.
    """

    fault: str
    size: float
    method: str
    teeth: int
    refused: float
    shift_apical_mm: float
    rms_mm: float
    p95_mm: float


def scan_errors(results: pd.DataFrame) -> tuple[ScanError, ...]:
    """Every method's error under every fault of the study ``results``; raises BadValueError without its columns."""
    missing = {"cov_base", "cov_fault", "cov_size"} - set(results.columns)
    if missing:
        raise BadValueError(
            f"the study has no column {sorted(missing)[0]}; give base, fault and size (demo_meshes.invented)."
        )
    rows = results[results["method"] != ""]
    failed = results[results["method"] == ""]
    good = rows[(rows["cov_fault"] == "none") & (rows["status"] == "ok")].set_index(["cov_base", "method"])[
        _PLACE
    ]
    found = []
    faulty = rows[rows["cov_fault"] != "none"]
    for (fault, size, method), part in faulty.groupby(["cov_fault", "cov_size", "method"], sort=True):
        lost = int(((failed["cov_fault"] == fault) & (failed["cov_size"] == size)).sum())
        found.append(_error(str(fault), float(size), str(method), part, good, lost))
    return tuple(found)


def _error(
    fault: str, size: float, method: str, part: pd.DataFrame, good: pd.DataFrame, lost: int
) -> ScanError:
    sound = part[part["status"] == "ok"].set_index(["cov_base", "method"])
    both = sound.index.intersection(good.index)
    shift = sound.loc[both, _PLACE].to_numpy(float) - good.loc[both, _PLACE].to_numpy(float)
    away = np.linalg.norm(shift, axis=1)
    total = len(part) + lost
    none = len(both) == 0
    return ScanError(
        fault, size, method, len(both), 1.0 - len(both) / total if total else 0.0,
        float("nan") if none else float(shift[:, 2].mean()),
        float("nan") if none else float(np.sqrt((away**2).mean())),
        float("nan") if none else float(np.percentile(away, 95.0)),
    )  # fmt: skip
