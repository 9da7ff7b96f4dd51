"""The scale of stress: even, dark at the proof stress, the same order for every reader."""

from __future__ import annotations

import matplotlib
import numpy as np
import pytest

from viewer.palette import relative_luminance
from viewer.stress_colours import STOPS, scale_top_mpa, stress_colours


def test_stops_are_those_of_the_published_map() -> None:
    """matplotlib's own "inferno" (Smith, van der Walt 2015) between 0.82 and 0.10."""
    wanted = matplotlib.colormaps["inferno"](np.linspace(0.82, 0.10, len(STOPS)))[:, :3]
    found = stress_colours(np.linspace(0.0, 500.0, len(STOPS)), top_mpa=500.0)
    np.testing.assert_allclose(found, wanted, atol=1.5 / 255.0)


def test_more_stress_is_darker_all_along() -> None:
    """Luminance by WCAG's formula, which counts no hue: the order is seen by every kind of colour vision."""
    colours = np.round(255 * stress_colours(np.linspace(0.0, 1400.0, 60), top_mpa=1400.0)).astype(int)
    light = [relative_luminance(f"#{r:02x}{g:02x}{b:02x}") for r, g, b in colours]
    assert (np.diff(light) < 0.0).all()


def test_beyond_the_scale_is_the_darkest_and_below_it_the_lightest() -> None:
    ends = stress_colours([-5.0, 0.0, 700.0, 9000.0], top_mpa=700.0)
    np.testing.assert_array_equal(ends[0], ends[1])
    np.testing.assert_array_equal(ends[2], ends[3])


@pytest.mark.parametrize(
    ("largest", "proof", "top"), [(669.0, 1400.0, 1400.0), (1450.1, 1400.0, 1500.0), (3.0, 880.0, 900.0)]
)
def test_the_scale_reaches_both_the_largest_and_the_proof_stress(
    largest: float, proof: float, top: float
) -> None:
    assert scale_top_mpa(largest_mpa=largest, proof_mpa=proof) == top
