"""The fitted face-bow: passive in both tubes, smooth, near what it should pass, mirror for mirror,
refusing bad input."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from bow_cases import ellipsoid, needs, tube

from mechanics.bow.fit import LEAD_MM, SHARPEST_MM, check_hooks_outside, fit_bow, sharpest_radius_mm
from mechanics.bow.needs import BowNeeds
from mechanics.bow.quintic import CurveEnd, Quintic
from mechanics.bow.skin import Skin, is_inside
from mechanics.bow.stock import BowStock
from mechanics.bow.wire import BowWire, Tube, WirePart
from mechanics.sides import SIDES, Side
from mesh_tools.errors import BadValueError

MIRROR = np.array([-1.0, 1.0, 1.0])


def uneven() -> BowNeeds:
    """Tubes at different width, depth, height and splay; arms of different length."""
    tubes = {
        "right": tube("right", x=24.5, y=1.5, z=0.8, splay=0.2),
        "left": tube("left", x=27.0, z=-0.5, splay=0.9),
    }
    return needs(
        tubes=tubes, arm_length_mm={"right": 72.0, "left": 85.0}, incisor_mm=np.array([0.7, -35.0, -1.0])
    )


def mirrored(n: BowNeeds) -> BowNeeds:
    """The needs of the mirror-image patient."""
    other: dict[Side, Side] = {"right": "left", "left": "right"}
    return needs(
        tubes={
            other[s]: Tube(t.mesial_mm * MIRROR, t.distal_mm * MIRROR, t.bore_mm) for s, t in n.tubes.items()
        },
        incisor_mm=n.incisor_mm * MIRROR,
        corner_mm={other[s]: c * MIRROR for s, c in n.corner_mm.items()},
        arm_length_mm={other[s]: a for s, a in n.arm_length_mm.items()},
    )


@pytest.mark.parametrize("case", [needs(), uneven()], ids=["even", "uneven"])
def test_the_inner_bow_is_passive_in_both_tubes(case: BowNeeds) -> None:
    wire = fit_bow(case).wire
    for side in SIDES:
        t = case.tubes[side]
        s = wire.inner.s_mm if side == "right" else wire.inner.length_mm - wire.inner.s_mm
        inside = wire.inner.points_mm[s <= t.length_mm + 1e-9]
        off = inside - t.mesial_mm
        np.testing.assert_allclose(np.linalg.norm(np.cross(off, t.axis), axis=1), 0.0, atol=1e-9)
        np.testing.assert_allclose(
            wire.inner.at(wire.stop_mm[side]), t.mesial_mm, atol=1e-3
        )  # chord of 0.5 mm
        # It leaves the tube along its axis and without curvature: the next 2 mm stray by less than 0.02 mm.
        ahead = wire.inner.at(wire.stop_mm[side] + (2.0 if side == "right" else -2.0)) - t.mesial_mm
        assert np.linalg.norm(np.cross(ahead, t.axis)) < 0.02


def test_an_even_patient_gets_an_even_bow() -> None:
    wire = fit_bow(needs()).wire
    for part in (wire.inner, wire.outer):
        np.testing.assert_allclose(part.points_mm[::-1] * MIRROR, part.points_mm, atol=1e-4)


def test_the_mirror_image_of_a_patient_gets_the_mirror_image_of_the_bow() -> None:
    one, other = fit_bow(uneven()).wire, fit_bow(mirrored(uneven())).wire
    for a, b in ((one.inner, other.inner), (one.outer, other.outer)):
        np.testing.assert_allclose(a.points_mm[::-1] * MIRROR, b.points_mm, atol=1e-4)


def test_a_shifted_patient_gets_the_shifted_bow() -> None:
    shift, n = np.array([12.0, -340.0, 77.0]), uneven()
    moved = needs(
        tubes={s: Tube(t.mesial_mm + shift, t.distal_mm + shift, t.bore_mm) for s, t in n.tubes.items()},
        incisor_mm=n.incisor_mm + shift,
        corner_mm={s: c + shift for s, c in n.corner_mm.items()},
        arm_length_mm=n.arm_length_mm,
    )
    np.testing.assert_allclose(
        fit_bow(moved).wire.outer.points_mm, fit_bow(n).wire.outer.points_mm + shift, atol=1e-4
    )


@pytest.mark.parametrize("case", [needs(), uneven()], ids=["even", "uneven"])
def test_both_wires_are_smooth(case: BowNeeds) -> None:
    wire = fit_bow(case).wire
    for part in (wire.inner, wire.outer):
        way = np.diff(part.points_mm, axis=0) / part.step_mm[:, None]
        bend = np.diff(way, axis=0) / (0.5 * (part.step_mm[1:] + part.step_mm[:-1]))[:, None]
        # A kink of one degree between stations 0.5 mm apart would jump the curvature by 0.035 / mm.
        assert np.linalg.norm(np.diff(bend, axis=0), axis=1).max() < 0.02
        assert sharpest_radius_mm(part) > SHARPEST_MM[part.part]


def test_it_comes_near_all_it_should_pass() -> None:
    fit = fit_bow(needs())
    assert fit.front_mm < 0.05
    for side in SIDES:
        corner, outer = needs().corner_mm[side], fit.wire.outer.points_mm
        beside = outer[(np.abs(outer[:, 0] - corner[0]) < 0.3) & (outer[:, 1] < 0.0)][0]
        assert LEAD_MM[0] - 0.5 < corner[1] - beside[1] < LEAD_MM[1] + 0.5
        assert abs(beside[2] - corner[2]) < 0.3  # the lip is neither lifted nor lowered
        assert fit.corner_mm[side] < LEAD_MM[1]
        assert abs(fit.hook_out_mm[side]) < 1.0
        assert abs(fit.hook_up_mm[side]) < 0.5


@pytest.mark.parametrize("arm", [70.0, 85.0, 110.0, 140.0])
def test_arms_have_their_length_and_end_straight(arm: float) -> None:
    wire = fit_bow(needs(arm_length_mm={"right": arm, "left": arm + 4.0})).wire
    assert wire.arm_length_mm("right") == pytest.approx(arm, abs=0.01)
    assert wire.arm_length_mm("left") == pytest.approx(arm + 4.0, abs=0.01)
    for side in SIDES:
        begin = wire.outer_s_mm(side, wire.bend_place_mm[side])
        end = 0.0 if side == "right" else wire.outer.length_mm
        points = wire.outer.at(np.linspace(begin, end, 30))
        chord = (points[-1] - points[0]) / np.linalg.norm(points[-1] - points[0])
        assert np.linalg.norm(np.cross(points - points[0], chord), axis=1).max() < 1e-3


def test_over_the_joint_the_wires_touch_side_by_side() -> None:
    case = uneven()
    wire = fit_bow(case).wire
    joint = wire.joint
    over = wire.outer.at(np.linspace(joint.outer_from_mm + 0.5, joint.outer_to_mm - 0.5, 40))
    under = wire.inner.at(np.linspace(joint.inner_from_mm - 1.0, joint.inner_to_mm + 1.0, 2000))
    gap = np.linalg.norm(over[:, None] - under[None], axis=2).min(axis=1)
    np.testing.assert_allclose(gap, case.stock.joint_offset_mm, atol=0.02)


def test_joint_bar_matches_the_parallel_axis_sum() -> None:
    """Two equal touching rods: I = 2 (pi d^4 / 64 + pi d^2 / 4 (d / 2)^2) = 10 pi d^4 / 64 (parallel-axis
    theorem)."""
    stock = BowStock(inner_diameter_mm=1.2, outer_diameter_mm=1.2)
    assert stock.joint_diameter_mm == pytest.approx(1.2 * 10.0**0.25, rel=1e-12)


def test_a_face_keeps_the_bow_off_the_skin() -> None:
    face = ellipsoid(radii_mm=(58.0, 85.0, 100.0), centre_mm=(0.0, 45.0, 0.0))
    fit = fit_bow(needs(face=face, arm_length_mm={"right": 85.0, "left": 85.0}))
    for side in SIDES:
        gap = fit.skin_mm[side]
        assert gap is not None
        assert 3.0 < gap < 6.5  # asked for 5 mm


def test_a_hook_inside_the_face_is_refused() -> None:
    wide = ellipsoid(radii_mm=(90.0, 120.0, 100.0), centre_mm=(0.0, 70.0, 0.0))
    with pytest.raises(BadValueError, match=r"right hook at .* lies inside the face"):
        check_hooks_outside(fit_bow(needs()).wire, wide)


def test_distance_to_an_ellipsoid_and_inside_it() -> None:
    """A sphere of radius 50: distances are |p| - 50, up to the facets' own sagitta (0.03 mm at this size)."""
    ball = ellipsoid(radii_mm=(50.0, 50.0, 50.0), centre_mm=(0.0, 0.0, 0.0), n=90)
    p = np.random.default_rng(3).normal(size=(60, 3)) * 40.0
    r = np.linalg.norm(p, axis=1)
    near = np.abs(r - 50.0) < 15.0
    np.testing.assert_allclose(Skin(ball).distance_mm(p[near]), r[near] - 50.0, atol=0.05)
    np.testing.assert_array_equal(is_inside(ball, p), r < 50.0)


