"""Published rates of correction, as bands to hold a course against: what other patients did, never a promise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array

NOT_A_PROMISE = (
    "The bands are what other patients did under the conditions named, and no promise: in a growing child most "
    "correction is growth restraint, not movement of the molar."
)
TOLD_AND_RECORDED = (
    "Hours that are told overstate: told to wear 14 h, patients reported 13.6 h and the sensor showed 5.6 h (Brandao M "
    "et al. 2006 AJODO 129:239-244)."
)


@dataclass(frozen=True, eq=False)
class Rate:
    """One published course. ``left_mm`` gives the least and most class II left, mm, at months (n,) from a start in mm.

    ``months``: how long the source followed it; the band ends there. ``pulls``: the kinds of pull it is of.
    """

    name: str
    source: str
    condition: str
    pulls: tuple[str, ...]
    months: float
    left_mm: Callable[[float, Array], tuple[Array, Array]]


@dataclass(frozen=True, eq=False)
class Band:
    """A rate from one start: months (n,) since it, and the least and most class II left, mm."""

    rate: Rate
    months: Array
    low_mm: Array
    high_mm: Array


def _years_to_class_one(early: float, late: float) -> Callable[[float, Array], tuple[Array, Array]]:
    def left(start_mm: float, months: Array) -> tuple[Array, Array]:
        shares = [np.clip(1.0 - months / (12.0 * years), 0.0, 1.0) for years in (early, late)]
        return start_mm * shares[0], start_mm * shares[1]

    return left


def _mm_a_month(slow: float, fast: float) -> Callable[[float, Array], tuple[Array, Array]]:
    def left(start_mm: float, months: Array) -> tuple[Array, Array]:
        return np.maximum(start_mm - fast * months, 0.0), np.maximum(start_mm - slow * months, 0.0)

    return left


RATES: tuple[Rate, ...] = (
    Rate(
        "cervical: class I reached in 1.8 ± 0.6 years",
        "Kirjavainen M, Kirjavainen T, Haavikko K 1997 AJODO 111:59-66",
        "40 children of 9.3 years, 500 g a side, 12-14 h a day, inner bow expanded; all reached class I; the course in "
        "between is drawn straight",
        ("cervical",),
        28.8,
        _years_to_class_one(1.2, 2.4),
    ),
    Rate(
        "high pull: molar back 2.6 ± 0.6 mm in 6 months",
        "Firouz M, Zernik J, Nanda R 1992 AJODO 102:197-205",
        "12 patients, 500 g through the level of the trifurcation, 12 h a day; movement of the molar, the course in "
        "between is drawn straight",
        ("high_pull",),
        6.0,
        _mm_a_month(2.0 / 6.0, 3.2 / 6.0),
    ),
    Rate(
        "6 mm in about 3 years with very good wear",
        "common practice, no source",
        "growing children of about 9-12 years; about is drawn as 2.5 to 3.5 years (our reading)",
        ("cervical", "high_pull", "combination"),
        42.0,
        _mm_a_month(6.0 / 42.0, 6.0 / 30.0),
    ),
)


def bands(pull: str, start_mm: float, *, months: float) -> tuple[Band, ...]:
    """Every rate of ``pull`` from ``start_mm`` of class II over ``months``; none when there is nothing to correct."""
    if start_mm <= 0.0:
        return ()
    found = []
    for rate in RATES:
        if pull in rate.pulls:
            at = np.linspace(0.0, min(months, rate.months), 61)
            low, high = rate.left_mm(start_mm, at)
            found.append(Band(rate, at, low, high))
    return tuple(found)
