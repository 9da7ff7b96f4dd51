"""Centres and axes of resistance.

route                  <> route                                   what must agree
elastic centre         <> symmetry of the coupling block there    the definition
sagittal centre        <> pushing the tooth through it            no tip
axis for a direction   <> pushing along it                        no turn square to the force
axis for a direction   <> couple axes seen along the force        reciprocity (Viecilli 2013)
a b = sigma squared    <> pushing at many levels                  the product law (Naegerl 1991)
centre of rotation     <> rigid motion there                      no movement in the plane
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from root_shapes import cylinder, irregular, paraboloid, spring_bed
from scipy.spatial.transform import Rotation

from mechanics.centres.axes import axes_of_resistance, axis_of_resistance, couple_axis
from mechanics.centres.movement import movement, radius_of_resistance_mm, sigma_squared_mm2
from mechanics.centres.stiffness_centres import elastic_centre, plane_centre, sagittal_centre
from mechanics.ligament.foundation import foundation_stiffness
from mechanics.rigid import stiffness_about, stiffness_turned
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError, NoAnswerError

X, Y, Z = np.eye(3)
SEEDS = pytest.mark.parametrize("seed", range(4))


def pushed(k: Array, force: Array, point: Array) -> Array:
    """Motion (6,) of the origin under ``force`` through ``point``."""
    return np.linalg.solve(k, np.concatenate([force, np.cross(point, force)]))


@SEEDS
def test_coupling_is_symmetric_about_the_elastic_centre(seed: int) -> None:
    k = spring_bed(seed)
    b = stiffness_about(k, elastic_centre(k))[:3, 3:]
    np.testing.assert_allclose(b, b.T, atol=1e-10 * np.abs(k).max())
    off = stiffness_about(k, elastic_centre(k) + 0.1 * Z)[:3, 3:]
    assert np.abs(off - off.T).max() > 1.0


@SEEDS
def test_no_force_in_the_plane_through_its_centre_turns_about_the_normal(seed: int) -> None:
    k = spring_bed(seed)
    normal = Rotation.random(rng=np.random.default_rng(seed)).apply(X)
    centre = plane_centre(k, normal)
    assert normal @ (centre - elastic_centre(k)) == pytest.approx(0.0, abs=1e-10)
    in_plane = np.cross(normal, [0.3, 0.4, -0.6])
    for force in (in_plane, np.cross(normal, in_plane)):
        turn = pushed(k, force, centre)[3:]
        beside = pushed(k, force, centre + np.cross(normal, force))[3:]
        assert abs(turn @ normal) < 1e-10 * abs(beside @ normal)


def test_the_sagittal_centre_is_that_of_the_plane_square_to_x() -> None:
    k = spring_bed(1)
    np.testing.assert_allclose(sagittal_centre(k), plane_centre(k, X), atol=1e-12)
    tips = [pushed(k, f, sagittal_centre(k))[3] for f in (Y, Z)]
    np.testing.assert_allclose(tips, 0.0, atol=1e-13)


@given(seed=st.integers(0, 1000), mirrored=st.booleans())
@settings(max_examples=25, deadline=None)
def test_every_centre_and_axis_moves_with_the_tooth(seed: int, mirrored: bool) -> None:
    points, faces = irregular(seed, around=10, along=6)
    rng = np.random.default_rng(seed)
    turn = Rotation.random(rng=rng).as_matrix() @ np.diag([-1.0 if mirrored else 1.0, 1.0, 1.0])
    shift = rng.normal(size=3) * 30.0
    here = foundation_stiffness(points, faces, k_normal=11.0, k_shear=1.0)
    there = foundation_stiffness(points @ turn.T + shift, faces, k_normal=11.0, k_shear=1.0)
    np.testing.assert_allclose(elastic_centre(there), turn @ elastic_centre(here) + shift, atol=1e-7)
    np.testing.assert_allclose(plane_centre(there, turn @ X), turn @ plane_centre(here, X) + shift, atol=1e-6)
    a, b = axis_of_resistance(here, Y), axis_of_resistance(there, turn @ Y)
    np.testing.assert_allclose(b.point_mm, turn @ a.point_mm + shift, atol=1e-6)
    assert axes_of_resistance(there, rotation=turn.T).miss_mm == pytest.approx(
        axes_of_resistance(here).miss_mm, abs=1e-6
    )


@given(factor=st.floats(1e-3, 1e3))
@settings(max_examples=15, deadline=None)
def test_centres_do_not_depend_on_the_modulus(factor: float) -> None:
    k = spring_bed(3)
    np.testing.assert_allclose(sagittal_centre(factor * k), sagittal_centre(k), atol=1e-8)
    np.testing.assert_allclose(elastic_centre(factor * k), elastic_centre(k), atol=1e-8)


@SEEDS
def test_a_force_along_its_axis_turns_about_nothing_square_to_it(seed: int) -> None:
    k = spring_bed(seed)
    for d in (X, Y, Z):
        axis = axis_of_resistance(k, d)
        turn = pushed(k, d, axis.point_mm)[3:]
        beside = np.linalg.norm(pushed(k, d, axis.point_mm + np.roll(d, 1))[3:])
        assert np.linalg.norm(turn - (turn @ d) * d) < 1e-9 * beside
        assert turn @ d == pytest.approx(axis.spin_rad_per_n, abs=1e-9 * beside)
        assert d @ (axis.point_mm - elastic_centre(k)) == pytest.approx(0.0, abs=1e-9)


@SEEDS
def test_the_axis_is_where_the_couple_axes_cross_as_seen_along_the_force(seed: int) -> None:
    k = spring_bed(seed)
    seen = axis_of_resistance(k, Y).point_mm
    for couple in (X, Z):  # the point of the couple's screw that does not move along the force
        motion = np.linalg.solve(k, np.concatenate([np.zeros(3), couple]))
        assert motion[:3] @ Y + np.cross(motion[3:], seen) @ Y == pytest.approx(
            0.0, abs=1e-10 * np.linalg.norm(motion[3:])
        )


@SEEDS
def test_a_couple_turns_about_its_axis(seed: int) -> None:
    k = spring_bed(seed)
    axis = couple_axis(k, [0.2, 0.9, 0.3])
    motion = np.linalg.solve(k, np.concatenate([np.zeros(3), axis.couple]))
    there = motion[:3] + np.cross(motion[3:], axis.point_mm)
    np.testing.assert_allclose(there, axis.pitch_mm * motion[3:], atol=1e-10 * np.linalg.norm(motion[:3]))
    assert axis.direction @ motion[3:] == pytest.approx(np.linalg.norm(motion[3:]))


def test_a_root_of_revolution_has_one_point() -> None:
    k = foundation_stiffness(*paraboloid(around=60), k_normal=11.0, k_shear=1.0)
    axes = axes_of_resistance(k)
    assert axes.miss_mm < 1e-6
    np.testing.assert_allclose(axes.point_mm, sagittal_centre(k), atol=1e-6)
    assert axes_of_resistance(spring_bed()).miss_mm > 1e-3


def test_axes_by_hand_for_three_orthogonal_lines() -> None:
    axes = axes_of_resistance(spring_bed(2))
    d, b, v = axes.distal.point_mm, axes.buccal.point_mm, axes.vertical.point_mm
    assert axes.distances_mm["distal-buccal"] == pytest.approx(abs(d[2] - b[2]))
    assert axes.distances_mm["distal-vertical"] == pytest.approx(abs(d[0] - v[0]))
    assert axes.distances_mm["buccal-vertical"] == pytest.approx(abs(b[1] - v[1]))
    middle = 0.5 * np.array([d[0] + v[0], b[1] + v[1], d[2] + b[2]])
    np.testing.assert_allclose(axes.point_mm, middle, atol=1e-9)


@SEEDS
def test_product_law(seed: int) -> None:
    k = spring_bed(seed)
    centre, law = sagittal_centre(k), sigma_squared_mm2(k, Y)
    for a in (-6.0, -0.5, 0.7, 9.0):
        motion = pushed(k, Y, centre + a * Z)
        b = motion[:3] @ Y + np.cross(motion[3:], centre) @ Y
        b /= motion[
            3
        ]  # how far from the centre, against the force line, the tooth does not move along the force
        assert -a * b == pytest.approx(law, rel=1e-8)
    assert radius_of_resistance_mm(k, Y) == pytest.approx(np.sqrt(law))


@SEEDS
@pytest.mark.parametrize("level", [-9.0, -1.0, 2.0])
def test_the_centre_of_rotation_stays_in_the_plane(seed: int, level: float) -> None:
    k = spring_bed(seed)
    through = sagittal_centre(k) + level * Z
    found = movement(k, force=Y + 0.3 * Z, through_mm=through, crown_mm=[0, 0, -6], apex_mm=[0, 0, 13])
    assert found.centre_of_rotation_mm is not None
    motion = pushed(k, Y + 0.3 * Z, through)
    there = motion[:3] + np.cross(motion[3:], found.centre_of_rotation_mm)
    assert np.linalg.norm(there[1:]) < 1e-9 * np.linalg.norm(motion[:3])


LEVELS = [
    (-8.0, "crown_distal_tip", "crown tips distally"),
    (0.0, "bodily", "bodily"),
    (5.0, "root_distal_tip", "roots tip distally"),
]


@pytest.mark.parametrize(("level", "kind", "words"), LEVELS)
@pytest.mark.parametrize("upper", [True, False])
def test_movement_in_plain_words(level: float, kind: str, words: str, upper: bool) -> None:
    flip = np.eye(3) if upper else np.diag([1.0, 1.0, -1.0])
    k = stiffness_turned(spring_bed(), flip)
    through = sagittal_centre(k) + flip @ (level * Z)
    found = movement(k, force=Y, through_mm=through, crown_mm=flip @ [0, 0, -6], apex_mm=flip @ [0, 0, 13])
    assert found.kind == kind
    assert words in found.words
    assert found.offset_mm == pytest.approx(level if upper else -level, abs=1e-9)


def test_tip_per_mm_is_the_angle_over_the_crowns_way() -> None:
    k = spring_bed()
    through, crown = sagittal_centre(k) - 8.0 * Z, np.array([0.0, 0.0, -6.0])
    found = movement(k, force=Y, through_mm=through, crown_mm=crown, apex_mm=[0, 0, 13])
    motion = pushed(k, Y, through)
    way = motion[:3] + np.cross(motion[3:], crown)
    assert found.tip_deg_per_mm == pytest.approx(np.degrees(motion[3]) / np.linalg.norm(way[1:]), rel=0.02)
    assert found.crown_share_distal == pytest.approx(1.0, abs=0.05)
    assert found.apex_share_distal < 0.0


def test_bad_questions_are_refused() -> None:
    with pytest.raises(BadValueError, match="must lie in the plane"):
        sigma_squared_mm2(spring_bed(), X)
    with pytest.raises(BadValueError, match="force in the sagittal plane must have a length"):
        movement(spring_bed(), force=X, through_mm=[0, 0, 0], crown_mm=[0, 0, -6], apex_mm=[0, 0, 13])
    smooth = foundation_stiffness(*cylinder(around=400, along=2), k_normal=1.0, k_shear=1e-12)
    with pytest.raises(NoAnswerError, match="ill-conditioned"):
        sagittal_centre(smooth)
