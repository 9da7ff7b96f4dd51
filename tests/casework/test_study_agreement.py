"""Agreement statistics against a published example, statsmodels' analysis of variance, made-up populations."""

import numpy as np
import pandas as pd
import pytest

from casework.study.agreement import study_agreement
from casework.study.agreement_tables import agreement_csv
from casework.study.icc import icc_absolute, mean_squares
from casework.study.rows import group_name
from casework.study.scan_errors import scan_errors
from mesh_tools.errors import BadValueError

# Six targets rated by four judges: Shrout PE, Fleiss JL 1979 Psychol Bull 86:420-428, table 2.
SHROUT_FLEISS = np.array(
    [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], dtype=float
)


def test_intraclass_correlation_of_the_published_example():
    """ICC(2,1) 0.29 (table 4 there); its interval 0.02 to 0.76 is from memory."""
    found = icc_absolute(SHROUT_FLEISS)
    assert found.value == pytest.approx(0.29, abs=0.005)
    assert (found.low, found.high) == (pytest.approx(0.02, abs=0.005), pytest.approx(0.76, abs=0.005))


def test_mean_squares_are_those_of_statsmodels_analysis_of_variance():
    from statsmodels.formula.api import ols
    from statsmodels.stats.anova import anova_lm

    n, k = SHROUT_FLEISS.shape
    frame = pd.DataFrame({"v": SHROUT_FLEISS.ravel(), "t": np.repeat(range(n), k), "j": np.tile(range(k), n)})
    table = anova_lm(ols("v ~ C(t) + C(j)", frame).fit())
    wanted = (table["sum_sq"] / table["df"]).to_numpy()
    assert mean_squares(SHROUT_FLEISS) == pytest.approx(tuple(wanted), rel=1e-10)


def test_icc_of_equal_ratings_is_one_and_of_constant_ones_is_not_given():
    one = np.arange(6.0)
    assert icc_absolute(np.stack([one, one], axis=1)).value == pytest.approx(1.0, abs=1e-9)
    assert icc_absolute(np.stack([one, 0.0 * one], axis=1)) is None


def population(count, *, seed=1, bias=0.8, sd=0.3, slope=0.0):
    """Results of two methods whose true difference along apical is ``bias + slope * (length - 13)`` with ``sd``."""
    rng = np.random.default_rng(seed)
    length = rng.normal(13.0, 1.0, count)
    true = rng.normal(0.0, 1.0, (count, 3))
    rows = []
    for k in range(count):
        shared = {"line": k + 2, "id": f"t{k}", "tooth": (16, 26)[k % 2], "side": ("right", "left")[k % 2],
                  "status": "ok", "fallback": False, "root_length_mm": length[k], "divergence_deg": rng.normal(30, 5),
                  "crest_below_cej_mm": rng.uniform(0, 1.5)}  # fmt: skip
        for method, shift in (("rule_of_thumb", 0.0), ("elastic_foundation", 1.0)):
            place = true[k] + shift * np.array(
                [bias + slope * (length[k] - 13.0) + sd * rng.normal(), 0.0, 0.0]
            )
            place[1:] += 1e-3 * rng.normal(size=2)
            names = ("centre_apical_mm", "centre_distal_mm", "centre_buccal_mm")
            rows.append({**shared, "method": method, **dict(zip(names, place, strict=True))})
    return pd.DataFrame(rows)


def test_a_known_bias_and_spread_are_found_within_their_intervals():
    found = study_agreement(population(400))
    a = next(a for a in found.agreements if a.way == "apical")
    assert (a.method, a.reference, a.teeth, a.group) == (
        "elastic_foundation",
        "rule_of_thumb",
        400,
        "upper 6",
    )
    assert a.mean.low < 0.8 < a.mean.high
    assert a.mean.high - a.mean.low == pytest.approx(2 * 1.96 * 0.3 / np.sqrt(400), rel=0.15)
    assert a.lower.low < 0.8 - 1.96 * 0.3 < a.lower.high
    assert a.upper.low < 0.8 + 1.96 * 0.3 < a.upper.high
    # ICC of two ratings with between-variance 1, rater variance bias^2 / 2 and error sd^2 / 2 each
    assert a.icc.low < 1.0 / (1.0 + 0.5 * 0.8**2 + 0.5 * 0.3**2) < a.icc.high


def test_the_bootstrap_interval_covers_as_often_as_it_says():
    hits = 0
    for seed in range(40):
        a = study_agreement(population(40, seed=seed), seed=seed).agreements[0]
        hits += a.mean.low < 0.8 < a.mean.high
    assert hits >= 33  # 95 % of 40 is 38; fewer than 33 has a chance of about 1 in 1000


def test_a_dependence_on_root_length_is_found_and_named():
    found = study_agreement(population(300, slope=0.25))
    slopes = {d.term: d for d in found.dependences if d.way == "apical"}
    assert slopes["root_length_mm"].slope.low < 0.25 < slopes["root_length_mm"].slope.high
    assert slopes["root_length_mm"].p < 1e-6
    assert slopes["divergence_deg"].slope.low < 0.0 < slopes["divergence_deg"].slope.high


def test_an_outlier_is_named_and_few_teeth_are_refused_in_words():
    results = population(50)
    spoiled = (results["line"] == 12) & (results["method"] == "elastic_foundation")
    results.loc[spoiled, "centre_apical_mm"] += 6.0
    found = study_agreement(results)
    assert [(o.id, o.line) for o in found.outliers if o.way == "apical"] == [("t10", 12)]
    few = study_agreement(population(2))
    assert few.agreements == ()
    assert "2 teeth are too few" in few.notes[0]


def test_tables_hold_every_row_under_their_heads():
    found = study_agreement(population(30, slope=0.3))
    texts = agreement_csv(found)
    for name, rows in (("agreement.csv", found.agreements), ("dependence.csv", found.dependences)):
        lines = texts[name].splitlines()
        assert len(lines) == 1 + len(rows)
        assert {line.count(",") for line in lines} == {lines[0].count(",")}


@pytest.mark.parametrize(
    ("tooth", "name"), [(16, "upper 6"), (26, "upper 6"), (31, "lower 1"), (48, "lower 8")]
)
def test_teeth_compare_with_their_own_kind(tooth, name):
    assert group_name(tooth) == name


def test_scan_errors_are_those_put_in():
    rows = []
    for base in range(20):
        for fault, size in (("none", 0.0), ("noise_mm", 0.1)):
            shift = (3.0, 0.0, 4.0) if fault != "none" else (0.0, 0.0, 0.0)
            place = dict(zip(("x_mm", "y_mm", "z_mm"), shift, strict=True))
            failed = fault != "none" and base < 5
            rows.append({"cov_base": base, "cov_fault": fault, "cov_size": size, "status": "failed" if failed else "ok",
                         "method": "" if failed else "furcation", **place})  # fmt: skip
    (error,) = scan_errors(pd.DataFrame(rows))
    assert (error.teeth, error.refused) == (15, pytest.approx(0.25))
    assert (error.rms_mm, error.p95_mm, error.shift_apical_mm) == pytest.approx((5.0, 5.0, 4.0))
    with pytest.raises(BadValueError, match="no column cov_base"):
        scan_errors(pd.DataFrame({"method": [], "status": []}))
