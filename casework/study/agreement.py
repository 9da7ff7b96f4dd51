"""Agreement of the methods over a study: differences with limits, intraclass correlation, dependence, outliers.

Limits of agreement: Bland JM, Altman DG 1986 Lancet 327:307-310. Intraclass correlation and its interval: McGraw KO,
Wong SP 1996 Psychol Methods 1:30-46. Bootstrap
intervals (bias-corrected, accelerated) by scipy, regressions by statsmodels.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from casework.study.icc import Icc, icc_absolute
from casework.study.rows import group_name
from mesh_tools.arrays import Array

if TYPE_CHECKING:
    import pandas as pd

WAYS = ("apical", "distal", "buccal")
TERMS = ("root_length_mm", "divergence_deg", "crest_below_cej_mm", "left")
LEAST_TEETH = 3
_OUTLYING = (
    3.5  # modified z score: Iglewicz B, Hoaglin DC 1993 How to Detect and Handle Outliers, ASQC (from memory)
)
_RESAMPLES = 2000


@dataclass(frozen=True)
class Interval:
    """A value with its 95 % interval; ends are None where it has none."""

    value: float
    low: float | None
    high: float | None


@dataclass(frozen=True)
class Agreement:
    """One method against another along one way of the tooth's frame: ``method - reference``, mm.

    ``sd_mm``: of the differences; ``lower``/``upper``: limits of agreement, mean -+ 1.96 SD, with bootstrap intervals;
    ``icc``: absolute agreement of single estimates, None where the values do not vary.
    """

    group: str
    method: str
    reference: str
    way: str
    teeth: int
    fallbacks: int
    mean: Interval
    sd_mm: float
    lower: Interval
    upper: Interval
    icc: Icc | None


@dataclass(frozen=True)
class Dependence:
    """One term of the regression of a difference on what is known of the tooth: mm per unit of the term."""

    group: str
    method: str
    reference: str
    way: str
    term: str
    teeth: int
    slope: Interval
    p: float
    r_squared: float


@dataclass(frozen=True)
class Outlier:
    """A tooth whose difference lies far from the others' (modified z score above 3.5)."""

    group: str
    id: str
    line: int
    method: str
    reference: str
    way: str
    difference_mm: float
    score: float


@dataclass(frozen=True)
class StudyAgreement:
    """Everything said of a study's methods; ``notes``: what could not be said, and why."""

    agreements: tuple[Agreement, ...]
    dependences: tuple[Dependence, ...]
    outliers: tuple[Outlier, ...]
    notes: tuple[str, ...]


def study_agreement(results: pd.DataFrame, *, seed: int = 0) -> StudyAgreement:
    """Agreement in ``results`` (the columns of results.csv), tooth by tooth, for every place in the arch by itself.

    Every method is set against the rule of thumb, the furcation and the elastic foundation, as far as they are there.
    """
    good = results[(results["status"] == "ok") & results["centre_apical_mm"].notna()].copy()
    good["group"] = [group_name(int(t)) for t in good["tooth"]]
    agreements: list[Agreement] = []
    dependences: list[Dependence] = []
    outliers: list[Outlier] = []
    notes: list[str] = []
    for group, teeth in good.groupby("group", sort=True):
        for pair in _pairs(teeth):
            if len(pair.difference) < LEAST_TEETH:
                notes.append(
                    f"{group}: {pair.method} against {pair.reference}: {len(pair.difference)} teeth are too few; "
                    f"agreement needs {LEAST_TEETH}."
                )
                continue
            for k, way in enumerate(WAYS):
                agreements.append(_agreement(str(group), pair, k, way, seed))
                dependences += _dependences(str(group), pair, k, way)
                outliers += _outliers(str(group), pair, k, way)
    return StudyAgreement(tuple(agreements), tuple(dependences), tuple(outliers), tuple(notes))


@dataclass(frozen=True, eq=False)
class _Pair:
    method: str
    reference: str
    values: Array  # (n, 2, 3): method and reference, apical distal buccal
    facts: pd.DataFrame

    @property
    def difference(self) -> Array:
        return np.asarray(self.values[:, 0] - self.values[:, 1])


def _pairs(teeth: pd.DataFrame) -> Iterator[_Pair]:
    methods = list(dict.fromkeys(teeth["method"]))
    of = {m: rows.set_index("line", drop=False) for m, rows in teeth.groupby("method", sort=False)}
    done: set[frozenset[str]] = set()
    for reference in ("rule_of_thumb", "furcation", "elastic_foundation"):
        for method in methods:
            if reference not in of or method == reference or frozenset((method, reference)) in done:
                continue
            done.add(frozenset((method, reference)))
            both = of[method].index.intersection(of[reference].index)
            columns = [f"centre_{w}_mm" for w in WAYS]
            values = np.stack([of[m].loc[both, columns].to_numpy(float) for m in (method, reference)], axis=1)
            facts = of[method].loc[both].copy()
            facts["any_fallback"] = (
                facts["fallback"].astype(bool).to_numpy()
                | of[reference].loc[both, "fallback"].astype(bool).to_numpy()
            )
            yield _Pair(method, reference, values, facts)


