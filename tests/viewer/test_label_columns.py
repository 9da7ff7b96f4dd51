"""Texts in a column keep their order, their distance and their place inside the picture."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import LinearConstraint, minimize

from viewer.label_columns import columns, spread

heights = st.lists(st.floats(-10.0, 10.0), min_size=1, max_size=12)


@given(heights)
def test_texts_never_overlap_and_keep_their_order(wanted: list[float]) -> None:
    placed = spread(wanted, gap=1.0, low=-10.0, high=10.0)
    order = np.argsort(wanted, kind="stable")
    assert (np.diff(placed[order]) >= 1.0 - 1e-9).all()
    assert placed.min() >= -10.0 - 1e-9
    assert placed.max() <= 10.0 + 1e-9


def test_texts_with_room_stay_where_they_belong() -> None:
    np.testing.assert_allclose(spread([3.0, -4.0, 0.0], gap=1.0, low=-10, high=10), [3.0, -4.0, 0.0])


@pytest.mark.parametrize("seed", range(4))
def test_moves_are_the_smallest_by_an_independent_optimiser(seed: int) -> None:
    wanted = np.sort(np.random.default_rng(seed).uniform(-3, 3, 7))
    apart = LinearConstraint(np.diff(np.eye(7), axis=0), lb=1.0)
    best = minimize(
        lambda y: np.sum((y - wanted) ** 2), np.arange(7.0) * 1.5 - 4.5, constraints=apart, method="SLSQP"
    )
    np.testing.assert_allclose(spread(wanted, gap=1.0, low=-50, high=50), best.x, atol=1e-4)


def test_too_many_texts_share_the_height_evenly_in_order() -> None:
    np.testing.assert_allclose(spread([5.0, 1.0, 3.0], gap=9.0, low=0.0, high=4.0), [4.0, 0.0, 2.0])


def test_no_texts_is_no_texts() -> None:
    assert spread([], gap=1.0, low=0.0, high=1.0).shape == (0,)


def test_a_full_column_hands_over_what_is_nearest_the_middle() -> None:
    assert columns([-0.9, -0.1, -0.5, 0.8], most=2) == ["left", "right", "left", "right"]
