"""Bending, stepping, cutting and lengthening the arms; activation and passivity of the inner bow."""

from __future__ import annotations

import numpy as np
import pytest
from bow_cases import needs
from scipy.spatial.transform import Rotation

from mechanics.bow.activation import activated
from mechanics.bow.bend import ArmSetting, bend_point_mm, bent_bow
from mechanics.bow.fit import fit_bow
from mechanics.bow.passivity import passivity
from mechanics.bow.wire import BowWire
from mechanics.sides import SIDES, Side, outward_sign
from mesh_tools.errors import BadValueError


@pytest.fixture(scope="module")
def bow() -> BowWire:
    return fit_bow(needs(arm_length_mm={"right": 110.0, "left": 104.0})).wire


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("degrees", [-60.0, -13.0, 7.0, 60.0])
def test_a_bend_turns_the_arm_about_the_side_to_side_axis(bow: BowWire, side: Side, degrees: float) -> None:
    bent = bent_bow(bow, {side: ArmSetting(degrees)})
    end = 0.0 if side == "right" else bow.outer.length_mm
    was, now = (np.array(b.outer.tangent_at(end)) for b in (bow, bent))
    np.testing.assert_allclose(now, Rotation.from_euler("x", degrees, degrees=True).apply(was), atol=1e-12)
    rise = bent.hook_mm[side][2] - bow.hook_mm[side][2]
    assert np.sign(rise) == np.sign(degrees)
    # Seen from the bend, the hook goes round it: a sharp bend there would put it within the bend's own spread.
    at = bend_point_mm(bow, side)
    sharp = at + Rotation.from_euler("x", degrees, degrees=True).apply(bow.hook_mm[side] - at)
    assert np.linalg.norm(bent.hook_mm[side] - sharp) < 0.35 * np.radians(abs(degrees)) ** 2 + 1e-3


@pytest.mark.parametrize(
    "setting", [ArmSetting(40.0), ArmSetting(-20.0, place_mm=40.0), ArmSetting(10.0, rise_mm=5.0)]
)
def test_bending_keeps_the_length_the_other_arm_and_smoothness(bow: BowWire, setting: ArmSetting) -> None:
    bent = bent_bow(bow, {"left": setting})
    np.testing.assert_allclose(bent.outer.step_mm, bow.outer.step_mm, rtol=1e-9)
    kept = bow.outer.s_mm < bow.joint.outer_to_mm
    np.testing.assert_allclose(bent.outer.points_mm[kept], bow.outer.points_mm[kept], atol=1e-9)
    way = np.diff(bent.outer.points_mm, axis=0) / bent.outer.step_mm[:, None]
    assert np.degrees(np.linalg.norm(np.diff(way, axis=0), axis=1)).max() < 9.0
    assert bent.inner is bow.inner


def test_a_step_lifts_the_hook_and_leaves_its_direction(bow: BowWire) -> None:
    bent = bent_bow(bow, {"right": ArmSetting(rise_mm=6.0)})
    assert bent.hook_mm["right"][2] - bow.hook_mm["right"][2] == pytest.approx(6.0, abs=0.35)
    np.testing.assert_allclose(bent.outer.tangent_at(0.0), bow.outer.tangent_at(0.0), atol=1e-12)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("length", [80.0, 97.3, 125.0])
def test_cutting_and_lengthening_move_only_the_end(bow: BowWire, side: Side, length: float) -> None:
    cut = bent_bow(bow, {side: ArmSetting(length_mm=length)})
    assert cut.arm_length_mm(side) == pytest.approx(length, abs=1e-9)
    other: Side = "left" if side == "right" else "right"
    assert cut.arm_length_mm(other) == pytest.approx(bow.arm_length_mm(other), abs=1e-9)
    np.testing.assert_allclose(cut.hook_mm[other], bow.hook_mm[other], atol=1e-12)
    arm = bow.outer.tangent_at(0.0) * -1.0 if side == "right" else bow.outer.tangent_at(bow.outer.length_mm)
    along = (length - bow.arm_length_mm(side)) * arm
    np.testing.assert_allclose(cut.hook_mm[side], bow.hook_mm[side] + along, atol=1e-6)
    for which in ("outer_from_mm", "outer_to_mm"):
        np.testing.assert_allclose(
            cut.outer.at(getattr(cut.joint, which)), bow.outer.at(getattr(bow.joint, which)), atol=1e-9
        )


