"""Pressure on the root: it balances the force, does not depend on the modulus, and squeezes the side pushed against."""

from __future__ import annotations

import numpy as np
import pytest
from root_shapes import irregular, paraboloid

from mechanics.ligament.facets import facets_of
from mechanics.ligament.pressure import foundation_pressure
from mechanics.ligament.springs import Ligament


def test_the_tractions_balance_the_force() -> None:
    root, force, through = irregular(2), np.array([0.5, 4.0, -1.0]), np.array([1.0, 2.0, -5.0])
    found = foundation_pressure(*root, Ligament(), force_n=force, through_mm=through)
    facets = facets_of(*root)
    pulls = facets.areas_mm2[:, None] * found.traction_mpa
    np.testing.assert_allclose(pulls.sum(axis=0), -force, atol=1e-9)
    moment = np.cross(facets.centres_mm, pulls).sum(axis=0)
    np.testing.assert_allclose(moment, -np.cross(through, force), atol=1e-8)


def test_the_pressures_do_not_depend_on_the_modulus_and_grow_with_the_force() -> None:
    root = irregular(3)
    soft = foundation_pressure(*root, Ligament(e_mpa=0.1), force_n=[0, 1, 0], through_mm=[0, 0, -5])
    stiff = foundation_pressure(*root, Ligament(e_mpa=1.0), force_n=[0, 2, 0], through_mm=[0, 0, -5])
    np.testing.assert_allclose(2.0 * soft.pressure_mpa, stiff.pressure_mpa, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(soft.motion, 5.0 * stiff.motion, rtol=1e-9, atol=1e-12)


def test_the_distal_side_is_squeezed_by_a_distal_force_through_the_centre() -> None:
    points, faces = paraboloid()
    found = foundation_pressure(points, faces, Ligament(), force_n=[0, 1, 0], through_mm=[0, 0, 4.9])
    distal = points[faces].mean(axis=1)[:, 1]
    assert (found.pressure_mpa[distal > 0.5] > 0.0).all()
    assert (found.pressure_mpa[distal < -0.5] < 0.0).all()
    assert found.pressure_mpa.sum() == pytest.approx(0.0, abs=1e-6)