def test_a_quintic_piece_meets_both_ends() -> None:
    start = CurveEnd(np.zeros(3), np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.02, 0.01]))
    end = CurveEnd(np.array([30.0, 20.0, 4.0]), np.array([0.0, 1.0, 0.0]), np.array([-0.03, 0.0, 0.0]))
    piece = Quintic.between(start, end, start_speed=35.0, end_speed=40.0)
    for u, want in ((0.0, start), (1.0, end)):
        got = piece.end_at(u)
        for a, b in zip((got.point_mm, got.direction, got.curvature), vars(want).values(), strict=True):
            np.testing.assert_allclose(a, b, atol=1e-12)
    points = piece.at(np.linspace(0.0, 1.0, 20001))
    assert piece.length_mm == pytest.approx(np.linalg.norm(np.diff(points, axis=0), axis=1).sum(), rel=1e-6)


@pytest.mark.parametrize("seed", range(12))
def test_every_plausible_patient_gets_a_bow(seed: int) -> None:
    r = np.random.default_rng(seed)
    tubes = {
        s: tube(
            s, x=r.uniform(23, 31), y=r.uniform(-2, 2), z=r.uniform(-1.5, 1.5), splay=r.uniform(-0.7, 0.9)
        )
        for s in SIDES
    }
    corner = {
        s: np.array([g * r.uniform(18, 25), r.uniform(-31, -24), r.uniform(-3, 3)])
        for s, g in zip(SIDES, (-1, 1), strict=True)
    }
    arm = {s: r.uniform(68, 140) for s in SIDES}
    fit = fit_bow(
        needs(
            tubes=tubes, corner_mm=corner, arm_length_mm=arm, incisor_mm=np.array([0, r.uniform(-42, -30), 0])
        )
    )
    assert fit.front_mm < 0.2
    assert fit.radius_mm["inner"] > SHARPEST_MM["inner"] * 0.97
    assert fit.radius_mm["outer"] > SHARPEST_MM["outer"] * 0.97
    for side in SIDES:
        assert abs(fit.hook_out_mm[side]) < 4.0
        assert abs(fit.hook_up_mm[side]) < 3.0


