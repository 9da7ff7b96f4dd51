"""A cut apex put back by a cone: exact where the root was a cone, and small where little is missing."""

from __future__ import annotations

import numpy as np
import pytest
from root_shapes import cone

from mechanics.centres.missing_apex import missing_apex_effect
from mechanics.centres.stiffness_centres import sagittal_centre
from mechanics.ligament.foundation import foundation_stiffness
from mechanics.ligament.springs import Ligament
from mesh_tools.arrays import Array, IntArray
from mesh_tools.errors import BadValueError

HEIGHT, RINGS = 12.0, 48


@pytest.fixture(scope="module")
def cut_cone() -> tuple[Array, IntArray, Array, float]:
    """A cone without its last quarter: points, faces, the loop where it was cut, and the missing length."""
    points, faces = cone(height=HEIGHT, along=RINGS)
    level = 0.75 * HEIGHT
    kept = faces[points[faces][:, :, 2].max(axis=1) <= level + 1e-9]
    return points, kept, points[np.isclose(points[:, 2], level)], HEIGHT - level


def test_a_cone_is_completed_exactly(cut_cone: tuple[Array, IntArray, Array, float]) -> None:
    points, kept, loop, missing = cut_cone
    layer = Ligament()
    found = missing_apex_effect(
        points, kept, layer, cut_ends_mm=[loop], apical=[0, 0, 1], lengths_mm=[missing, 0.5 * missing]
    )
    whole = foundation_stiffness(
        *cone(height=HEIGHT, along=RINGS), k_normal=layer.k_normal, k_shear=layer.k_shear
    )
    np.testing.assert_allclose(found.completed_mm[0], sagittal_centre(whole), atol=2e-3)
    assert found.shifts_mm[0] > found.shifts_mm[1] > 0.0
    assert (found.completed_mm[:, 2] > found.scanned_mm[2]).all()


def test_bad_ends_are_refused(cut_cone: tuple[Array, IntArray, Array, float]) -> None:
    points, kept, loop, _ = cut_cone
    with pytest.raises(BadValueError, match="at least three points"):
        missing_apex_effect(points, kept, Ligament(), cut_ends_mm=[loop[:2]], apical=[0, 0, 1])
    with pytest.raises(BadValueError, match="lengths must be positive"):
        missing_apex_effect(points, kept, Ligament(), cut_ends_mm=[loop], apical=[0, 0, 1], lengths_mm=[0.0])
