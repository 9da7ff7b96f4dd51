"""Least squares within bounds against scipy's on problems of the literature and random ones."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from mechanics.least_squares import least_squares_within
from mesh_tools.arrays import Array


def rosenbrock(x: Array) -> Array:
    """Least at (1, 1): Rosenbrock HH 1960 Computer J 3:175-184."""
    return np.array([10.0 * (x[1] - x[0] ** 2), 1.0 - x[0]])


def powell(x: Array) -> Array:
    """Least at 0 with a singular slope there: Powell MJD 1962 Computer J 5:147-151."""
    a, b, c, d = x
    return np.array([a + 10 * b, np.sqrt(5) * (c - d), (b - 2 * c) ** 2, np.sqrt(10) * (a - d) ** 2])


def test_the_valley_of_rosenbrock_is_followed_to_its_end() -> None:
    found = least_squares_within(rosenbrock, np.array([-1.2, 1.0]))
    assert found.settled
    assert found.x == pytest.approx([1.0, 1.0], abs=1e-7)


def test_a_singular_minimum_is_neared() -> None:
    found = least_squares_within(powell, np.array([3.0, -1.0, 0.0, 1.0]))
    assert float(found.residuals @ found.residuals) < 1e-10


def test_a_bound_is_kept_and_the_rest_is_least_on_it() -> None:
    high = np.array([0.5, 2.0])
    found = least_squares_within(rosenbrock, np.array([-1.2, 1.0]), low=np.array([-2.0, -2.0]), high=high)
    assert found.x == pytest.approx([0.5, 0.25], abs=1e-7)  # on x = 0.5 the best y is x^2


def test_a_search_out_of_steps_says_so() -> None:
    assert not least_squares_within(rosenbrock, np.array([-1.2, 1.0]), most_steps=3).settled


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_random_curved_problems_end_where_scipy_does(seed: int) -> None:
    rng = np.random.default_rng(seed)
    slope, goal = rng.normal(size=(8, 4)), rng.normal(size=8)

    def residuals(x: Array) -> Array:
        return np.asarray(slope @ x + 0.1 * np.sin(x).sum() - goal)

    low, high = np.full(4, -0.4), np.full(4, 0.4)
    ours = least_squares_within(residuals, np.zeros(4), low=low, high=high)
    theirs = least_squares(residuals, np.zeros(4), bounds=(low, high), xtol=1e-12, ftol=1e-12, gtol=1e-12)
    assert float(ours.residuals @ ours.residuals) <= 2.0 * theirs.cost + 1e-6