def _agreement(group: str, pair: _Pair, k: int, way: str, seed: int) -> Agreement:
    d = pair.difference[:, k]
    mean, sd = float(d.mean()), float(d.std(ddof=1))
    ends = _bootstrapped(d, seed)
    return Agreement(
        group, pair.method, pair.reference, way, len(d), int(pair.facts["any_fallback"].sum()),
        Interval(mean, *ends["mean"]), sd, Interval(mean - 1.96 * sd, *ends["lower"]),
        Interval(mean + 1.96 * sd, *ends["upper"]), icc_absolute(pair.values[:, :, k]),
    )  # fmt: skip


def _bootstrapped(d: Array, seed: int) -> Mapping[str, tuple[float | None, float | None]]:
    """95 % intervals of mean and limits: bias-corrected bootstrap; none for differences that are all alike."""
    from scipy.stats import bootstrap

    none = dict.fromkeys(("mean", "lower", "upper"), (None, None))
    if np.ptp(d) <= 1e-9 or len(d) < 5:
        return none
    statistics = {"mean": 0.0, "lower": -1.96, "upper": 1.96}
    found: dict[str, tuple[float | None, float | None]] = {}
    for name, factor in statistics.items():

        def value(x: Array, axis: int = -1, factor: float = factor) -> Array:
            return np.asarray(x.mean(axis=axis) + factor * x.std(axis=axis, ddof=1))

        many = min(_RESAMPLES, max(200, 4_000_000 // len(d)))
        ends = bootstrap(
            (d,), value, n_resamples=many, method="BCa" if len(d) <= 2000 else "percentile",
            rng=np.random.default_rng(seed), vectorized=True, batch=max(1, 2_000_000 // len(d)),
        ).confidence_interval  # fmt: skip
        found[name] = (_finite(ends.low), _finite(ends.high))
    return found


def _dependences(group: str, pair: _Pair, k: int, way: str) -> list[Dependence]:
    """Least-squares slopes of the difference on the tooth's facts, with intervals that allow unequal spread (HC3)."""
    import statsmodels.api as sm

    facts = pair.facts.assign(left=(pair.facts["side"] == "left").astype(float))
    numeric = [c for c in facts.columns if c.startswith("cov_") and facts[c].dtype.kind in "fi"]
    terms = _usable(facts, [*TERMS, *numeric])
    there = facts[terms].notna().all(axis=1).to_numpy() if terms else np.zeros(len(facts), bool)
    if not terms or there.sum() < 5 * (len(terms) + 1) or np.ptp(pair.difference[there, k]) <= 1e-9:
        return []
    x = facts.loc[there, terms].to_numpy(float)
    fit = sm.OLS(pair.difference[there, k], sm.add_constant(x - x.mean(axis=0))).fit(cov_type="HC3")
    ends = fit.conf_int()
    return [
        Dependence(
            group, pair.method, pair.reference, way, term, int(there.sum()),
            Interval(float(fit.params[j]), _finite(ends[j][0]), _finite(ends[j][1])), float(fit.pvalues[j]),
            float(fit.rsquared),
        )
        for j, term in enumerate(terms, 1)
    ]  # fmt: skip


def _usable(facts: pd.DataFrame, names: Sequence[str]) -> list[str]:
    """Those of ``names`` that vary, and not as a copy of one already taken."""
    taken: list[str] = []
    for name in names:
        if name not in facts or facts[name].notna().sum() < LEAST_TEETH:
            continue
        columns = facts[[*taken, name]].dropna().to_numpy(float)
        if len(columns) < LEAST_TEETH or np.ptp(columns[:, -1]) <= 1e-9:
            continue
        centred = (columns - columns.mean(axis=0)) / np.maximum(columns.std(axis=0), 1e-12)
        if np.linalg.cond(centred) < 1e4:
            taken.append(name)
    return taken


def _outliers(group: str, pair: _Pair, k: int, way: str) -> list[Outlier]:
    d = pair.difference[:, k]
    middle = float(np.median(d))
    spread = float(np.median(np.abs(d - middle)))
    if spread <= 1e-9:
        return []
    score = 0.6745 * (d - middle) / spread
    return [
        Outlier(
            group,
            str(fact["id"]),
            int(fact["line"]),
            pair.method,
            pair.reference,
            way,
            float(d[j]),
            float(score[j]),
        )
        for j, fact in ((j, pair.facts.iloc[j]) for j in np.flatnonzero(np.abs(score) > _OUTLYING))
    ]


def _finite(value: Any) -> float | None:
    return float(value) if np.isfinite(value) else None
