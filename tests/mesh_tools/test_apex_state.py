"""Root ends: every closed apex passes; cut, flattened, opened and hollowed ends are found and completed about right."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from synthetic_teeth import SHARED_TEETH, open_tooth

from mesh_tools.anatomy import ToothAnatomy, tooth_anatomy
from mesh_tools.apex_state import completed_root, in_one_plane, root_ends
from mesh_tools.arrays import Array
from mesh_tools.axes import to_lps
from mesh_tools.cut import clipped
from mesh_tools.fdi import ToothNumber
from mesh_tools.read import read_surface
from mesh_tools.repair import repaired
from mesh_tools.supported_root import supported_root
from mesh_tools.surface import Surface

DEMO = Path(__file__).parents[2] / "demo_meshes"
CLOSED = [
    ("maxillary-first-molar", 26), ("maxillary-second-molar", 27), ("maxillary-third-molar", 28),
    ("mandibular-first-molar", 36), ("mandibular-second-molar", 37), ("maxillary-canine", 23),
    ("maxillary-first-premolar", 24), ("mandibular-left-central-incisor", 31),
    ("maxillary-left-central-incisor", 21),
]  # fmt: skip


def demo_molar() -> Surface:
    return repaired(to_lps(read_surface(DEMO / "molar_26.stl"), "LPS")).surface


def held(surface: Surface, fdi: int = 26) -> tuple[Surface, ToothAnatomy]:
    anatomy = tooth_anatomy(surface, ToothNumber(fdi))
    return supported_root(surface, anatomy), anatomy


def flattened(surface: Surface, off_mm: float) -> Surface:
    """All that lies within ``off_mm`` of the highest point pressed flat: a scan cut by its field of view and closed."""
    level = surface.points_mm[:, 2].max() - off_mm
    return surface.mapped(lambda p: np.column_stack([p[:, :2], np.minimum(p[:, 2], level)]))


def turned_in(surface: Surface, off_mm: float) -> Surface:
    """Root ends mirrored inward at a level: the cup of an open apex, as deep as the apex was high."""
    level = surface.points_mm[:, 2].max() - off_mm

    def change(p: Array) -> Array:
        return np.column_stack([p[:, :2], level - np.abs(p[:, 2] - level)])

    return surface.mapped(change)


def cut_open(surface: Surface, off_mm: float) -> Surface:
    return repaired(clipped(surface, surface.points_mm[:, 2], surface.points_mm[:, 2].max() - off_mm)).surface


@pytest.mark.skipif(not SHARED_TEETH.exists(), reason="open teeth are not on this machine")
@pytest.mark.parametrize(("name", "fdi"), CLOSED)
def test_closed_apices_of_open_teeth_pass(name: str, fdi: int) -> None:
    assert root_ends(*held(open_tooth(name), fdi)) == ()


@pytest.mark.parametrize(("name", "fdi", "axes"), [("molar_26", 26, "LPS"), ("molar_16", 16, "RAS")])
def test_closed_apices_of_the_demo_molars_pass(name: str, fdi: int, axes: str) -> None:
    tooth = repaired(to_lps(read_surface(DEMO / f"{name}.stl"), axes)).surface
    assert root_ends(*held(tooth, fdi)) == ()


@pytest.mark.parametrize("off_mm", [3.0, 5.0])
def test_a_flat_cut_is_found_on_all_roots_in_one_plane(off_mm: float) -> None:
    ends = root_ends(*held(flattened(demo_molar(), off_mm)))
    assert {end.root: end.kind for end in ends} == dict.fromkeys(
        ["mesiobuccal", "distobuccal", "palatal"], "flat"
    )
    assert in_one_plane(ends)
    assert all(2.0 < end.across_mm < 4.5 for end in ends)
    palatal = next(end for end in ends if end.root == "palatal")
    assert palatal.missing_mm == pytest.approx(
        off_mm, abs=0.3
    )  # the demo's palatal root is of the usual 13 mm


@pytest.mark.parametrize("off_mm", [3.0, 5.0])
def test_open_borders_are_found(off_mm: float) -> None:
    ends = root_ends(*held(cut_open(demo_molar(), off_mm)))
    assert {end.kind for end in ends} == {"open border"}
    assert len(ends) == 3
    assert in_one_plane(ends)


@pytest.mark.parametrize(("off_mm", "least"), [(2.0, 1), (3.0, 2)])
def test_hollow_ends_are_found(off_mm: float, least: int) -> None:
    ends = root_ends(*held(turned_in(demo_molar(), off_mm)))
    assert {end.kind for end in ends} == {"hollow"}
    assert len(ends) >= least
    assert not in_one_plane(ends)


@pytest.mark.parametrize("change", [flattened, cut_open])
def test_completing_a_cut_root_gives_back_area_and_centre_of_area(change) -> None:  # type: ignore[no-untyped-def]
    whole, _ = held(demo_molar())
    root, anatomy = held(change(demo_molar(), 3.0))
    again = completed_root(root, root_ends(root, anatomy))
    assert again.areas_mm2.sum() == pytest.approx(whole.areas_mm2.sum(), rel=0.03)
    centre = whole.areas_mm2 @ whole.face_centres_mm / whole.areas_mm2.sum()
    cut = root.areas_mm2 @ root.face_centres_mm / root.areas_mm2.sum()
    completed = again.areas_mm2 @ again.face_centres_mm / again.areas_mm2.sum()
    assert np.linalg.norm(completed - centre) < 0.25 < np.linalg.norm(cut - centre)


def test_the_piece_added_is_a_paraboloid_wound_outward() -> None:
    root, anatomy = held(flattened(demo_molar(), 3.0))
    end = root_ends(root, anatomy)[0]
    piece = completed_root(root, [end])
    added = piece.with_faces(np.arange(len(root.faces) - len(end.faces), len(piece.faces)))
    about_base = np.linalg.det(added.corners_mm - end.centre_mm).sum() / 6.0
    base_mm2 = 0.25 * np.pi * end.across_mm**2
    assert about_base == pytest.approx(
        0.5 * base_mm2 * end.missing_mm, rel=0.05
    )  # half the cylinder: closed form
    height = end.missing_mm * float(end.direction @ anatomy.long_axis)
    tops = added.points_mm @ anatomy.long_axis
    assert tops.max() - end.centre_mm @ anatomy.long_axis == pytest.approx(height, abs=1e-9)


def test_found_alike_on_the_mirrored_tooth() -> None:
    left = flattened(demo_molar(), 3.0)
    right = left.moved(np.diag([-1.0, 1.0, 1.0]))
    here, there = root_ends(*held(left)), root_ends(*held(right, 16))
    assert [e.root for e in here] == [e.root for e in there]
    for one, two in zip(here, there, strict=True):
        assert one.missing_mm == pytest.approx(two.missing_mm, abs=0.05)
        np.testing.assert_allclose(one.centre_mm * [-1, 1, 1], two.centre_mm, atol=0.1)
