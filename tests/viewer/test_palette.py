"""Colours can be read and told apart, also by people with colour blindness."""

from __future__ import annotations

from itertools import combinations
from typing import get_args

import numpy as np
import pytest

from viewer.palette import METHOD_ROLES, Role, contrast, look

# Machado GM, Oliveira MM, Fernandes LAF 2009 IEEE Trans Vis Comput Graph 15:1291-1298, severity 1 (from memory).
BLINDNESS = {
    "none": np.eye(3),
    "protanopia": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
                            [-0.003882, -0.048116, 1.051998]]),
    "deuteranopia": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                              [-0.011820, 0.042940, 0.968881]]),
    "tritanopia": np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
                            [0.004733, 0.691367, 0.303900]]),
}  # fmt: skip


def lab(colour: str, seen_by: str) -> np.ndarray:
    """CIE L*a*b* (D65) of an sRGB colour as ``seen_by`` sees it; formulas of IEC 61966-2-1 and CIE 15."""
    c = np.array([int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)])
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    linear = np.clip(BLINDNESS[seen_by] @ linear, 0.0, 1.0)
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ linear
    t = xyz / np.array([0.9505, 1.0, 1.089])
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_contrast_is_that_of_the_recommendation() -> None:
    """WCAG 2.2: black on white is 21:1; #767676 is the lightest grey that passes 4.5:1 on white (well-known pair)."""
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert contrast("#767676", "#FFFFFF") >= 4.5 > contrast("#777777", "#FFFFFF")


@pytest.mark.parametrize("role", get_args(Role))
def test_every_text_can_be_read_on_white(role: Role) -> None:
    assert contrast(look(role).text, "#FFFFFF") >= 4.5


@pytest.mark.parametrize("seen_by", BLINDNESS)
def test_before_and_after_are_told_apart_by_everyone(seen_by: str) -> None:
    for before, after in (("line_before", "line_after"), ("bow_before", "bow_after")):
        one, other = look(before), look(after)  # type: ignore[arg-type]
        assert np.linalg.norm(lab(one.colour, seen_by) - lab(other.colour, seen_by)) > 15.0
        assert one.dashed
        assert not other.dashed
        assert other.width_px > 1.5 * one.width_px


def test_methods_differ_in_colour_and_glyph_together() -> None:
    for one, other in combinations(METHOD_ROLES.values(), 2):
        assert (look(one).colour, look(one).glyph) != (look(other).colour, look(other).glyph)
        distance = min(
            np.linalg.norm(lab(look(one).colour, b) - lab(look(other).colour, b)) for b in BLINDNESS
        )
        assert distance > 20.0 or look(one).glyph != look(other).glyph, (one, other)
