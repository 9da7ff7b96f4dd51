"""Unequal arms under a strap free to slide round a round neck: molar shares from the statics of Haack and Weinstein.

Haack DC, Weinstein S 1958 Am J Orthod 44:346-357 (principle, from memory): equal tensions at both ends, so the
resultant bisects the angle of the two lines; F_y shared by its lever about the tubes. Figures worked out by these
statics for T 5 N, tubes 26 mm from the middle, neck of radius 48 mm centred 85 mm behind them, left tip 65 mm out and
10 mm behind; the right arm shorter by ``cut`` and tapering inward by ``taper`` per mm. Compare Brosh T et al. 2005
AJODO 128:68-77 (measured 2.17 for 40 mm).
"""

from __future__ import annotations

import numpy as np
import pytest

from mechanics.sides import SIDES, Side
from mechanics.strap.band import taut_band
from mesh_tools.arrays import Array
from tests.mechanics.strap_shapes import column

TUBE_MM, TENSION_N = 26.0, 5.0


# taper, cut mm, long side N, short side N, sum of sideways forces N
@pytest.mark.parametrize(
    ("taper", "cut", "long_n", "short_n", "sideways_n"),
    [
        (0.0, 0.0, 4.89, 4.89, 0.0),
        (0.12, 15.0, 5.305, 4.522, 0.239),
        (0.12, 40.0, 5.786, 4.078, 0.522),
        (0.30, 40.0, 6.289, 3.597, 0.824),
        (0.50, 15.0, 5.795, 4.070, 0.528),
        (0.50, 40.0, 6.857, 3.032, 1.170),
    ],
)
def test_shares_of_both_molars(
    taper: float, cut: float, long_n: float, short_n: float, sideways_n: float
) -> None:
    hooks: dict[Side, Array] = {
        "left": np.array([65.0, 10.0, 0.0]),
        "right": np.array([-(65.0 - taper * cut), 10.0 - cut, 0.0]),
    }
    path = taut_band(column(), hooks, band="neck", tension_n=TENSION_N, width_mm=5.0)
    pull = {s: TENSION_N * path.direction(s) for s in SIDES}
    back = pull["right"][1] + pull["left"][1]
    turn = sum(hooks[s][0] * pull[s][1] - hooks[s][1] * pull[s][0] for s in SIDES)
    off = turn / back
    assert back * (TUBE_MM + off) / (2.0 * TUBE_MM) == pytest.approx(long_n, abs=0.006)
    assert back * (TUBE_MM - off) / (2.0 * TUBE_MM) == pytest.approx(short_n, abs=0.006)
    assert abs(pull["right"][0] + pull["left"][0]) == pytest.approx(sideways_n, abs=0.003)
