"""Elastic foundation.

route            <> route                        what must agree
facet sums       <> facet by facet, J' k J       all of K
K                <> forces of springs pulled     f and m for a random rigid motion
binned sums      <> sum of bins                  additivity
facet area       <> shape                        cylinder's mean radius
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from root_shapes import cone, irregular, of_revolution
from scipy.spatial.transform import Rotation

from mechanics.ligament.facets import check_thickness, facets_of, mean_root_radius_mm, rim_points
from mechanics.ligament.foundation import binned_unit_stiffness, foundation_stiffness, unit_stiffness
from mechanics.ligament.springs import Ligament
from mechanics.rigid import stiffness_about, stiffness_turned
from mesh_tools.arrays import Array, IntArray, skew
from mesh_tools.errors import BadShapeError, BadValueError


def facet_by_facet(points: Array, faces: IntArray, *, k_normal: float, k_shear: float) -> Array:
    """The definition, one facet after the other."""
    total = np.zeros((6, 6))
    for a, b, c in points[faces]:
        cross = 0.5 * np.cross(b - a, c - a)
        area = np.linalg.norm(cross)
        n = cross / area
        spring = area * (k_normal * np.outer(n, n) + k_shear * (np.eye(3) - np.outer(n, n)))
        motion = np.hstack([np.eye(3), -skew((a + b + c) / 3.0)])
        total += motion.T @ spring @ motion
    return total


def test_the_sum_is_the_definition() -> None:
    points, faces = irregular(3)
    k = foundation_stiffness(points, faces, k_normal=3.5, k_shear=0.7)
    by_hand = facet_by_facet(points, faces, k_normal=3.5, k_shear=0.7)
    np.testing.assert_allclose(k, by_hand, rtol=0.0, atol=1e-12 * np.abs(by_hand).max())


def test_the_springs_pull_with_the_wrench_k_says() -> None:
    points, faces = irregular(1)
    facets = facets_of(points, faces)
    motion = np.array([0.01, -0.02, 0.015, 0.001, 0.003, -0.002])
    moved = motion[:3] + np.cross(motion[3:], facets.centres_mm)
    normal = (moved * facets.normals).sum(1, keepdims=True) * facets.normals
    force = facets.areas_mm2[:, None] * (2.0 * normal + 0.4 * (moved - normal))
    wrench = np.concatenate([force.sum(0), np.cross(facets.centres_mm, force).sum(0)])
    k = foundation_stiffness(points, faces, k_normal=2.0, k_shear=0.4)
    np.testing.assert_allclose(k @ motion, wrench, rtol=1e-11)


@given(seed=st.integers(0, 10_000), shift=st.tuples(*[st.floats(-80.0, 80.0)] * 3), mirrored=st.booleans())
@settings(max_examples=25, deadline=None)
def test_k_moves_and_mirrors_with_the_root(
    seed: int, shift: tuple[float, float, float], mirrored: bool
) -> None:
    points, faces = irregular(seed, around=8, along=5)
    turn = Rotation.random(rng=np.random.default_rng(seed)).as_matrix()
    if mirrored:
        turn = turn @ np.diag([-1.0, 1.0, 1.0])
    here = foundation_stiffness(points, faces, k_normal=3.0, k_shear=0.5)
    there = foundation_stiffness(points @ turn.T + shift, faces, k_normal=3.0, k_shear=0.5)
    expected = stiffness_turned(here, turn)
    np.testing.assert_allclose(stiffness_about(there, shift), expected, atol=1e-8 * np.abs(expected).max())


@given(scale=st.floats(0.1, 20.0))
@settings(max_examples=20, deadline=None)
def test_k_scales_with_area_and_lever(scale: float) -> None:
    points, faces = irregular(2, around=8, along=5)
    here = foundation_stiffness(points, faces, k_normal=3.0, k_shear=0.5)
    there = foundation_stiffness(scale * points, faces, k_normal=3.0, k_shear=0.5)
    power = np.add.outer([0, 0, 0, 1, 1, 1], [0, 0, 0, 1, 1, 1]) + 2.0
    np.testing.assert_allclose(there, here * scale**power, rtol=1e-9, atol=1e-9 * np.abs(there).max())


def test_k_adds_over_bins_of_facets() -> None:
    points, faces = irregular(5)
    facets = facets_of(points, faces)
    bins = np.random.default_rng(0).integers(0, 7, len(faces))
    parts = binned_unit_stiffness(facets, bins, n_bins=7)
    whole = unit_stiffness(facets)
    np.testing.assert_allclose(parts.normal.sum(0), whole.normal, atol=1e-10 * np.abs(whole.normal).max())
    np.testing.assert_allclose(parts.shear.sum(0), whole.shear, atol=1e-10 * np.abs(whole.shear).max())
    third = foundation_stiffness(points, faces[bins == 3], k_normal=2.0, k_shear=1.0)
    np.testing.assert_allclose(
        2.0 * parts.normal[3] + parts.shear[3], third, atol=1e-10 * np.abs(third).max()
    )


def test_springs_by_the_formulas_of_a_bonded_layer() -> None:
    layer = Ligament(1.0, 0.45, 0.2)
    assert layer.k_normal == pytest.approx(1.0 * 0.55 / (1.45 * 0.1 * 0.2), rel=1e-12)
    assert layer.k_shear == pytest.approx(1.0 / (2.9 * 0.2), rel=1e-12)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ((-1.0, 0.45, 0.2), "E must be"),
        ((1e6, 0.45, 0.2), "E must be"),
        ((float("nan"), 0.45, 0.2), "E must be"),
        ((1.0, 0.5, 0.2), "nu must be at least 0 and below 0.5; got 0.5"),
        ((1.0, -0.1, 0.2), "nu must be at least 0"),
        ((1.0, 0.3, 0.0), "thickness must be"),
        ((1.0, 0.3, -0.2), "thickness must be"),
    ],
)
def test_absurd_ligaments_are_refused(values: tuple[float, float, float], words: str) -> None:
    with pytest.raises(BadValueError, match=words):
        Ligament(*values)


def test_bad_surfaces_are_refused() -> None:
    points, faces = cone(around=8, along=4)
    with pytest.raises(BadShapeError, match="no faces"):
        facets_of(points, faces[:0])
    with pytest.raises(BadValueError, match="index the"):
        facets_of(points, faces + 1000)
    with pytest.raises(BadValueError, match="finite"):
        facets_of(np.where(points == points[0], np.nan, points), faces)
    with pytest.raises(BadValueError, match="must have an area"):
        facets_of(np.zeros_like(points), faces)
    with pytest.raises(BadShapeError, match="got \\(3,\\)"):
        facets_of(points[0], faces)


def test_the_ligament_may_not_be_thicker_than_the_root() -> None:
    heights = np.array([0.0, 12.0, 12.0])
    root = of_revolution(lambda z: np.full_like(z, 3.0), heights, around=200)  # with a flat end
    assert mean_root_radius_mm(*root) == pytest.approx(3.0 * 12.0 / 13.5, rel=1e-3)
    assert mean_root_radius_mm(*cone(radius=3.0, height=130.0, around=200)) == pytest.approx(2.0, rel=2e-3)
    check_thickness(*root, thickness_mm=0.2)
    with pytest.raises(BadValueError, match="below the root's mean radius"):
        check_thickness(*root, thickness_mm=3.1)


def test_the_rim_is_the_crest() -> None:
    points, faces = cone(around=12, along=4)
    assert np.array_equal(rim_points(faces, len(points)), points[:, 2] == 0.0)