BAD: list[tuple[dict[str, Any], str]] = [
    ({"anterior_clearance_mm": -1.0}, "anterior_clearance_mm must be zero or more; got -1.0"),
    ({"cheek_clearance_mm": float("nan")}, "cheek_clearance_mm must be zero or more"),
    ({"arm_length_mm": {"right": -76.0, "left": 76.0}}, "right arm length must be above zero; got -76.0"),
    ({"arm_length_mm": {"left": 76.0}}, 'arm lengths must be given for "right" and "left"'),
    (
        {"tubes": {"right": tube("left"), "left": tube("right")}},
        "right tube lies at x 26.3 and the left at -26.3",
    ),
    ({"tubes": {s: tube(s, x=60.0) for s in SIDES}}, "tubes lie 120.0 mm apart; a bow can span 25 to 90"),
    ({"incisor_mm": np.array([0.0, 5.0, 0.0])}, "front of the bow lies -0.4 mm ahead of the tubes"),
    ({"incisor_mm": np.array([0.0, np.nan, 0.0])}, "incisor contact must be finite"),
    (
        {"tubes": {s: Tube(tube(s).distal_mm, tube(s).mesial_mm, 1.27) for s in SIDES}},
        "right tube points 17. degrees away from straight back",
    ),
    (
        {"corner_mm": {"right": np.array([21.0, -27, 0]), "left": np.array([-21.0, -27, 0])}},
        "right mouth corner lies at x 21.0 and the left at -21.0",
    ),
    ({"stock": BowStock(inner_diameter_mm=1.3)}, "the wire must be thinner than the tube"),
]


@pytest.mark.parametrize(("change", "text"), BAD)
def test_what_no_bow_could_fit_is_refused(change: dict[str, Any], text: str) -> None:
    with pytest.raises(BadValueError, match=text):
        needs(**change)


def test_an_arm_shorter_than_the_front_curve_is_refused() -> None:
    with pytest.raises(BadValueError, match=r"right arm length of 30.0 mm leaves"):
        fit_bow(needs(arm_length_mm={"right": 30.0, "left": 76.0}))


def test_records_refuse_nonsense() -> None:
    wire = fit_bow(needs()).wire
    with pytest.raises(BadValueError, match="two or more stations"):
        WirePart(np.zeros((2, 3)), np.ones(2), "inner")
    with pytest.raises(BadValueError, match="diameter must be positive"):
        WirePart.uniform([[0, 0, 0], [1, 0, 0]], -1.0, part="inner")
    with pytest.raises(BadValueError, match="at least 1 mm long"):
        Tube(np.zeros(3), np.array([0.0, 0.2, 0.0]), 1.2)
    tight = {**wire.tubes, "left": Tube(tube("left").mesial_mm, tube("left").distal_mm, 1.1)}
    with pytest.raises(BadValueError, match=r"left inner bow is 1.143 mm thick but the bore is 1.100"):
        BowWire(wire.inner, wire.outer, wire.joint, wire.material, tight, wire.stop_mm, wire.bend_place_mm)
