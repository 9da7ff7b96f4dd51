"""Axes codes and units: every code a signed permutation, sizes refused with the unit that fits."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from bad_stl_files import sphere

from mesh_tools.axes import axes_matrix, is_left_handed, to_lps
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface
from mesh_tools.topology import signed_volume
from mesh_tools.units import UnitError, in_mm

CODES = [
    "".join(p) for letters in itertools.product("LR", "AP", "SI") for p in itertools.permutations(letters)
]


def tooth(extent: float) -> Surface:
    points, faces = sphere(1, 1.0)
    box = np.ptp(points, axis=0).max()
    return Surface(points * extent / box, faces)


@pytest.mark.parametrize("code", CODES)
def test_every_code_keeps_normals_outward(code: str) -> None:
    m = axes_matrix(code)
    assert np.array_equal(m @ m.T, np.eye(3))
    assert signed_volume(to_lps(tooth(20.0), code)) > 0
    assert is_left_handed(code) == (np.linalg.det(m) < 0)


def test_codes_by_hand() -> None:
    assert np.array_equal(axes_matrix("LPS"), np.eye(3))
    assert np.array_equal(axes_matrix("ras"), np.diag([-1.0, -1.0, 1.0]))  # the turn between RAS and LPS
    assert np.array_equal(axes_matrix("LSA") @ [1, 2, 3], [1, -3, 2])


@pytest.mark.parametrize("code", ["", "LP", "LLS", "LRS", "XYZ", "LPSS", "APS"])
def test_bad_codes(code: str) -> None:
    with pytest.raises(BadValueError, match="one letter of each pair L/R, A/P, S/I"):
        axes_matrix(code)


@pytest.mark.parametrize(
    ("extent", "unit", "line"),
    [
        (1.78, None, "extent 1.78: looks like cm; pass --unit cm"),
        (0.0178, None, "looks like m; pass --unit m"),
        (0.178, None, "looks like dm; pass --unit dm"),
        (0.7, None, "looks like in; pass --unit in"),
        (17800.0, None, "looks like um; pass --unit um"),
        (17.8, "cm", "extent 17.8 cm: looks like mm; pass --unit mm"),
        (70.0, None, "fits a tooth in no unit"),
    ],
)
def test_refused_with_the_unit_that_fits(extent: float, unit: str | None, line: str) -> None:
    with pytest.raises(UnitError) as caught:
        in_mm(tooth(extent), unit, "tooth")
    assert line in str(caught.value)


@pytest.mark.parametrize(
    ("extent", "unit"), [(1.8, "cm"), (0.018, "m"), (0.18, "dm"), (18000, "um"), (0.7, "inch")]
)
def test_declared_units(extent: float, unit: str) -> None:
    size = in_mm(tooth(extent), unit, "tooth").extent_mm.max()
    assert size == pytest.approx(17.78 if unit == "inch" else 18.0)


def test_unknown_unit_named() -> None:
    with pytest.raises(BadValueError, match="unit must be one of mm, cm"):
        in_mm(tooth(20), "furlong", "tooth")
