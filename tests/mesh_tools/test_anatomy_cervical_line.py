"""The cervical line on teeth whose line is known from a formula, and the pieces it is found with."""

from __future__ import annotations

import numpy as np
import pytest
from synthetic_teeth import apart, single_root

from mesh_tools.anatomy import NoCervicalLineError, height_below_cej, tooth_anatomy
from mesh_tools.anatomy.cervical_line import cervical_line
from mesh_tools.anatomy.closed_path import cheapest_closed_path
from mesh_tools.anatomy.frame import tooth_frame
from mesh_tools.anatomy.radial_map import radial_map, radii_at
from mesh_tools.fdi import ToothNumber
from mesh_tools.surface import Surface

# Sizes of crown, root, depth and width at the neck and curvature of the line: averages of a common textbook
# (from memory), rounded.
SHAPES = {
    11: {"crown_mm": 10.5, "root_mm": 13.0, "deep_mm": 6.0, "wide_mm": 6.5, "wave_mm": 3.0},
    22: {"crown_mm": 9.0, "root_mm": 13.0, "deep_mm": 5.0, "wide_mm": 5.0, "wave_mm": 2.5},
    13: {"crown_mm": 10.0, "root_mm": 17.0, "deep_mm": 7.0, "wide_mm": 5.5, "wave_mm": 2.0},
    15: {"crown_mm": 8.5, "root_mm": 14.0, "deep_mm": 8.0, "wide_mm": 5.0, "wave_mm": 1.0, "flat": 0.1},
    31: {"crown_mm": 9.0, "root_mm": 12.5, "deep_mm": 5.3, "wide_mm": 3.5, "wave_mm": 2.5},
    43: {"crown_mm": 11.0, "root_mm": 16.0, "deep_mm": 7.0, "wide_mm": 5.5, "wave_mm": 2.0},
    34: {"crown_mm": 8.5, "root_mm": 14.0, "deep_mm": 6.5, "wide_mm": 5.0, "wave_mm": 1.0, "flat": 0.1},
}


@pytest.mark.parametrize("fdi", SHAPES)
def test_line_of_a_made_tooth_is_found(fdi: int) -> None:
    surface, line = single_root(fdi, **SHAPES[fdi])
    found = tooth_anatomy(surface, ToothNumber(fdi))
    assert apart(found.cervical_line_mm, line) < 0.25
    assert found.finding("cervical_line_mm").confidence > 0.5


@pytest.mark.parametrize(("columns", "rows"), [(60, 50), (100, 100), (200, 150)])
def test_line_does_not_hang_on_the_tessellation(columns: int, rows: int) -> None:
    surface, line = single_root(13, **SHAPES[13], columns=columns, rows=rows)
    assert apart(tooth_anatomy(surface, ToothNumber(13)).cervical_line_mm, line) < 0.3


@pytest.mark.parametrize("noise_mm", [0.02, 0.05])
def test_line_stands_scan_noise(noise_mm: float) -> None:
    surface, line = single_root(21, **SHAPES[11])
    rough = surface.mapped(lambda p: p + np.random.default_rng(5).normal(scale=noise_mm, size=p.shape))
    found = tooth_anatomy(rough, ToothNumber(21))
    assert apart(found.cervical_line_mm, line) < 0.3
    assert found.separate_roots == 1


@pytest.mark.parametrize("edge_mm", [0.05, 0.2, 0.3])
def test_line_stands_a_sharp_or_worn_enamel_edge(edge_mm: float) -> None:
    surface, line = single_root(21, **SHAPES[11], edge_mm=edge_mm)
    assert apart(tooth_anatomy(surface, ToothNumber(21)).cervical_line_mm, line) < 0.35


def test_without_a_step_the_line_is_not_sure() -> None:
    sharp, _ = single_root(13, **SHAPES[13])
    smooth, _ = single_root(13, **SHAPES[13], step_mm=0.02)
    sure, unsure = (tooth_anatomy(s, ToothNumber(13)).line.confidence for s in (sharp, smooth))
    assert unsure < 0.5 * sure


def test_line_lies_on_the_surface() -> None:
    surface, _ = single_root(31, **SHAPES[31])
    found = tooth_anatomy(surface, ToothNumber(31))
    trimesh = pytest.importorskip("trimesh")
    pytest.importorskip("rtree", reason="trimesh finds nearest points with rtree")
    mesh = trimesh.Trimesh(surface.points_mm, surface.faces, process=False)
    _, distance, _ = trimesh.proximity.closest_point(mesh, found.cervical_line_mm)
    assert distance.max() < 1e-9