def test_both_sides_bent_at_once_equal_one_after_the_other(bow: BowWire) -> None:
    both = bent_bow(bow, {"right": ArmSetting(12.0), "left": ArmSetting(-9.0)})
    one = bent_bow(bent_bow(bow, {"right": ArmSetting(12.0)}), {"left": ArmSetting(-9.0)})
    np.testing.assert_allclose(both.outer.points_mm, one.outer.points_mm, atol=1e-9)


@pytest.mark.parametrize(
    ("setting", "text"),
    [
        (ArmSetting(120.0), "left bend must lie within \\+-90 degrees; got 120.0"),
        (
            ArmSetting(10.0, place_mm=5.0),
            "left bend at 5.0 mm from the joint's middle; this arm takes it between",
        ),
        (ArmSetting(10.0, place_mm=103.0), "left bend at 103.0 mm"),
        (ArmSetting(rise_mm=15.0), "left step must lie within \\+-10.8 mm; got 15.0"),
        (ArmSetting(length_mm=20.0), "left arm cannot be cut to 20.0 mm"),
        (ArmSetting(length_mm=float("nan")), "left arm cannot be cut to nan mm"),
    ],
)
def test_settings_without_room_are_refused(bow: BowWire, setting: ArmSetting, text: str) -> None:
    with pytest.raises(BadValueError, match=text):
        bent_bow(bow, {"left": setting})


def test_a_fitted_bow_is_passive_in_every_seat(bow: BowWire) -> None:
    for seat in ("as it lies", "both", "right", "left"):
        for fit in passivity(bow, seat=seat).values():
            assert fit.passive
            assert fit.gap_mm < 2e-3
            assert fit.angle_deg < 1e-3


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("wide", [-3.0, 5.0])
def test_expansion_shows_as_a_gap_outward(bow: BowWire, side: Side, wide: float) -> None:
    wider = activated(bow, expansion_mm={side: wide})
    np.testing.assert_allclose(wider.inner.step_mm, bow.inner.step_mm, rtol=1e-9)
    fit = passivity(wider)
    assert fit[side].out_mm == pytest.approx(wide, abs=2e-3)
    assert not fit[side].passive
    other: Side = "left" if side == "right" else "right"
    assert fit[other].passive
    # Seated on the other side nothing changes, for that terminal has not moved.
    assert passivity(wider, seat=other)[side].out_mm == pytest.approx(wide, abs=0.02)


@pytest.mark.parametrize("side", SIDES)
def test_toe_in_shows_as_an_angle(bow: BowWire, side: Side) -> None:
    fit = passivity(activated(bow, toe_in_deg={side: 8.0}))[side]
    plain = passivity(activated(bow, expansion_mm={side: 4.0}))[side]
    assert fit.out_mm == pytest.approx(0.0, abs=2e-3)
    assert plain.toe_in_deg < 0.0  # an expansion alone swings the distal end outward
    assert fit.toe_in_deg == pytest.approx(8.0, abs=1.0)  # less the swing that keeps the stop at its place
    end = activated(bow, toe_in_deg={side: 8.0}).inner.points_mm[0 if side == "right" else -1]
    was = bow.inner.points_mm[0 if side == "right" else -1]
    assert outward_sign(side) * (end - was)[0] < -0.3


def test_a_lifted_terminal_shows_up(bow: BowWire) -> None:
    turned = bow.moved(Rotation.from_euler("x", 5.0, degrees=True).as_matrix())
    lifted = BowWire(
        turned.inner, turned.outer, bow.joint, bow.material, bow.tubes, bow.stop_mm, bow.bend_place_mm
    )
    for fit in passivity(lifted).values():
        assert fit.tip_up_deg == pytest.approx(5.0, abs=0.1)
        assert not fit.passive
    assert all(fit.passive for fit in passivity(lifted, seat="both").values())


def test_too_much_activation_is_refused(bow: BowWire) -> None:
    with pytest.raises(BadValueError, match=r"left activation of 20.0 mm and 0.0 degrees is too much"):
        activated(bow, expansion_mm={"left": 20.0})
