"""The sheets read back by programs that did not write them: pdfplumber, ezdxf, an XML parser."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from casework.cautions import CAUTIONS, SHORT_CAUTION
from casework.clearance import clearance_warnings
from casework.plan import CheekMarks, Plan
from mechanics.clearance.along import Clearance, MouthExit
from mechanics.making.bend_schedule import BenchBend, BendSchedule
from mechanics.making.springback import PlierBend
from mechanics.sides import Side
from mesh_tools.arrays import Array
from tests.viewer.trial_plan import trial_plan
from viewer.sheets.build import sheets_as_pdf, sheets_of_plan, write_sheets
from viewer.sheets.frame import Room
from viewer.sheets.model import PAPERS, Paper, PaperError, Sheet, extent, paper_named
from viewer.sheets.stencil import stencil_marks

PT_PER_MM = 72.0 / 25.4  # the PDF user unit is 1/72 inch (ISO 32000-1, 8.3.2.3)
WITHIN_MM = 0.1


@pytest.fixture(scope="module", params=sorted(PAPERS))
def pdf(request: pytest.FixtureRequest, plan: Plan) -> Any:
    pdfplumber = pytest.importorskip("pdfplumber")
    paper = PAPERS[request.param]
    with pdfplumber.open(io.BytesIO(sheets_as_pdf(plan, paper))) as opened:
        yield paper, opened


def page_named(opened: Any, title: str) -> Any:
    return next(p for p in opened.pages if title in (p.extract_text() or ""))


def segments_mm(page: Any) -> Array:
    """Straight lines of a page (n, 4): x0, y0, x1, y1 in mm, y up."""
    found = [(e["x0"], e["y0"], e["x1"], e["y1"]) for e in page.lines]
    return np.array(found) / PT_PER_MM


def lengths_mm(page: Any) -> Array:
    s = segments_mm(page)
    return np.asarray(np.hypot(s[:, 2] - s[:, 0], s[:, 3] - s[:, 1]))


def circles_mm(page: Any) -> list[tuple[Array, float]]:
    """Centres and radii of what is as wide as it is high, from the page's curves."""
    found = []
    for c in page.curves:
        wide, high = c["x1"] - c["x0"], c["y1"] - c["y0"]
        if abs(wide - high) < 0.05 and len(c["pts"]) > 4:
            centre = np.array([c["x0"] + c["x1"], c["y0"] + c["y1"]]) / 2.0 / PT_PER_MM
            found.append((centre, 0.5 * wide / PT_PER_MM))
    return found


def test_every_page_has_the_papers_size_to_a_hundredth_mm(pdf: Any):
    paper, opened = pdf
    assert len(opened.pages) >= 6
    for page in opened.pages:
        size = float(page.width) / PT_PER_MM, float(page.height) / PT_PER_MM
        assert size == pytest.approx((paper.width, paper.height), abs=0.01)


def test_the_check_bars_of_every_page_are_100_mm_and_4_inches(pdf: Any):
    _, opened = pdf
    for page in opened.pages:
        s, lengths = segments_mm(page), lengths_mm(page)
        level, upright = np.abs(s[:, 3] - s[:, 1]) < 1e-3, np.abs(s[:, 2] - s[:, 0]) < 1e-3
        assert (np.abs(lengths[level] - 100.0) < WITHIN_MM).any()
        assert (np.abs(lengths[level] - 101.6) < WITHIN_MM).any()
        assert (np.abs(lengths[upright] - 100.0) < WITHIN_MM).any()
        words = page.extract_text()
        assert "100 mm" in words
        assert "4 inches" in words
        assert "Check the print" in words


def test_the_stencils_dot_lies_where_the_plan_puts_it(pdf: Any, plan: Plan):
    _, opened = pdf
    for side, front in (("right", 1.0), ("left", -1.0)):
        marks = stencil_marks(plan.sides[side], plan.treatment_rotation)
        circles = circles_mm(page_named(opened, f"Cheek stencil, {side}"))
        mark = next(c for c, r in circles if abs(r - 2.0) < 0.01)
        dots = [c for c, r in circles if abs(r - 1.25) < 0.01]
        assert len(dots) == 1
        away = dots[0] - mark
        assert away == pytest.approx([-front * marks.dot[0], marks.dot[1]], abs=WITHIN_MM)


