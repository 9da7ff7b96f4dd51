"""Published courses that the progress chart draws, each typed from its source."""

from __future__ import annotations

import numpy as np
import pytest

from casework.moved.verdict import GROWTH_MM_A_YEAR
from casework.visits.rates import RATES, TOLD_AND_RECORDED, bands


def test_cervical_reaches_class_one_in_the_published_time():
    # Kirjavainen M et al. 1997 AJODO 111:59-66: class I in all, 1.8 +- 0.6 years.
    band = next(b for b in bands("cervical", 6.0, months=40.0) if "Kirjavainen" in b.rate.source)
    assert band.months[np.argmax(band.low_mm <= 0.0)] == pytest.approx(12 * 1.2, abs=0.5)
    assert band.months[-1] == pytest.approx(12 * 2.4)
    assert band.high_mm[-1] == pytest.approx(0.0, abs=1e-12)


def test_high_pull_moves_as_published():
    # Firouz M et al. 1992 AJODO 102:197-205: 2.6 +- 0.6 mm in 6 months; nothing is drawn past those 6 months.
    band = next(b for b in bands("high_pull", 6.0, months=24.0) if "Firouz" in b.rate.source)
    assert band.months[-1] == 6.0
    assert 6.0 - 0.5 * (band.low_mm[-1] + band.high_mm[-1]) == pytest.approx(2.6)
    assert 0.5 * (band.high_mm[-1] - band.low_mm[-1]) == pytest.approx(0.6)


def test_the_trade_expects_six_mm_in_three_years():
    # 6 mm of class II in about 3 years with very good wear: common practice, no source.
    for pull in ("cervical", "high_pull", "combination"):
        band = next(b for b in bands(pull, 6.0, months=36.0) if "no source" in b.rate.source)
        assert band.low_mm[-1] == 0.0
        assert 0.0 < band.high_mm[-1] < 1.5
    assert not bands("cervical", 0.0, months=12.0)
    assert all(rate.source and rate.condition for rate in RATES)


def test_growth_in_width_is_the_published_one():
    # Hesby RM et al. 2006 AJODO 130:721-731: +3.08 mm between both upper molars from 7.6 to 26.4 years.
    assert 2.0 * GROWTH_MM_A_YEAR["lateral"] * (26.4 - 7.6) == pytest.approx(3.08)


def test_told_and_recorded_hours_are_those_published():
    # Brandao M et al. 2006 AJODO 129:239-244: told 14 h, reported 13.6 h, sensor 5.6 h.
    for figure in ("14 h", "13.6 h", "5.6 h", "AJODO 129:239-244"):
        assert figure in TOLD_AND_RECORDED
