"""Bilinear ligament: linear below the break, stiffer beyond, the product of force and motion checked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from root_shapes import cylinder, irregular

from mechanics.centres.stiffness_centres import sagittal_centre
from mechanics.ligament.bilinear import BilinearLigament, centre_against_force, loaded_ligament
from mechanics.ligament.foundation import foundation_stiffness
from mechanics.ligament.springs import Ligament
from mesh_tools.errors import BadValueError

Y = np.array([0.0, 1.0, 0.0])


def test_below_the_break_it_is_the_linear_foundation() -> None:
    root, layer = irregular(1), Ligament(0.05, 0.30, 0.2)
    k = foundation_stiffness(*root, k_normal=layer.k_normal, k_shear=layer.k_shear)
    (found,) = centre_against_force(*root, BilinearLigament(), forces_n=[0.01])
    np.testing.assert_allclose(found.centre_mm, sagittal_centre(k), atol=1e-6)
    assert found.loaded.beyond_share == 0.0
    np.testing.assert_allclose(found.loaded.stiffness, k, rtol=1e-12, atol=1e-9 * np.abs(k).max())


def test_axial_load_of_a_cylinder_by_hand() -> None:
    """Pure shear everywhere: strain s = u/(sqrt(2) t), force = area G(s) u/t with the secant modulus at s."""
    root = cylinder(radius=3.0, height=12.0, around=200, along=4)
    layer = BilinearLigament()
    area, u = 2.0 * np.pi * 3.0 * 12.0, 0.04
    strain = u / (np.sqrt(2.0) * layer.thickness_mm)
    assert strain > layer.break_strain
    secant = (0.05 * 0.07 + 0.20 * (strain - 0.07)) / strain
    force = area * secant / (2 * 1.3) * u / layer.thickness_mm
    found = loaded_ligament(*root, layer, force_n=[0, 0, force], through_mm=[0, 0, 0])
    assert found.motion[2] == pytest.approx(u, rel=1e-3)
    assert found.beyond_share == 1.0
    assert found.max_strain == pytest.approx(strain, rel=1e-3)


@pytest.mark.parametrize("newtons", [0.8, 3.0, 8.0])
def test_equilibrium_holds_and_the_force_does_not_tip(newtons: float) -> None:
    root = irregular(2)
    (found,) = centre_against_force(*root, BilinearLigament(), forces_n=[newtons])
    loaded = found.loaded
    wrench = np.concatenate([newtons * Y, np.cross(found.centre_mm, newtons * Y)])
    left = loaded.stiffness @ loaded.motion - wrench
    assert np.linalg.norm(left) < 1e-5 * np.linalg.norm(wrench)
    assert abs(loaded.motion[3]) < 1e-6 * np.linalg.norm(loaded.motion[:3])


def test_the_centre_moves_little_and_comes_back_when_all_is_beyond_the_break() -> None:
    root = irregular(3)
    found = centre_against_force(*root, BilinearLigament(), forces_n=[0.01, 2.0, 200.0])
    first, middle, last = (f.centre_mm for f in found)
    assert np.linalg.norm(middle - first) < 1.0
    assert np.linalg.norm(last - first) < 0.02 + 0.3 * np.linalg.norm(middle - first)
    assert [f.loaded.beyond_share for f in found][::2] == [0.0, 1.0]


def test_secant_modulus() -> None:
    layer = BilinearLigament()
    strains = np.array([0.0, 0.03, 0.07, 0.14])
    np.testing.assert_allclose(layer.secant_mpa(strains), [0.05, 0.05, 0.05, 0.125], rtol=1e-12)


def test_bad_materials_are_refused() -> None:
    with pytest.raises(BadValueError, match="break strain must lie between 0 and 1; got 0"):
        BilinearLigament(break_strain=0.0)
    with pytest.raises(BadValueError, match="a quarter to four times"):
        BilinearLigament(e_first_mpa=0.05, e_second_mpa=0.5)
    with pytest.raises(BadValueError, match="nu must be"):
        BilinearLigament(nu=0.5)