def test_the_line_of_force_runs_through_the_dot_at_the_plans_angle(pdf: Any, plan: Plan):
    _, opened = pdf
    marks = stencil_marks(plan.sides["right"], plan.treatment_rotation)
    page = page_named(opened, "Cheek stencil, right")
    mark = next(c for c, r in circles_mm(page) if abs(r - 2.0) < 0.01)
    dot = mark + np.array([-marks.dot[0], marks.dot[1]])
    along = np.array([-np.cos(np.radians(marks.line_deg)), np.sin(np.radians(marks.line_deg))])
    ends = [
        np.array(line["pts"]) / PT_PER_MM
        for line in page.lines
        if line["stroking_color"] and line["linewidth"]
    ]
    height = float(page.height) / PT_PER_MM
    runs = []
    for e in ends:
        p = np.stack([e[:, 0], height - e[:, 1]], axis=1)
        way = (p[-1] - p[0]) / np.linalg.norm(p[-1] - p[0])
        cross = abs(way[0] * along[1] - way[1] * along[0])
        beside = abs((dot - p[0]) @ [-way[1], way[0]]) - abs(marks.line_off_mm)
        if cross < 1e-3 and abs(beside) < WITHIN_MM and np.linalg.norm(p[0] - dot) < 60.0:
            runs.append(p)
    assert len(runs) == 2


def test_fonts_are_embedded_and_no_text_is_a_picture(pdf: Any):
    _, opened = pdf
    from pdfminer.pdftypes import resolve1

    fonts = {}
    for page in opened.pages:
        assert not page.images
        resources = resolve1(page.page_obj.resources["Font"])
        for reference in resources.values():
            font = reference.resolve()
            fonts[str(font["BaseFont"])] = font["FontDescriptor"].resolve()
    assert len(fonts) == 2
    assert all("FontFile2" in d for d in fonts.values())
    assert all("DejaVuSans" in name for name in fonts)


def test_no_letter_leaves_the_page_or_its_margin(pdf: Any):
    paper, opened = pdf
    for page in opened.pages:
        for c in page.chars:
            assert c["x0"] > 1.5 * PT_PER_MM
            assert c["x1"] < (paper.width - 1.5) * PT_PER_MM
            assert c["top"] > 5.0 * PT_PER_MM
            assert c["bottom"] < (paper.height - 5.0) * PT_PER_MM


def test_every_page_carries_the_cautions(pdf: Any):
    _, opened = pdf
    for page in opened.pages:
        words = " ".join(page.extract_text().split())
        assert SHORT_CAUTION in words
        for caution in CAUTIONS:
            assert caution.text in words


def test_the_printer_is_asked_not_to_scale(plan: Plan):
    data = sheets_as_pdf(plan, PAPERS["a4"])
    assert b"/PrintScaling /None" in data
    assert data == sheets_as_pdf(plan, PAPERS["a4"])


def sheet_of(plan: Plan, name: str, **changes: Any) -> Sheet:
    return next(s for s in sheets_of_plan(plan, PAPERS["a4"], **changes) if s.name == name)


def words_of(sheet: Sheet) -> str:
    return " ".join(item.text for item in sheet.items if hasattr(item, "text"))


def test_dxf_is_in_mm_with_layers_and_the_dot_in_its_place(plan: Plan, tmp_path: Any):
    ezdxf = pytest.importorskip("ezdxf")
    write_sheets(plan, tmp_path, PAPERS["a4"])
    for path in sorted(tmp_path.glob("*.dxf")):
        document = ezdxf.readfile(path)
        assert document.header["$INSUNITS"] == 4
        assert document.header["$MEASUREMENT"] == 1
        assert not document.audit().errors
        bars = list(document.modelspace().query('LINE[layer=="CHECK"]'))
        lengths = [e.dxf.start.distance(e.dxf.end) for e in bars]
        assert min(abs(v - 100.0) for v in lengths) < 1e-6
        assert min(abs(v - 101.6) for v in lengths) < 1e-6
    space = ezdxf.readfile(tmp_path / "stencil-left.dxf").modelspace()
    mark = next(c for c in space.query('CIRCLE[layer=="MARK"]') if c.dxf.radius > 1.0)
    dot = next(c for c in space.query('CIRCLE[layer=="TARGET"]') if c.dxf.radius > 1.0)
    away = dot.dxf.center - mark.dxf.center
    marks = stencil_marks(plan.sides["left"], plan.treatment_rotation)
    assert (away.x, away.y) == pytest.approx(marks.dot, abs=1e-6)
    assert {"CUT", "GUIDE", "LINE_OF_FORCE", "RULE", "HOOK", "TEXT", "CAUTION"} <= {
        e.dxf.layer for e in space
    }


