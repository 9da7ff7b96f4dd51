"""The check: measuring what the plan predicts corrects nothing; a known wrong bend is found back; errors two ways."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from casework.case_file import parsed_case
from casework.check.checked import checked
from casework.check.context import CheckContext, check_context
from casework.check.errors import CheckError
from casework.check.line import Seen, offset_and_moment
from casework.check.model import Retrued, retrued
from casework.check.readings import (
    Measured,
    MeasuringErrors,
    PhotoReading,
    Reading,
    RulerReading,
    StrapReading,
)
from casework.check.result import CheckResult
from casework.check.telling import check_as_dict, check_text
from casework.planning import plan_case
from demo_meshes import demo_folder
from mechanics.bend.trial import as_it_is
from mechanics.line_of_force import force_line
from mechanics.sides import SIDES, Side
from tests.casework.moving import demo_values


@cache
def context(kind: str = "cervical", aim: str = "line") -> CheckContext:
    values = demo_values()
    values["choices"] |= {"samples": 0, "aim": aim}
    values["pull"]["kind"] = kind
    if kind == "combination":
        for side in SIDES:
            values["pull"][side]["high"] = {"force_n": 2.0, "angle_deg": 35.0}
    case = parsed_case(values)
    return check_context(case, plan_case(case, demo_folder()))


def by_ruler(
    c: CheckContext, side: Side, *, up: float = 0.0, back: float = 0.0, turn: float = 0.0, share: float = 1.0
):
    """What a ruler shows of the plan, changed by so much."""
    e = c.expected[side]
    straps = zip(np.degrees(e.angle) + turn, e.force_n * share, strict=True)
    return RulerReading(e.hook_mm[1] + up, e.hook_mm[0] + back, tuple(StrapReading(a, f) for a, f in straps))


def by_photo(c: CheckContext, side: Side, *, faces: str = "left", roll_deg: float = 7.0, px: float = 4.2):
    """What a photograph of the plan shows, the face looking ``faces``, the camera rolled, ``px`` pixels a mm."""
    e = c.expected[side]
    turn = np.radians(roll_deg)
    mirror = 1.0 if faces == "left" else -1.0

    def place(p: np.ndarray) -> np.ndarray:
        x, y = mirror * p[..., 0], p[..., 1]
        return np.stack([900.0 + px * (np.cos(turn) * x - np.sin(turn) * y),
                         700.0 - px * (np.sin(turn) * x + np.cos(turn) * y)], axis=-1)  # fmt: skip

    way = np.stack([np.cos(e.angle), np.sin(e.angle)], axis=1)
    return PhotoReading(
        scale_px=place(np.array([[0.0, -60.0], [100.0, -60.0]])), scale_mm=100.0,
        plane_px=place(np.array([[-30.0, -5.0], [10.0, -5.0]])), mark_px=place(np.zeros(2)),
        hook_px=place(e.hook_mm), strap_px=place(e.hook_mm + 55.0 * way), forces_n=tuple(float(f) for f in e.force_n),
    )  # fmt: skip


READERS = {
    "ruler": by_ruler,
    "photograph of the left": by_photo,
    "photograph of the right": lambda c, s: by_photo(c, s, faces="right", roll_deg=-11.0, px=9.0),
}


@pytest.mark.parametrize(
    ("kind", "aim"), [("cervical", "line"), ("cervical", "no_tip"), ("combination", "line")]
)
@pytest.mark.parametrize("reader", READERS)
def test_measuring_what_the_plan_predicts_corrects_nothing(reader: str, kind: str, aim: str):
    c = context(kind, aim)
    result = checked(c, Measured({s: READERS[reader](c, s) for s in SIDES}), samples=200)
    for side, found in result.sides.items():
        assert found.offset_mm == pytest.approx(c.plan.sides[side].offset_after_mm, abs=1e-6)
        assert found.moment_n_mm == pytest.approx(c.plan.sides[side].tipping_moment_after_n_mm, abs=1e-5)
        assert found.correction_deg == pytest.approx(0.0, abs=0.05)
        assert found.correction_by_slope_deg == pytest.approx(0.0, abs=0.05)
        assert found.verdict == "leave"
        assert not found.notes


@pytest.mark.parametrize("wrong", [{"right": 4.0, "left": -3.0}, {"right": -6.0, "left": 0.0}])
def test_a_wrong_bend_is_found_back(wrong: dict[Side, float]):
    # The bow is bent wrongly by a known angle, worn by the same mechanics, its hook read off: the check must undo it.
    c = context()
    trial = as_it_is(c.bend.bow)
    for side, degrees in wrong.items():
        trial[side]["bend_deg"] = degrees
    worn = c.bend.worn(trial)
    readings: dict[Side, Reading] = {}
    for s in SIDES:
        seen = worn.hook_mm[s] - c.bend.bow.tubes[s].mesial_mm
        way = worn.strap_direction[s]
        strap = StrapReading(float(np.degrees(np.arctan2(way[2], way[1]))), worn.strap_force_n[s])
        readings[s] = RulerReading(seen[2], seen[1], (strap,))
    result = checked(c, Measured(readings), samples=200)
    for s, degrees in wrong.items():
        assert result.sides[s].correction_deg == pytest.approx(-degrees, abs=0.15)
        assert result.sides[s].correction_by_slope_deg == pytest.approx(
            -degrees, abs=0.12 * abs(degrees) + 0.1
        )
        assert result.sides[s].bend_off_deg == pytest.approx(degrees, abs=0.15)
        assert result.sides[s].offset_mm == pytest.approx(c.bend.lines(worn)[s].offset_mm, abs=1e-6)
        assert result.sides[s].tip_n_mm == pytest.approx(-worn.moment_n_mm[s][0], abs=0.3)


def test_the_line_is_that_of_mechanics():
    # Second route: the many-at-once kernel of the check against the plan's own line of force.
    rng = np.random.default_rng(3)
    e = context().expected["left"]
    hook, angle, force = (
        rng.normal(0, 20, (50, 2)),
        rng.uniform(-1.2, 1.2, (50, 1)),
        rng.uniform(1, 8, (50, 1)),
    )
    offset, moment = offset_and_moment(Seen(hook, angle, force), e)
    for k in range(50):
        pull = e.share[0] * force[k, 0] * np.array([0.0, np.cos(angle[k, 0]), np.sin(angle[k, 0])])
        line = force_line([0.0, *hook[k]], pull, target_mm=[0.0, *e.target_mm], side="left")
        assert offset[k] == pytest.approx(line.offset_mm, abs=1e-12)
        assert moment[k] == pytest.approx(line.tipping_moment_n_mm, abs=1e-11)


def test_errors_by_draws_and_by_slopes_agree():
    # Two routes to the error: 20 000 draws, and the slopes. Tolerance: draws scatter by 0.5 %, curvature adds 2 %.
    c = context()
    for reader in (by_ruler, by_photo):
        result = checked(c, Measured({s: reader(c, s) for s in SIDES}), samples=10_000)
        for found in result.sides.values():
            for spread in (found.offset, found.moment, found.correction):
                assert spread is not None
                assert spread.sd == pytest.approx(spread.sd_by_slopes, rel=0.04)
                assert spread.high - spread.low == pytest.approx(2 * 1.96 * spread.sd, rel=0.05)


def test_the_error_of_a_ruler_in_closed_form():
    # Offset = up cos a - back sin a: with the ruler alone in error its SD is the ruler's, whatever the angle.
    c = context()
    errors = MeasuringErrors(ruler_mm=0.8, protractor_deg=0.0, gauge_share=0.0)
    result = checked(c, Measured({"right": by_ruler(c, "right")}, errors), samples=20_000)
    assert result.sides["right"].offset.sd_by_slopes == pytest.approx(0.8, rel=1e-6)
    assert result.sides["right"].offset.sd == pytest.approx(0.8, rel=0.02)


def test_a_strap_that_was_not_measured_leads_to_its_point():
    c = context()
    e = c.expected["right"]
    bare = checked(c, Measured({"right": RulerReading(e.hook_mm[1], e.hook_mm[0])}), samples=200).sides[
        "right"
    ]
    assert bare.seen.angle_deg == pytest.approx(float(np.degrees(e.angle[0])), abs=1e-9)
    assert bare.seen.force_n == pytest.approx(float(e.force_n[0]))
    known = checked(c, Measured({"right": by_ruler(c, "right")}), samples=200).sides["right"]
    assert bare.moment.sd > known.moment.sd


def test_verdicts_and_notes():
    c = context()

    def found(**change: float) -> tuple[str, str]:
        side = checked(c, Measured({"left": by_ruler(c, "left", **change)}), samples=400).sides["left"]
        return side.verdict, " ".join(side.notes)

    assert found(up=1.0)[0] == "leave"
    assert found(up=2.2)[0] == "unsure"
    assert found(up=4.0)[0] == "bend"
    verdict, notes = found(up=4.0, back=14.0)
    assert verdict == "measure again"
    assert "both tubes" in notes
    assert "25% below" in found(share=0.75)[1]
    assert "degrees more upward" in found(turn=14.0)[1]


def test_one_side_alone_leaves_the_other_as_planned():
    c = context()
    result = checked(c, Measured({"right": by_ruler(c, "right", up=5.0)}), samples=200)
    assert list(result.sides) == ["right"]
    assert any("measure both" in note for note in result.notes)
    model = retrued(c, {"right": Seen(c.expected["right"].hook_mm[None] + [0, 5.0], c.expected["right"].angle[None],
                                      c.expected["right"].force_n[None])})  # fmt: skip
    assert isinstance(model, Retrued)
    assert model.solution.bend_deg("left") == 0.0


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"scale_mm": 0.0}, r"photo\.scale_mm: must be the true distance .* above zero; got 0"),
        ({"scale_px": [[5, 5], [5, 5]]}, "the two scale points lie 0.0 pixels apart"),
        ({"plane_px": [[5, 5], [5, 5.5]]}, "the two points of the occlusal plane lie 0.5 pixels apart"),
        ({"plane_px": [[5, 5], [20, 200]]}, "turn the photograph upright"),
    ],
)
def test_a_photograph_that_cannot_be_read_is_refused(change: dict[str, object], text: str):
    photo = by_photo(context(), "right")
    with pytest.raises(CheckError, match=text):
        replace(photo, **change)


def test_more_refusals():
    c = context()
    photo = by_photo(c, "right")
    with pytest.raises(CheckError, match=r"hook and the strap point lie 0\.0 pixels apart"):
        replace(photo, strap_px=photo.hook_px[None])
    with pytest.raises(CheckError, match=r"right photo: the strap runs .* plane_px goes from front to back"):
        checked(c, Measured({"right": replace(photo, plane_px=photo.plane_px[::-1])}))
    with pytest.raises(CheckError, match="must lie within 75 degrees"):
        StrapReading(angle_deg=95.0)
    with pytest.raises(CheckError, match="the plan has 1 strap, but 2 were measured"):
        checked(c, Measured({"right": RulerReading(1.0, 20.0, (StrapReading(), StrapReading()))}))
    with pytest.raises(CheckError, match="nothing was measured"):
        Measured({})
    with pytest.raises(CheckError, match=r"errors\.ruler_mm: must be a standard deviation"):
        MeasuringErrors(ruler_mm=-1.0)


def test_text_and_json_tell_the_same():
    c = context()
    result: CheckResult = checked(c, Measured({s: by_ruler(c, s, up=4.0) for s in SIDES}), samples=400)
    text, tree = check_text(result), check_as_dict(result)
    for side in SIDES:
        assert f"{abs(tree['sides'][side]['correction_deg']):.1f} deg down" in text
    assert "not a medical device" in text
    assert tree["errors_source"] == "our assumption"
    assert len(tree["cautions"]) > 5
