"""Springback against quadrature of plane sections; bend schedules that rebuild the wanted arm."""

from __future__ import annotations

import numpy as np
import pytest
from bow_cases import needs
from scipy.integrate import quad

from mechanics.bow.bend import ArmSetting, bent_bow
from mechanics.bow.fit import fit_bow
from mechanics.bow.wire import BowWire, StockMaterial
from mechanics.making.bend_schedule import BendSchedule, PastBend, bend_schedule
from mechanics.making.springback import (
    kept_fraction,
    loaded_curvature,
    moment_ratio,
    plier_bend,
    yield_curvature,
)
from mechanics.sides import SIDES, Side
from mesh_tools.errors import BadValueError, NoAnswerError

STEEL = StockMaterial(e_gpa=193.0, proof_mpa=1400.0)


@pytest.mark.parametrize("radius", [4.0, 11.0, 60.0, 150.0])
def test_moment_by_quadrature_over_the_section(radius: float) -> None:
    """M = integral of stress times height over a circle, stress elastic up to the proof stress and flat beyond."""
    d, e, proof = 1.83, STEEL.e_mpa, STEEL.proof_mpa

    def layer(y: float) -> float:
        return float(min(e * y / radius, proof) * y * 2.0 * np.sqrt(max(0.25 * d * d - y * y, 0.0)))

    edge = min(proof / e * radius, 0.5 * d)
    moment = 2.0 * (quad(layer, 0.0, edge)[0] + quad(layer, edge, 0.5 * d)[0])
    s = yield_curvature(STEEL, diameter_mm=d) * radius
    assert float(moment_ratio(s)) * proof * d**3 / 6.0 == pytest.approx(moment, rel=1e-8)
    kept = 1.0 - moment / (e * np.pi * d**4 / 64.0) * radius
    assert float(kept_fraction(radius, diameter_mm=d, material=STEEL)) == pytest.approx(
        max(kept, 0.0), abs=1e-8
    )


def test_bending_to_the_loaded_curvature_keeps_the_wanted_one() -> None:
    wanted = np.array([-0.2, -0.03, 0.001, 0.05, 0.3])
    loaded = loaded_curvature(wanted, diameter_mm=1.83, material=STEEL)
    kept = loaded * kept_fraction(1.0 / np.abs(loaded), diameter_mm=1.83, material=STEEL)
    np.testing.assert_allclose(kept, wanted, rtol=1e-9)
    assert np.all(np.abs(loaded) > np.abs(wanted))


def test_a_thinner_beak_gives_back_less() -> None:
    sharp, round_ = (plier_bend(20.0, diameter_mm=1.83, material=STEEL, beak_radius_mm=r) for r in (2.0, 8.0))
    assert 0.0 < sharp.springs_back_deg < round_.springs_back_deg
    kept = float(kept_fraction(2.0 + 0.915, diameter_mm=1.83, material=STEEL))
    assert sharp.plier_deg * kept == pytest.approx(20.0)
    with pytest.raises(BadValueError, match="use a thinner beak"):
        plier_bend(20.0, diameter_mm=1.83, material=STEEL, beak_radius_mm=200.0)
    with pytest.raises(BadValueError, match="wire diameter must be above zero"):
        yield_curvature(STEEL, diameter_mm=0.0)
    with pytest.raises(BadValueError, match="bend radius must be above zero"):
        kept_fraction(-1.0, diameter_mm=1.0, material=STEEL)


@pytest.fixture(scope="module")
def bow() -> BowWire:
    return fit_bow(needs(arm_length_mm={"right": 110.0, "left": 110.0})).wire