def test_svg_is_in_mm_and_holds_the_same_dot(plan: Plan, tmp_path: Any):
    write_sheets(plan, tmp_path, PAPERS["letter"])
    name = "{http://www.w3.org/2000/svg}"
    root = ET.parse(tmp_path / "stencil-right.svg").getroot()
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == (
        "215.9mm",
        "279.4mm",
        "0 0 215.9 279.4",
    )
    groups = {g.get("id"): g for g in root.findall(f"{name}g")}
    mark = next(c for c in groups["MARK"].findall(f"{name}circle") if float(c.get("r", 0)) > 1.0)
    dot = next(c for c in groups["TARGET"].findall(f"{name}circle") if float(c.get("r", 0)) > 1.0)
    away = [float(dot.get(k, 0)) - float(mark.get(k, 0)) for k in ("cx", "cy")]
    marks = stencil_marks(plan.sides["right"], plan.treatment_rotation)
    assert away == pytest.approx([-marks.dot[0], -marks.dot[1]], abs=1e-3)


def test_a_case_name_that_looks_like_markup_stays_text(plan: Plan, tmp_path: Any):
    write_sheets(replace(plan, case_id="a & <b>"), tmp_path, PAPERS["a4"])
    root = ET.parse(tmp_path / "chairside-card.svg").getroot()
    assert "Case a & <b>" in [t.text for t in root.iter("{http://www.w3.org/2000/svg}text")]


def test_the_marks_over_the_curved_cheek_are_used_when_they_are_known(plan: Plan):
    assert "flat, as seen from the side" in words_of(sheet_of(plan, "stencil-right"))
    zero, path = np.zeros(3), np.zeros((2, 3))
    ways = {"up_mm": 11.0, "back_mm": 4.0, "rule_up_mm": 12.5, "rule_back_mm": 2.5}
    cheek = CheekMarks(zero, zero, zero, zero, **ways, path_mm=path, rule_path_mm=path, depth_mm=20.0)
    side = replace(plan.sides["right"], cheek=cheek)
    curved = replace(plan, sides={**plan.sides, "right": side})
    marks = stencil_marks(side, plan.treatment_rotation)
    assert (marks.dot, marks.rule) == ((4.0, 11.0), (2.5, 12.5))
    assert "over the curved cheek" in words_of(sheet_of(curved, "stencil-right"))


def test_flat_marks_are_those_of_the_treatment_frame():
    """The same case in scans that lie askew: up and back follow the occlusal plane, not the scan."""
    tilt = np.radians(20.0)
    turn = np.array([[1, 0, 0], [0, np.cos(tilt), np.sin(tilt)], [0, -np.sin(tilt), np.cos(tilt)]])
    straight, askew = trial_plan(), trial_plan(turn)
    for side in ("right", "left"):
        one = stencil_marks(straight.sides[side], straight.treatment_rotation)
        other = stencil_marks(askew.sides[side], askew.treatment_rotation)
        assert one.dot == pytest.approx(other.dot, abs=1e-9)
        assert one.line_deg == pytest.approx(other.line_deg, abs=1e-9)
        assert one.dot == pytest.approx(
            (0.7 + 3.2, 7.4 + 2.0)
        )  # target minus tube of the trial plan, by hand


def not_reached(plan: Plan, side: str) -> Plan:
    return replace(plan, sides={**plan.sides, side: replace(plan.sides[side], solved=False)})


def test_a_bend_that_was_not_reached_is_never_printed():
    plan = trial_plan()
    left = replace(plan.sides["left"], bend_deg=33.3, bench=replace(plan.sides["left"].bench, plier_deg=35.5))
    plan = not_reached(replace(plan, sides={**plan.sides, "left": left}), "left")
    for page in sheets_of_plan(plan, PAPERS["a4"]):
        assert "33.3" not in words_of(page)
        assert "35.5" not in words_of(page)
    for name in ("chairside-card", "bench-template", "bench-list", "stencil-left"):
        assert "do not bend" in words_of(sheet_of(plan, name)).lower()
    assert "Both sides share one bow" in words_of(sheet_of(plan, "bench-list"))
    for side in ("right", "left"):
        stencil = sheet_of(plan, f"stencil-{side}")
        assert not any(i.layer == "LINE_OF_FORCE" and hasattr(i, "points") for i in stencil.items)