def test_height_below_the_line_is_zero_on_it_and_signed() -> None:
    surface, line = single_root(21, **SHAPES[11])
    found = tooth_anatomy(surface, ToothNumber(21))
    assert np.abs(found.below_line_mm(found.cervical_line_mm)).max() < 0.05
    height = height_below_cej(surface, found)
    z = surface.points_mm[:, 2]
    assert (height[z > line[:, 2].max() + 1.0] > 0).all()
    assert (height[z < line[:, 2].min() - 1.0] < 0).all()
    assert height.max() == pytest.approx(23.5 - 10.5 + 1.5, abs=1.6)  # root plus at most the wave


def test_a_broken_neck_is_refused() -> None:
    surface, line = single_root(21, **SHAPES[11])
    z, x = surface.face_centres_mm[:, 2], surface.face_centres_mm[:, 0]
    holed = surface.with_faces(~((np.abs(z - line[:, 2].mean()) < 3.0) & (x > 1.0)))
    frame = tooth_frame(surface, ToothNumber(21))
    with pytest.raises(NoCervicalLineError, match="neck is not one closed wall"):
        cervical_line(frame.to_tooth(holed.points_mm), holed.faces, ToothNumber(21))


# route                  <> route            what must agree
# cheapest closed path   <> every path       the least cost, on a grid small enough to try all
@pytest.mark.parametrize("seed", range(5))
def test_closed_path_is_the_cheapest_of_all(seed: int) -> None:
    cost = np.random.default_rng(seed).uniform(size=(3, 6))
    path = cheapest_closed_path(np.tile(cost, (1, 4)), climb_cost=0.1, wiggle_cost=0.05, most_rows=1)
    rows = np.stack(np.meshgrid(*[np.arange(3)] * 6, indexing="ij"), axis=-1).reshape(-1, 6)
    steps = np.roll(rows, -1, axis=1) - rows
    legal = (np.abs(steps) <= 1).all(axis=1)
    kinks = np.roll(steps, -1, axis=1) - steps
    total = cost[rows, np.arange(6)].sum(axis=1) + (0.1 * steps**2 + 0.05 * kinks**2).sum(axis=1)
    np.testing.assert_array_equal(path[6:12], rows[legal][total[legal].argmin()])


def test_closed_path_climbs_a_slope_rather_than_a_kink() -> None:
    cost = np.ones((30, 48))
    way = np.round(15 + 8 * np.sin(2 * np.pi * np.arange(48) / 48)).astype(int)
    cost[way, np.arange(48)] = 0.0
    np.testing.assert_array_equal(cheapest_closed_path(cost, climb_cost=0.01, wiggle_cost=0.01), way)


def test_radial_map_of_a_cylinder_and_a_tilted_plane_cut() -> None:
    angle = 2.0 * np.pi * np.arange(720) / 720
    ring = np.stack([3.0 * np.cos(angle), 3.0 * np.sin(angle), 0.0 * angle], axis=1)
    points = np.concatenate([ring, ring + np.array([0.0, 0.0, 10.0])])
    i, j = np.arange(720), (np.arange(720) + 1) % 720
    tube = Surface(points, np.concatenate([np.stack([i, j, 720 + i], 1), np.stack([j, 720 + j, 720 + i], 1)]))
    heights = np.arange(0.5, 11.0, 0.5)
    distance = radial_map(tube.points_mm, tube.faces, heights_mm=heights, columns=96)
    inside = heights <= 10.0
    assert np.isnan(distance[~inside]).all()
    np.testing.assert_allclose(distance[inside], 3.0, atol=3.0 * (1.0 - np.cos(np.pi / 720)) + 1e-9)
    np.testing.assert_allclose(radii_at(tube.points_mm, tube.faces, np.linspace(1, 9, 96)), 3.0, atol=1e-4)


def test_radial_map_of_a_cone_with_its_tip_on_the_axis() -> None:
    """Few, long facets that meet at the axis: the distance falls in a straight line to the tip."""
    angle = 2.0 * np.pi * np.arange(12) / 12
    ring = np.stack([4.0 * np.cos(angle), 4.0 * np.sin(angle), 0.0 * angle], axis=1)
    points = np.concatenate([ring, [[0.0, 0.0, 10.0]]])
    i = np.arange(12)
    faces = np.stack([i, (i + 1) % 12, np.full(12, 12)], axis=1)
    heights = np.arange(0.5, 9.6, 0.5)
    distance = radial_map(points, faces, heights_mm=heights, columns=96)
    np.testing.assert_allclose(distance[:, ::8], (4.0 * (1.0 - heights / 10.0))[:, None] + np.zeros(12))
