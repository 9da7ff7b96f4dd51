"""Words of moments are held against the rotation they name: omega x r at the crown, by the cross product itself."""

from __future__ import annotations

import numpy as np
import pytest

from mechanics.bow.passivity import TerminalFit
from mechanics.sides import SIDES, Side, outward_sign
from viewer.wrench_words import fit_words, rotation_words, shift_words, tip_words, torque_words, yaw_words

CROWN, MESIAL = np.array([0.0, 0.0, -1.0]), np.array([0.0, -1.0, 0.0])  # of an upper molar, from its centre


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_tip_says_where_the_crown_goes(sign: float) -> None:
    moved = np.cross([sign, 0.0, 0.0], CROWN)[1]  # +y is back
    said = tip_words(10.0 * sign)
    assert said.startswith("tips the crown back" if moved > 0 else "tips the crown forward")
    assert said.endswith("roots forward" if moved > 0 else "roots back")


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_yaw_says_where_the_mesial_side_goes(side: Side, sign: float) -> None:
    out = np.cross([0.0, 0.0, sign], MESIAL)[0] * outward_sign(side)
    assert yaw_words(10.0 * sign, side).endswith("outward" if out > 0 else "inward")


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_torque_says_where_the_crown_goes(side: Side, sign: float) -> None:
    out = np.cross([0.0, sign, 0.0], CROWN)[0] * outward_sign(side)
    assert ("crown outward" if out > 0 else "crown inward") in torque_words(10.0 * sign, side)


def test_a_distal_pull_at_a_buccal_tube_turns_the_mesial_side_outward() -> None:
    """The known side effect of headgear on a molar (common practice, no source), from statics: r x F at the tube."""
    for side in SIDES:
        moment = np.cross([outward_sign(side) * 6.0, 0.0, -8.0], [0.0, 4.0, 0.0])
        assert yaw_words(float(moment[2]), side) == "turns the crown's mesial side outward"
        assert tip_words(float(moment[0])) == "tips the crown back, the roots forward"


def test_next_to_nothing_is_said_to_be_so() -> None:
    assert {tip_words(0.4), yaw_words(-0.4, "left"), torque_words(0.49, "right")} == {"next to none"}


@pytest.mark.parametrize(
    ("deg", "words"),
    [(0.0, "up"), (3.0, "up, turned 3° outward"), (-10.0, "up, turned 10° inward"), (90.0, "outward"),
     (80.0, "outward, turned 10° up"), (100.0, "outward, turned 10° down"), (180.0, "down"), (-180.0, "down"),
     (170.0, "down, turned 10° outward"), (-170.0, "down, turned 10° inward"), (-90.0, "inward"),
     (-80.0, "inward, turned 10° up"), (363.0, "up, turned 3° outward")],
)  # fmt: skip
def test_rotations_in_words(deg: float, words: str) -> None:
    assert rotation_words(deg) == words


def fit(**changes: float) -> TerminalFit:
    names = ("out_mm", "distal_mm", "up_mm", "far_gap_mm", "toe_in_deg", "tip_up_deg", "angle_deg")
    return TerminalFit(**{n: changes.get(n, 0.0) for n in names}, passive=not changes)


def test_a_fit_that_is_off_says_how() -> None:
    assert fit_words(fit()).startswith("passive:")
    said = fit_words(fit(out_mm=1.24, up_mm=-0.5, toe_in_deg=-3.0))
    assert said == "NOT passive: the terminal lies 1.2 mm outward, 0.5 mm too low, 3.0° toed out"
    assert fit_words(fit(out_mm=0.04)) == "NOT passive: the terminal lies 0.04 mm off its tube"


def test_shifts_of_the_line_have_a_direction_and_a_unit() -> None:
    assert shift_words(0.476) == "0.48 mm apical"
    assert shift_words(-1.93) == "1.93 mm occlusal"
    assert shift_words(0.001) == "no change"
