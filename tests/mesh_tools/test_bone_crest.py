"""Crest from the bone: sockets made around teeth with a known crest; wrong bones refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from mesh_tools.anatomy import ToothAnatomy, tooth_anatomy
from mesh_tools.arrays import Array
from mesh_tools.axes import to_lps
from mesh_tools.bone_crest import NoBoneCrestError, bone_crest, point_face_distances
from mesh_tools.fdi import ToothNumber
from mesh_tools.read import read_surface
from mesh_tools.repair import repaired
from mesh_tools.supported_root import supported_root
from mesh_tools.surface import Surface
from mesh_tools.topology import boundary_loops

DEMO = Path(__file__).parents[2] / "demo_meshes"
Tooth = tuple[Surface, ToothAnatomy]


@pytest.fixture(scope="module")
def tooth() -> Tooth:
    surface = repaired(to_lps(read_surface(DEMO / "molar_26.stl"), "LPS")).surface
    return surface, tooth_anatomy(surface, ToothNumber(26))


def socket(tooth: Tooth, crest_mm: Array, *, width_mm: float = 0.25, noise_mm: float = 0.0) -> Surface:
    """Bone at ``width_mm`` from the root, up to a crest ``crest_mm`` (96,) below the cervical line, then turning away.

    From the rim a ledge runs 4 mm outward and 1 mm apically, as bone does towards the next tooth or the cheek.
    """
    surface, anatomy = tooth
    line = anatomy.frame.to_lps(anatomy.line.points_tooth)
    crest = line + crest_mm[:, None] * anatomy.long_axis
    root = supported_root(surface, anatomy, crest_points_mm=crest)
    normal = np.zeros_like(root.points_mm)
    for k in range(3):
        np.add.at(normal, root.faces[:, k], root.area_vectors_mm2)
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    wall = root.points_mm + width_mm * normal
    wall = wall + noise_mm * np.random.default_rng(0).normal(size=wall.shape)
    rim = boundary_loops(root)[0]
    out = normal[rim] - (normal[rim] @ anatomy.long_axis)[:, None] * anatomy.long_axis
    ledge = wall[rim] + 4.0 * out / np.linalg.norm(out, axis=1)[:, None] + 1.0 * anatomy.long_axis
    here, there = len(wall) + np.arange(len(rim)), len(wall) + (np.arange(len(rim)) + 1) % len(rim)
    nxt = np.roll(rim, -1)
    faces = np.concatenate([np.stack([rim, nxt, here], axis=1), np.stack([nxt, there, here], axis=1)])
    return Surface(np.concatenate([wall, ledge]), np.concatenate([root.faces[:, ::-1], faces]))


@pytest.mark.parametrize("below_mm", [0.5, 1.5, 4.0])
def test_a_level_crest_is_found(tooth: Tooth, below_mm: float) -> None:
    crest = bone_crest(*tooth, socket(tooth, np.full(96, below_mm)))
    assert len(crest.points_mm) == 36
    assert crest.below_cej_mm.mean() == pytest.approx(below_mm, abs=0.15)
    assert np.abs(crest.below_cej_mm - below_mm).max() < 0.45


def test_a_crest_that_dips_is_followed(tooth: Tooth) -> None:
    dip = 1.0 + 3.0 * np.exp(-(((np.arange(96) - 48) / 14.0) ** 2))  # bone loss on the palatal side
    crest = bone_crest(*tooth, socket(tooth, dip))
    turn = np.arctan2(*(tooth[1].frame.to_tooth(crest.points_mm)[:, [1, 0]]).T) % (2.0 * np.pi)
    wanted = np.interp(turn, 2.0 * np.pi * np.arange(96) / 96, dip, period=2.0 * np.pi)
    assert np.abs(crest.below_cej_mm - wanted).mean() < 0.2
    assert crest.below_cej_mm.max() > 3.5


def test_the_root_cut_at_the_found_crest_is_the_root_in_the_bone(tooth: Tooth) -> None:
    crest = bone_crest(*tooth, socket(tooth, np.full(96, 2.0), noise_mm=0.05))
    root = supported_root(*tooth, crest_points_mm=crest.points_mm)
    assert root.areas_mm2.sum() == pytest.approx(
        supported_root(*tooth, crest_below_cej_mm=2.0).areas_mm2.sum(), rel=0.02
    )


def test_mirrored_tooth_and_bone_give_the_mirrored_crest(tooth: Tooth) -> None:
    surface, _ = tooth
    bone = socket(tooth, np.full(96, 1.5))
    mirror = np.diag([-1.0, 1.0, 1.0])
    right = surface.moved(mirror)
    there = bone_crest(right, tooth_anatomy(right, ToothNumber(16)), bone.moved(mirror))
    here = bone_crest(*tooth, bone)
    assert there.below_cej_mm.mean() == pytest.approx(here.below_cej_mm.mean(), abs=0.02)


def test_a_stray_spike_does_not_lift_the_crest(tooth: Tooth) -> None:
    bone = socket(tooth, np.full(96, 2.0))
    surface, anatomy = tooth
    at = int(np.abs(anatomy.below_line_mm(surface.points_mm)).argmin())
    spike = surface.points_mm[at] + np.array([[0.0, 0.0, 0.0], [0.2, 0.0, 0.0], [0.0, 0.2, 0.0]])
    n = len(bone.points_mm)
    spiked = Surface(
        np.concatenate([bone.points_mm, spike]), np.concatenate([bone.faces, [[n, n + 1, n + 2]]])
    )
    crest = bone_crest(*tooth, spiked)
    assert crest.below_cej_mm.min() > 1.5


def test_bone_elsewhere_is_refused(tooth: Tooth) -> None:
    bone = socket(tooth, np.full(96, 2.0))
    with pytest.raises(
        NoBoneCrestError, match="no bone within 3 mm of the root; the bone surface must be in the"
    ):
        bone_crest(*tooth, bone.mapped(lambda p: p + np.array([60.0, 0.0, 0.0])))
    with pytest.raises(NoBoneCrestError, match="tooth 26: no bone"):
        bone_crest(*tooth, bone.mapped(lambda p: p * 0.1))


def test_a_bone_that_holds_the_tooth_is_refused(tooth: Tooth) -> None:
    with pytest.raises(
        NoBoneCrestError, match=r"mm over the cervical line on average .* without teeth or gum"
    ):
        bone_crest(*tooth, tooth[0])


def test_half_a_socket_is_refused(tooth: Tooth) -> None:
    bone = socket(tooth, np.full(96, 2.0))
    half = bone.with_faces(bone.face_centres_mm[:, 0] > np.median(bone.face_centres_mm[:, 0]))
    with pytest.raises(NoBoneCrestError, match=r"bone lines \d+ % of the way round the root"):
        bone_crest(*tooth, half)


def test_distance_to_a_triangle_in_all_its_regions() -> None:
    corners = np.array([[0.0, 0.0, 0.0], [2.0, 0.0, 0.0], [0.0, 2.0, 0.0]])
    points = np.array(
        [[0.5, 0.5, 3.0], [-3.0, -4.0, 0.0], [5.0, 0.0, 4.0], [1.0, -2.0, 0.0], [2.0, 2.0, 0.0]]
    )
    expected = [
        3.0,
        5.0,
        5.0,
        2.0,
        np.sqrt(2.0),
    ]  # over the face, at two corners, at an edge, at the long edge
    got = point_face_distances(points, np.broadcast_to(corners, (5, 3, 3)))
    np.testing.assert_allclose(got, expected, atol=1e-12)
