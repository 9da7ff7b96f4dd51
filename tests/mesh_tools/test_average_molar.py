"""The average molar's root against the published dimensions it is built from, and the zero surface under it."""

from __future__ import annotations

import numpy as np
import pytest

from mechanics.centres.stiffness_centres import sagittal_centre
from mechanics.ligament.foundation import foundation_stiffness
from mechanics.ligament.springs import Ligament
from mesh_tools.average_molar import average_root, placed_root
from mesh_tools.errors import BadValueError
from mesh_tools.level_surface import level_surface
from mesh_tools.self_crossing import self_crossings
from mesh_tools.surface import Surface
from mesh_tools.topology import boundary_loops, edges, face_pieces, genus, is_closed, signed_volume

AVERAGE = {"mesiodistal_mm": 10.0, "buccolingual_mm": 11.0, "height_mm": 7.5}


@pytest.fixture(scope="module")
def root() -> Surface:
    return average_root(**AVERAGE, crest_below_cej_mm=0.0)


def test_area_is_the_published_one(root: Surface) -> None:
    # 433 mm2 (Jepsen A 1963 Acta Odontol Scand 21:35-46) and 476 mm2 (Gher ME, Dunlap RM 1985), both from memory.
    assert 0.95 * 433.0 < root.areas_mm2.sum() < 476.0


def test_neck_and_lengths_are_the_published_ones(root: Surface) -> None:
    # Ash/Nelson, Wheeler's Dental Anatomy: cervix 10 by 8 mm, roots 12 and 13 mm long.
    neck = root.points_mm[root.points_mm[:, 2] == 0.0]
    assert np.ptp(neck[:, 0]) == pytest.approx(10.0, abs=0.7)
    assert np.ptp(neck[:, 1]) == pytest.approx(8.0, abs=0.7)
    palatal = root.points_mm[root.points_mm[:, 0] < -2.0]
    buccal = root.points_mm[root.points_mm[:, 0] > 0.0]
    assert palatal[:, 2].max() == pytest.approx(13.0, abs=0.2)
    for side in (1.0, -1.0):
        assert buccal[side * buccal[:, 1] > 1.0, 2].max() == pytest.approx(12.0, abs=0.2)


def test_one_clean_open_piece_wound_outward(root: Surface) -> None:
    assert face_pieces(root)[0] == 1
    assert len(boundary_loops(root)) == 1
    assert genus(root) == 0
    assert int(edges(root).use.max()) == 2
    assert self_crossings(root).count == 0
    tip = root.faces[(root.points_mm[root.faces][:, :, 2] > 12.5).all(axis=1)]
    assert Surface(root.points_mm, tip).area_vectors_mm2.sum(axis=0)[2] > 0.0


def test_the_centre_lies_where_fifty_molars_had_it() -> None:
    # 0.19 +- 1.75 mm apical, 1.48 +- 2.26 distal, 0.14 +- 1.51 lingual of the trifurcation, here at 4.4 mm under the
    # neck (entrances 3.6-4.8): Gandhi V et al. 2021 AJODO 160:442-450; within two standard deviations.
    root, layer = average_root(**AVERAGE), Ligament(0.68, 0.45, 0.2)
    k = foundation_stiffness(root.points_mm, root.faces, k_normal=layer.k_normal, k_shear=layer.k_shear)
    buccal, mesial, apical = sagittal_centre(k, x_axis=np.array([1.0, 0.0, 0.0]))
    assert abs(apical - 4.4 - 0.19) < 2 * 1.75
    assert abs(-mesial - 1.48) < 2 * 2.26
    assert abs(-buccal - 0.14) < 2 * 1.51


def test_stretched_with_the_crown() -> None:
    small = average_root(mesiodistal_mm=9.0, buccolingual_mm=10.0, height_mm=7.5)
    large = average_root(mesiodistal_mm=11.0, buccolingual_mm=12.0, height_mm=7.5)
    ratio = np.ptp(large.points_mm, axis=0) / np.ptp(small.points_mm, axis=0)
    np.testing.assert_allclose(ratio, [1.2, 11.0 / 9.0, 1.0], rtol=1e-9)
    tall = average_root(mesiodistal_mm=10.0, buccolingual_mm=11.0, height_mm=20.0)
    assert np.ptp(tall.points_mm[:, 2]) == pytest.approx(1.2 * 12.95 - 0.75, abs=0.2)


def test_the_crest_is_the_border() -> None:
    for crest in (0.0, 0.75, 3.3):
        root = average_root(**AVERAGE, crest_below_cej_mm=crest)
        assert root.points_mm[:, 2].min() == pytest.approx(crest, abs=1e-12)
        np.testing.assert_allclose(root.points_mm[boundary_loops(root)[0], 2], crest, atol=1e-12)


def test_placed_right_and_left_are_mirrors_and_stay_outward(root: Surface) -> None:
    up = np.array([0.0, 0.0, 1.0])
    left = placed_root(root, neck_mm=np.array([20.0, 5.0, 1.0]), buccal=np.array([1.0, 0.1, 0.2]),
                       mesial=np.array([0.0, -1.0, 0.0]), apical=up)  # fmt: skip
    right = placed_root(root, neck_mm=np.array([-20.0, 5.0, 1.0]), buccal=np.array([-1.0, 0.1, 0.2]),
                        mesial=np.array([0.0, -1.0, 0.0]), apical=up)  # fmt: skip
    np.testing.assert_allclose(left.points_mm * [-1, 1, 1], right.points_mm, atol=1e-12)
    for one in (left, right):
        tip = one.points_mm[one.faces][:, :, 2].min(axis=1) > 13.4
        assert one.area_vectors_mm2[tip].sum(axis=0)[2] > 0.0


@pytest.mark.parametrize(
    ("change", "text"),
    [({"mesiodistal_mm": 5.0}, "mesiodistal width of the crown must be 7.0 to 14.0 mm .* got 5.0"),
     ({"buccolingual_mm": 16.0}, "buccolingual width of the crown must be 7.7 to 15.4 mm"),
     ({"crest_below_cej_mm": 9.0}, "must lie in 0 to 6 mm; got 9")],
)  # fmt: skip
def test_other_crowns_are_refused(change: dict[str, float], text: str) -> None:
    with pytest.raises(BadValueError, match=text):
        average_root(**(AVERAGE | change))


def test_zero_surface_of_a_ball_closes_and_converges() -> None:
    errors = []
    for step in (0.5, 0.25):
        axis = np.arange(-3.0, 3.01, step)
        x, y, z = np.meshgrid(axis, axis, axis, indexing="ij")
        ball = level_surface(np.sqrt(x**2 + y**2 + z**2) - 2.0, origin_mm=np.full(3, -3.0), step_mm=step)
        assert is_closed(ball)
        errors.append(4.0 / 3.0 * np.pi * 8.0 - signed_volume(ball))
        assert np.linalg.norm(ball.points_mm, axis=1) == pytest.approx(2.0, abs=0.15 * step)
    assert 0.0 < errors[1] < 0.6
    assert errors[0] / errors[1] == pytest.approx(4.0, abs=1.5)  # second order
