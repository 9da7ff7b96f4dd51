"""Does the measured movement differ from the predicted one by more than noise, or than growth, explains?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from casework.moved.toothmove import Prediction, ToothMove
from mesh_tools.arrays import Array

Verdict = Literal["nothing moved", "as predicted", "growth may explain it", "differs", "no prediction"]
_LIMIT_95 = {3: 7.815, 5: 11.070, 6: 12.592}  # 95 % points of chi-square (any table)
_MODEL_DEG_PER_MM = 0.5
"""How far a predicted turn is trusted, for each mm of travel: the published scatter of the centre (SD 1.4-2.7 mm;
Gandhi V et al. 2021 AJODO 160:442-450) over a squared radius of resistance of about 70 mm2 (from memory) is 1-2
degrees a mm; we take less, so that a difference is rather told than hidden."""
_MODEL_SHARE = 0.15  # of the travel, across the predicted way: our choice

# Growth of a child in a year beside the held parts, mm at most in each direction: width 3.08 mm from 7.6 to 26.4 years
# between both molars (Hesby RM et al. 2006 AJODO 130:721-731); down and forward with eruption and drift: from memory.
GROWTH_MM_A_YEAR = {"lateral": 3.08 / 18.8 / 2.0, "occlusal": 1.0, "mesial": 0.5}
GROWN_UP_YEARS = 18.0


@dataclass(frozen=True, eq=False)
class Compared:
    """``along_mm``: travel along the predicted way; ``across_mm`` (3,) outward, back, up: the rest; ``turn_off_deg``
    (3,); ``angle_deg`` between both ways. ``misfit``: squared distance in standard deviations; ``limit`` its 95 %.
    """

    verdict: Verdict
    along_mm: float
    across_mm: Array
    turn_off_deg: Array
    angle_deg: float | None
    misfit: float
    limit: float
    growth_mm: Array


def compared(
    move: ToothMove, predicted: Prediction | None, *, months: float | None, age_years: float | None
) -> Compared:
    """How the movement compares with the prediction; growth is allowed for when ``months`` and age are known."""
    seen = np.concatenate([move.motion.crown_mm, move.motion.turn_deg])
    spread = np.cov(move.draws.T)
    still = _squared(seen, spread)
    if still < _LIMIT_95[6]:
        return _told("nothing moved", seen, np.zeros(6), 0.0, misfit=still, limit=_LIMIT_95[6])
    if predicted is None:
        return _told("no prediction", seen, np.zeros(6), 0.0, misfit=still, limit=_LIMIT_95[6])
    growth = _growth_box(months, age_years)
    plain = _misfit(seen, spread, predicted.way, np.zeros((2, 3)))
    grown = _misfit(seen, spread, predicted.way, growth)
    verdict: Verdict = "differs"
    if plain[0] < _LIMIT_95[5]:
        verdict = "as predicted"
    elif grown[0] < _LIMIT_95[5]:
        verdict = "growth may explain it"
    best = grown if verdict == "growth may explain it" else plain
    if verdict == "differs":  # no fit is meant any more: what is told is the plain travel along the way
        way = predicted.way[:3]
        best = (plain[0], max(0.0, float(seen[:3] @ way / (way @ way))), np.zeros(3))
    return _told(verdict, seen, predicted.way, best[1], misfit=best[0], limit=_LIMIT_95[5], growth=best[2])


def _growth_box(months: float | None, age_years: float | None) -> Array:
    """Least and most (2, 3) growth outward, back, up over the time between the scans."""
    if months is None or age_years is None or age_years >= GROWN_UP_YEARS:
        return np.zeros((2, 3))
    years = months / 12.0
    low = [0.0, -GROWTH_MM_A_YEAR["mesial"] * years, -GROWTH_MM_A_YEAR["occlusal"] * years]
    return np.array([low, [GROWTH_MM_A_YEAR["lateral"] * years, 0.0, 0.0]])


def _misfit(seen: Array, spread: Array, way: Array, growth: Array) -> tuple[float, float, Array]:
    """Squared distance, travel along the way, and the growth (3,) that lessen it most; in turn until both settle."""
    grown, amount = np.zeros(3), 0.0
    for _ in range(60):
        whole = spread + _model_spread(way, amount)
        weight = np.linalg.inv(whole)
        rest = seen - np.concatenate([grown, np.zeros(3)])
        amount = max(0.0, float(way @ weight @ rest) / float(way @ weight @ way))
        left = (seen - amount * way)[:3]
        grown = np.clip(left, growth[0], growth[1])
    rest = seen - amount * way - np.concatenate([grown, np.zeros(3)])
    return _squared(rest, spread + _model_spread(way, amount)), amount, grown


def _model_spread(way: Array, amount_mm: float) -> Array:
    """What the prediction itself leaves open for so much travel, (6, 6)."""
    sd = np.array([_MODEL_SHARE] * 3 + [_MODEL_DEG_PER_MM] * 3) * amount_mm
    return np.diag(sd**2)


def _squared(values: Array, spread: Array) -> float:
    return float(values @ np.linalg.solve(spread, values))


def _told(
    verdict: Verdict, seen: Array, way: Array, amount: float, *, misfit: float, limit: float,
    growth: Array | None = None,
) -> Compared:  # fmt: skip
    rest = seen - amount * way
    sizes = float(np.linalg.norm(seen[:3]) * np.linalg.norm(way[:3]))
    angle = (
        None if sizes < 1e-9 else float(np.degrees(np.arccos(np.clip(seen[:3] @ way[:3] / sizes, -1.0, 1.0))))
    )
    return Compared(
        verdict, amount, rest[:3], rest[3:], angle, misfit, limit, np.zeros(3) if growth is None else growth
    )