def swing_deg(bow: BowWire, side: Side, degrees: float) -> float:
    """Angle between an arm and itself turned about x: 2 asin(sin(a / 2) sqrt(1 - x^2)) for a direction with part x."""
    x = bow.outer.tangent_at(0.0 if side == "right" else bow.outer.length_mm)[0]
    return float(np.degrees(2.0 * np.arcsin(np.sin(np.radians(abs(degrees)) / 2.0) * np.sqrt(1.0 - x**2))))


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize(("degrees", "clock"), [(22.0, 0.0), (-15.0, 180.0)])
def test_one_bend_up_or_down_is_found_again(bow: BowWire, side: Side, degrees: float, clock: float) -> None:
    wanted = bent_bow(bow, {side: ArmSetting(degrees, place_mm=72.0)})
    plan = bend_schedule(bow, wanted, side)
    assert len(plan.bends) == 1
    row = plan.bends[0]
    assert row.place_mm == pytest.approx(72.0, abs=0.3)
    assert row.angle_deg == pytest.approx(swing_deg(bow, side, degrees), abs=0.1)
    assert abs(abs(row.rotation_deg) - clock) < 3.0
    assert row.plier.final_deg == row.angle_deg
    assert row.plier.plier_deg > row.angle_deg
    assert plan.worst_mm < 0.1
    assert plan.warnings == ()


def test_a_step_takes_two_bends_and_turns_half_round(bow: BowWire) -> None:
    plan = bend_schedule(bow, bent_bow(bow, {"left": ArmSetting(rise_mm=5.0, place_mm=60.0)}), "left")
    assert len(plan.bends) == 2
    assert plan.bends[0].angle_deg == pytest.approx(
        swing_deg(bow, "left", np.degrees(np.arcsin(5.0 / 12.0))), abs=0.3
    )
    assert abs(plan.bends[1].turn_deg) == pytest.approx(180.0, abs=3.0)
    assert plan.bends[1].feed_mm == pytest.approx(12.0, abs=0.3)


def test_an_equal_bow_needs_no_bend(bow: BowWire) -> None:
    plan = bend_schedule(bow, bow, "right")
    assert plan == BendSchedule("right", (), plan.worst_mm, ())
    assert plan.worst_mm < 1e-9


def test_another_patients_bow_is_rebuilt_within_tolerance(bow: BowWire) -> None:
    other = fit_bow(needs(arm_length_mm={"right": 110.0, "left": 110.0}, tube_to_skin_mm=13.0)).wire
    coarse = bend_schedule(bow, other, "left", tolerance_mm=1.5)
    fine = bend_schedule(bow, other, "left", tolerance_mm=0.3)
    assert coarse.worst_mm <= 1.5
    assert fine.worst_mm <= 0.3
    assert 1 <= len(coarse.bends) <= len(fine.bends) <= 6
    places = [b.place_mm for b in fine.bends]
    assert places == sorted(places)


def test_mirror_arms_get_the_same_rows(bow: BowWire) -> None:
    other = fit_bow(needs(arm_length_mm={"right": 110.0, "left": 110.0}, tube_to_skin_mm=13.0)).wire
    right, left = (bend_schedule(bow, other, s, tolerance_mm=1.0).bends for s in SIDES)
    for a, b in zip(right, left, strict=True):
        assert (a.place_mm, a.angle_deg, a.rotation_deg) == pytest.approx(
            (b.place_mm, b.angle_deg, b.rotation_deg), abs=0.05
        )


def test_bending_the_same_place_again_is_warned_of(bow: BowWire) -> None:
    wanted = bent_bow(bow, {"left": ArmSetting(20.0, place_mm=70.0)})
    past = (PastBend(71.0, -15.0), PastBend(69.0, 10.0), PastBend(95.0, 30.0))
    (text,) = bend_schedule(bow, wanted, "left", past=past).warnings
    assert "left arm at 70 mm was bent 2 times before (44 degrees in all)" in text


def test_schedules_without_an_answer_are_refused(bow: BowWire) -> None:
    with pytest.raises(BadValueError, match=r"right arm is 110.0 mm long and the wanted one 100.0 mm"):
        bend_schedule(bow, bent_bow(bow, {"right": ArmSetting(length_mm=100.0)}), "right")
    other = fit_bow(needs(arm_length_mm={"right": 110.0, "left": 110.0}, tube_to_skin_mm=8.0)).wire
    with pytest.raises(NoAnswerError, match="6 bends leave the left arm"):
        bend_schedule(bow, other, "left", tolerance_mm=1e-5)