def test_the_other_side_of_a_bend_not_reached_is_not_bent_either():
    """Both arms are one bow: with the left side missed, the right side's numbers stand nowhere, and it is said why."""
    plan = not_reached(trial_plan(), "left")
    for page in sheets_of_plan(plan, PAPERS["a4"]):
        assert "14.5" not in words_of(page)
        assert "16.2" not in words_of(page)  # the plier's angle
    right = words_of(sheet_of(plan, "stencil-right"))
    assert "DO NOT BEND" in right
    assert "both arms are one bow, and the left side was not reached" in right
    assert "NOT REACHED" in words_of(sheet_of(plan, "stencil-left"))


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda p: replace(p, worn_after=replace(p.worn_after, converged=False)), "NOT solved to balance"),
        (lambda p: replace(p, sides={**p.sides, "left": replace(p.sides["left"], skin_mm=-0.4)}),
         "in the skin on the left"),
    ],
)  # fmt: skip
def test_a_bow_out_of_balance_or_in_the_skin_is_not_bent(change: Any, why: str):
    plan = change(trial_plan())
    assert all(s.solved for s in plan.sides.values())
    assert not plan.bendable
    for name in ("chairside-card", "bench-list", "stencil-right", "stencil-left"):
        words = words_of(sheet_of(plan, name))
        assert why in words
        assert "14.5" not in words
    assert replace(plan.sides["left"], skin_mm=0.1).skin_mm > 0.0
    kept = replace(trial_plan(), sides={k: replace(s, skin_mm=0.1) for k, s in trial_plan().sides.items()})
    assert kept.bendable


def test_an_unsound_plan_is_neither_hooked_up_nor_handed_out():
    sound, plan = trial_plan(), not_reached(trial_plan(), "left")
    card, wearing = (words_of(sheet_of(plan, n)) for n in ("chairside-card", "wearing-sheet"))
    assert "Stop here: do not fit from this plan" in card
    assert "NOT handed out" in card
    assert "Release module pulled by hand" in card
    for said in ("hooked at the same moment", "force by gauge", "handed over"):
        assert said not in card
        assert said in words_of(sheet_of(sound, "chairside-card"))
    assert "Not to be handed out with this plan" in wearing
    assert "handed out" not in words_of(sheet_of(sound, "wearing-sheet"))
    for paper in PAPERS.values():
        assert sheets_of_plan(plan, paper, hours=14.0)


def test_the_card_says_where_the_bow_leaves_the_mouth_and_what_the_plan_warns_of():
    """Left 4.0 mm over the corner, which the plan's own rule warns of; right 1.2 mm under it, of which it does not."""
    exits: dict[Side, MouthExit] = {
        side: MouthExit(side, above, 2.0, 30.0, np.zeros(3))
        for side, above in (("right", -1.2), ("left", 4.0))
    }
    clearance = Clearance(None, None, exits)
    plan = replace(trial_plan(), clearance=clearance, warnings=tuple(clearance_warnings(clearance)))
    words = words_of(sheet_of(plan, "chairside-card"))
    assert "planned 1.2 mm below it" in words
    assert "LIFTS: 4.0 mm above it" in words
    assert "LOWERS" not in words
    assert "Arms near the skin, touching nowhere" in words
    low = Clearance(None, None, {"right": replace(exits["right"], above_mm=-4.4)})
    plan = replace(plan, clearance=low, warnings=tuple(clearance_warnings(low)))
    words = words_of(sheet_of(plan, "chairside-card"))
    assert "LOWERS: 4.4 mm below it" in words
    assert "planned height not known" in words


def test_which_angle_is_which_stands_where_a_bend_is_given():
    plan = trial_plan()
    bend = BenchBend(64.0, 64.0, 3.0, 3.0, 23.9, PlierBend(23.9, 25.6, 3.0))
    bench = replace(plan.sides["left"].bench, schedule=BendSchedule("left", (bend,), 0.02, ()))
    plan = replace(plan, sides={**plan.sides, "left": replace(plan.sides["left"], bench=bench)})
    for name in ("chairside-card", "bench-template", "bench-list"):
        assert "Two angles, one bend" in words_of(sheet_of(plan, name))
        assert "Two angles" not in words_of(sheet_of(not_reached(plan, "left"), name))


