"""Separate roots on height fields with known peaks and passes; names; furcation and root lengths of made molars."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from demo_meshes.molar import MolarShape, molar
from mesh_tools.anatomy import ToothAnatomy, tooth_anatomy
from mesh_tools.anatomy.naming import root_names
from mesh_tools.anatomy.roots import SEPARATE_MM, root_peaks
from mesh_tools.arrays import Array, IntArray
from mesh_tools.fdi import ToothNumber
from mesh_tools.surface import Surface


def ridge(heights_mm: list[float], pass_mm: float, *, step_mm: float = 0.1) -> tuple[Array, IntArray]:
    """Points and faces of a sheet with peaks 6 mm apart along x, joined at ``pass_mm``, falling off sideways."""
    x = np.arange(-3.0, 6.0 * len(heights_mm) - 3.0 + 1e-9, step_mm)
    y = np.arange(-3.0, 3.0 + 1e-9, step_mm)
    which = np.clip(((x + 3.0) // 6.0).astype(int), 0, len(heights_mm) - 1)
    along = pass_mm + (np.array(heights_mm)[which] - pass_mm) * np.cos(np.pi * (x - 6.0 * which) / 6.0) ** 2
    gx, gy = np.meshgrid(x, y, indexing="ij")
    points = np.stack([gx, gy, along[:, None] - 0.5 * gy**2], axis=-1).reshape(-1, 3)
    i, j = np.meshgrid(np.arange(len(x) - 1), np.arange(len(y) - 1), indexing="ij")
    a = (i * len(y) + j).ravel()
    return points, np.concatenate([
        np.stack([a, a + len(y), a + 1], axis=1), np.stack([a + 1, a + len(y), a + len(y) + 1], axis=1)
    ])  # fmt: skip


def test_peaks_and_passes_are_found_where_they_were_put() -> None:
    points, faces = ridge([12.0, 10.0, 11.0], 6.0)
    roots = root_peaks(points, faces, above_mm=2.0)
    assert sorted(round(float(r.apex[2]), 1) for r in roots) == [10.0, 11.0, 12.0]
    assert sorted(round(float(r.apex[0])) for r in roots) == [0, 6, 12]
    for root in roots:
        assert root.begins_mm == pytest.approx(6.0, abs=0.1)
        assert abs(root.begins_at[0] % 6.0 - 3.0) < 0.2


@pytest.mark.parametrize(("stands_up_mm", "count"), [(SEPARATE_MM - 0.3, 1), (SEPARATE_MM + 0.3, 2)])
def test_a_bump_counts_as_root_once_it_is_free_enough(stands_up_mm: float, count: int) -> None:
    points, faces = ridge([12.0, 8.0 + stands_up_mm], 8.0)
    assert len(root_peaks(points, faces, above_mm=2.0)) == count


def test_roots_parted_below_the_floor_begin_at_the_floor() -> None:
    points, faces = ridge([12.0, 10.0, 8.0], 6.0)
    roots = root_peaks(points, faces, above_mm=7.0)
    assert [round(float(r.apex[2]), 1) for r in roots] == [12.0, 10.0]  # the third stands up by 1 mm only
    assert [r.begins_mm for r in roots] == [7.0, 7.0]


def test_noise_makes_no_roots() -> None:
    points, faces = ridge([12.0, 11.0], 6.0, step_mm=0.2)
    rough = points + np.random.default_rng(1).normal(scale=0.05, size=points.shape)
    assert len(root_peaks(rough, faces, above_mm=2.0)) == 2


ARCH_CENTRES = {
    "mesiobuccal": (3.0, 2.0), "distobuccal": (2.5, -2.5), "palatal": (-4.0, 0.3), "mesial": (0.2, 3.0),
    "distal": (-0.1, -3.0), "buccal": (3.0, 0.2), "lingual": (-3.0, 0.1), "distolingual": (-2.0, -2.5),
}  # fmt: skip


@pytest.mark.parametrize(
    ("fdi", "names"),
    [
        (16, ("mesiobuccal", "distobuccal", "palatal")),
        (26, ("palatal", "mesiobuccal", "distobuccal")),
        (27, ("buccal", "palatal")),
        (36, ("distal", "mesial")),
        (46, ("mesial", "distobuccal", "distolingual")),
        (14, ("palatal", "buccal")),
        (33, ("buccal", "lingual")),
    ],
)
def test_roots_are_named_by_their_place_in_the_arch(fdi: int, names: tuple[str, ...]) -> None:
    centres = np.array([ARCH_CENTRES[name] for name in names])
    assert root_names(centres, np.eye(2), ToothNumber(fdi)) == names


def test_four_roots_get_four_names() -> None:
    centres = np.array([[3.0, 2.0], [3.0, -2.0], [-3.0, 2.0], [-3.0, -2.0]])
    names = root_names(centres, np.eye(2), ToothNumber(26))
    assert names == ("mesiobuccal", "distobuccal", "mesiopalatal", "distopalatal")


# The made molars know their own anatomy (demo_meshes.molar); marching cubes makes their surface.
def made(shape: MolarShape, fdi: int = 26, step_mm: float = 0.5) -> tuple[ToothAnatomy, object]:
    pytest.importorskip("skimage", reason="scikit-image makes the surface of the invented molar")
    points, faces, truth = molar(shape, right=fdi < 20, step_mm=step_mm)
    return tooth_anatomy(Surface(points, faces), ToothNumber(fdi)), truth


@pytest.mark.parametrize("seed", range(3))
def test_made_molars_show_the_anatomy_they_were_given(seed: int) -> None:
    found, truth = made(MolarShape().varied(seed, spread=1.5))
    assert [r.name for r in found.roots] == ["mesiobuccal", "distobuccal", "palatal"]
    for name, apex in truth.apices_mm.items():
        assert np.linalg.norm(found.apices_mm[name] - apex) < 0.5
    assert np.degrees(np.arccos(found.long_axis @ truth.long_axis)) < 6.0
    assert abs((found.trifurcation_mm - truth.roof_mm)[2]) < 0.6
    for side, entrance in truth.furcations_mm.items():
        assert np.linalg.norm(found.furcation_entrances_mm[side] - entrance) < 1.8
        assert abs((found.furcation_entrances_mm[side] - entrance)[2]) < 0.9
    assert np.abs(found.below_line_mm(truth.cervical_line_mm)).mean() < 0.1


ALL = {"fused_buccal": 1.0, "fused_distal": 1.0, "fused_mesial": 1.0}


@pytest.mark.parametrize(
    ("fused", "roots"), [({"fused_buccal": 1.0}, 2), ({"fused_distal": 1.0}, 2), (ALL, 1)]
)
def test_fused_roots_are_a_finding(fused: dict[str, float], roots: int) -> None:
    found, _ = made(MolarShape(**fused))
    assert found.separate_roots == roots
    assert (found.trifurcation_mm is None) == (roots == 1)
    assert "3 are usual, so roots are fused or incomplete" in found.finding("separate_roots").how


def test_short_roots_of_a_child_do_not_tilt_the_axis() -> None:
    found, truth = made(MolarShape().with_roots(length=0.6))
    assert np.degrees(np.arccos(found.long_axis @ truth.long_axis)) < 6.0
    assert np.abs(found.below_line_mm(truth.cervical_line_mm)).mean() < 0.1


def test_the_shipped_molars_are_read_right() -> None:
    folder = Path(__file__).parents[2] / "demo_meshes"
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("pad", "<u2")])
    for fdi, sign in ((16, np.array([-1.0, -1.0, 1.0])), (26, np.ones(3))):  # RAS and LPS files
        raw = np.frombuffer((folder / f"molar_{fdi}.stl").read_bytes()[84:], dtype=record)["corners"]
        points, faces = np.unique(raw.reshape(-1, 3).astype(np.float64) * sign, axis=0, return_inverse=True)
        found = tooth_anatomy(Surface(points, faces.reshape(-1, 3)), ToothNumber(fdi))
        assert found.separate_roots == 3
        assert found.line.confidence > 0.8
        assert found.buccal_axis[0] * ToothNumber(fdi).buccal_sign > 0.7
