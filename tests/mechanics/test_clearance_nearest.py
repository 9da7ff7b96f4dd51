"""Exact nearest points: every face tried one by one is the other route; a ball and a box are the closed forms."""

from __future__ import annotations

import time

import numpy as np
import pytest
import trimesh
from bow_cases import ellipsoid

from mechanics.bow.nearest_face import NearestFaces, nearest_on_triangles
from mechanics.bow.skin import Skin
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface


def box(half_mm: float) -> Surface:
    """A cube of twelve large faces, wound outward."""
    mesh = trimesh.creation.box(extents=[2.0 * half_mm] * 3)
    return Surface(mesh.vertices, mesh.faces)


def uneven() -> Surface:
    """A large coarse cube with a small fine ball beside it: faces from 0.2 to 80 mm."""
    large, small = box(20.0), ellipsoid(radii_mm=(3.0, 3.0, 3.0), centre_mm=(28.0, 0.0, 0.0), n=24)
    return Surface(
        np.concatenate([large.points_mm, small.points_mm]),
        np.concatenate([large.faces, small.faces + len(large.points_mm)]),
    )


def scattered(surface: Surface, count: int, seed: int) -> Array:
    low, high = surface.points_mm.min(axis=0), surface.points_mm.max(axis=0)
    return np.random.default_rng(seed).uniform(low - 15.0, high + 15.0, (count, 3))


@pytest.mark.parametrize(
    "surface", [uneven(), ellipsoid(radii_mm=(60.0, 20.0, 3.0), centre_mm=(0.0, 0.0, 0.0), n=20)]
)
def test_it_is_the_least_over_every_face(surface: Surface) -> None:
    p = scattered(surface, 120, 1)
    every = nearest_on_triangles(p[:, None], surface.corners_mm[None])
    least = np.linalg.norm(p[:, None] - every, axis=2).min(axis=1)
    found = NearestFaces(surface).of(p)
    np.testing.assert_allclose(np.abs(found.distance_mm), least, atol=1e-12)
    np.testing.assert_allclose(np.linalg.norm(p - found.points_mm, axis=1), least, atol=1e-12)


def test_a_point_on_a_triangle_agrees_with_a_reference_library() -> None:
    surface, p = uneven(), scattered(uneven(), 300, 2)
    mesh = trimesh.Trimesh(surface.points_mm, surface.faces, process=False)
    spots, away, _ = trimesh.proximity.closest_point(mesh, p)  # type: ignore[no-untyped-call]
    found = NearestFaces(surface).of(p)
    np.testing.assert_allclose(np.abs(found.distance_mm), away, atol=1e-9)
    np.testing.assert_allclose(found.points_mm, spots, atol=1e-6)


def test_a_box_of_large_faces_has_its_closed_form_inside_and_out() -> None:
    p = scattered(box(20.0), 400, 3)
    over = np.abs(p) - 20.0
    outside = np.linalg.norm(np.maximum(over, 0.0), axis=1)
    exact = np.where(outside > 0.0, outside, over.max(axis=1))
    np.testing.assert_allclose(Skin(box(20.0)).distance_mm(p), exact, atol=1e-12)


def test_a_face_without_area_is_no_nearer_than_its_edges() -> None:
    line = np.array([[[0.0, 0.0, 0.0], [10.0, 0.0, 0.0], [4.0, 0.0, 0.0]]])
    np.testing.assert_allclose(nearest_on_triangles(np.array([[5.0, 3.0, 4.0]]), line), [[5.0, 0.0, 0.0]])
    surface = Surface(line[0], np.array([[0, 1, 2]]))
    assert abs(Skin(surface).distance_mm([[12.0, 0.0, 0.0]])[0]) == pytest.approx(2.0)


def test_a_surface_without_faces_is_refused() -> None:
    with pytest.raises(BadValueError, match="no faces"):
        NearestFaces(Surface(np.zeros((3, 3)), np.zeros((0, 3), dtype=np.int64)))


def test_a_whole_wire_against_a_fine_skin_takes_well_under_a_tenth_of_a_second() -> None:
    skin = Skin(ellipsoid(radii_mm=(58.0, 85.0, 100.0), centre_mm=(0.0, 45.0, 0.0), n=110))
    t = np.linspace(-1.4, 1.4, 340)
    wire = np.stack([64.0 * np.sin(t), 45.0 - 92.0 * np.cos(t), 0.0 * t], axis=1)
    skin.distance_mm(wire[:1])
    started = time.process_time()
    skin.distance_mm(wire)
    assert time.process_time() - started < 0.3  # 0.02 s on an idle core; room for a loaded one