def test_words_of_refusal_lie_over_no_tick_and_no_number():
    plan = not_reached(trial_plan(), "left")
    for side in ("right", "left"):
        items = sheet_of(plan, f"stencil-{side}").items
        words = [i.box() for i in items if i.layer == "LINE_OF_FORCE"]
        drawn = [i.box() for i in items if i.layer in ("GUIDE", "MARK", "TARGET", "RULE", "HOOK", "CUT")]
        outline = max(drawn, key=lambda b: (b[2] - b[0]) * (b[3] - b[1]))
        assert len(words) >= 2
        for w in words:
            for d in drawn:
                if d is not outline:
                    assert w[2] <= d[0] or d[2] <= w[0] or w[3] <= d[1] or d[3] <= w[1]


def test_in_combination_pull_the_card_names_each_strap_with_its_force_and_angle():
    """Angles by hand: atan2 of rise over run of each direction as given."""
    from mechanics.strap.pull import Strap, StrapPull

    neck, cap = np.array([0.0, np.cos(0.5), -np.sin(0.5)]), np.array([0.0, np.cos(0.9), np.sin(0.9)])
    pull = StrapPull((Strap(2.5, direction=neck), Strap(1.75, direction=cap)))
    plan = replace(trial_plan(), pull_kind="combination", straps={"right": pull, "left": pull})
    words = words_of(sheet_of(plan, "chairside-card"))
    for said in (
        "Neck strap",
        "2.50 N (255 gf)",
        "29° down",
        "Head cap",
        "1.75 N (178 gf)",
        "52° up",
        "together",
    ):
        assert said in words


def test_nothing_is_bent_at_the_bench_from_a_rigid_bow():
    plan = replace(trial_plan(), bow_model="rigid")
    for name in ("bench-template", "bench-list", "chairside-card"):
        words = words_of(sheet_of(plan, name))
        assert "do not bend" in words.lower() or "nothing may be bent" in words
        assert "UP 14.5" not in words


def test_an_unknown_paper_is_refused_in_one_line():
    with pytest.raises(PaperError, match=r"^paper must be a4 or letter; got 'foolscap'\.$"):
        paper_named("foolscap")


@pytest.mark.parametrize(
    ("paper", "rule"),
    [
        (
            Paper("A6", 105.0, 148.0),
            r"paper A6 \(105 x 148 mm\) is too small for a sheet with its check bars",
        ),
        (Paper("odd", 210.0, 200.0), r"needs \d+ x \d+ mm at 1:1, but paper odd has room for 186 x \d+ mm"),
    ],
)
def test_paper_too_small_is_one_clear_line(plan: Plan, paper: Paper, rule: str):
    with pytest.raises(PaperError, match=rule) as told:
        sheets_of_plan(plan, paper)
    assert "\n" not in str(told.value)


@pytest.mark.parametrize("hours", [0.0, -3.0, 25.0])
def test_hours_no_day_has_are_refused(plan: Plan, hours: float):
    with pytest.raises(ValueError, match=r"hours a day must be above 0 and at most 24; got"):
        sheets_of_plan(plan, PAPERS["a4"], hours=hours)


def test_given_hours_stand_on_the_wearing_sheet(plan: Plan):
    assert "Wear it for 12.5 hours each day." in words_of(sheet_of(plan, "wearing-sheet", hours=12.5))
    assert "________ hours each day" in words_of(sheet_of(plan, "wearing-sheet"))


def test_everything_lies_inside_the_paper(plan: Plan):
    for paper in PAPERS.values():
        for page in sheets_of_plan(plan, paper):
            left, low, right, top = extent(page.items)
            assert left >= 3.0
            assert low >= 3.0
            assert right <= paper.width - 2.5
            assert top <= paper.height - 3.0


def test_many_long_warnings_still_fit_the_card(plan: Plan):
    many = replace(
        plan, warnings=tuple(f"Warning {k}: " + "the molar leans and turns " * 9 for k in range(12))
    )
    card = words_of(sheet_of(many, "chairside-card"))
    assert "read the report before the visit" in card
    assert "Warning 0" in card


def test_the_room_is_what_head_and_foot_leave():
    from viewer.sheets.frame import room

    space = room(PAPERS["a4"])
    assert isinstance(space, Room)
    assert space.top < PAPERS["a4"].height - 20.0
    assert space.low > 40.0
