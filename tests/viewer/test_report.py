"""The report says first what to bend, holds every caution, and lets nothing in or out."""

from __future__ import annotations

import dataclasses
import re
from html.parser import HTMLParser

import pytest

from casework.cautions import CAUTIONS, SHORT_CAUTION
from casework.plan import InputFile, Plan
from mechanics.sides import SIDES
from tests.viewer.trial_plan import trial_plan
from viewer import words
from viewer.report import report_html
from viewer.scene import Scene
from viewer.scene_of_plan import scene_of_plan


class Reader(HTMLParser):
    """Text as a person reads it, tags that stay open, and every address an element names."""

    def __init__(self) -> None:
        super().__init__()
        self.text, self.open, self.addresses = "", [], []
        self.skip = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.addresses += [
            v or "" for k, v in attrs if k in ("src", "href", "action", "data", "poster", "srcset")
        ]
        if tag not in ("meta", "link", "img", "br", "input", "rect", "path", "circle"):
            self.open.append(tag)
        self.skip += tag in ("style", "script", "title")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.addresses += [v or "" for k, v in attrs if k in ("src", "href")]

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag
        self.skip -= tag in ("style", "script", "title")

    def handle_data(self, data: str) -> None:
        self.text += "" if self.skip else data


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.text = " ".join(reader.text.split())
    return reader


@pytest.fixture(scope="module")
def page(plan: Plan, scene: Scene) -> str:
    return report_html(plan, scene, picture_png=b"\x89PNG")


def test_the_bends_come_before_everything_else(page: str) -> None:
    text = read(page).text
    bends = [m.start() for m in re.finditer("UP 14.5°", text)][:2]
    assert len(bends) == 2
    for later in ("Line of force", "Centre of resistance by method", "Cautions", "SHA-256"):
        assert max(bends[0], 0) < text.index(later)
    assert "at 62 mm from the middle" in text


def test_numbers_of_the_plan_are_on_the_page(page: str, plan: Plan) -> None:
    text = read(page).text
    side = plan.sides["right"]
    assert f"{abs(side.offset_before_mm):.1f} mm occlusal of it" in text
    assert f"distal {side.distal_n:.2f} N" in text
    assert "4.00 N (408 gf)" in text  # 4 N / 9.80665e-3 N per gf = 407.9
    assert "+25.0, +0.7, +7.4 (target)" in text
    assert "Under the plier to 16.2°" in text
    for item in plan.inputs:
        assert item.sha256 in text


def test_every_method_shows_its_distance_from_the_rule(page: str) -> None:
    rows = re.findall(r"<tr>.*?</tr>", page, flags=re.S)
    furcation = next(r for r in rows if "furcation" in r)
    assert re.findall(r'number">(\d+\.\d)<', furcation) == ["2.0", "2.0"]  # |(0, 1.4, -1.4)| = 1.98


def test_every_caution_is_there_with_its_source(page: str) -> None:
    text = read(page).text
    for caution in CAUTIONS:
        assert caution.text in text
        assert caution.source in text
    assert SHORT_CAUTION in text


def test_the_page_is_well_formed_and_names_no_address_outside_itself(page: str) -> None:
    reader = read(page)
    assert reader.open == ["html"] or reader.open == []
    assert reader.addresses
    assert all(a.startswith("data:") for a in reader.addresses)
    assert "default-src 'none'" in page
    assert "<script" not in page


def test_hostile_text_is_text() -> None:
    bad = '<img src="http://x.example/a.png" onerror=alert(1)>'
    plan = trial_plan(warnings=(bad,), findings=(bad,), inputs=(InputFile(bad, bad, "0" * 64),))
    page = report_html(plan, scene_of_plan(plan))
    assert "<img" not in page
    assert read(page).text.count(bad) == 4


def test_an_unsolved_side_is_not_given_as_a_bend() -> None:
    plan = trial_plan()
    unsolved = dataclasses.replace(plan.sides["left"], solved=False, advice=("a longer arm would do it",))
    plan = trial_plan(sides={**plan.sides, "left": unsolved})
    text = read(report_html(plan, scene_of_plan(plan))).text
    assert "Not reached Do not bend from this plan." in text
    assert "Do not bend Do not bend from this plan." in text  # the right side, which shares the bow
    assert "UP 14.5°" not in text
    assert "Nearest:" not in text
    assert "as the search left it: not to be made" in text
    assert "neither arm may be bent from this plan" in text
    assert "Under the plier" not in text
    assert "a longer arm would do it" in text


def test_a_method_one_side_lacks_is_said_to_be_missing() -> None:
    plan = trial_plan()
    left = plan.sides["left"]
    centre = dataclasses.replace(left.centre, methods={"rule_of_thumb": left.centre.methods["rule_of_thumb"]})
    plan = trial_plan(
        sides={**plan.sides, "left": dataclasses.replace(left, centre=centre, target_method="rule_of_thumb")}
    )
    assert report_html(plan, scene_of_plan(plan)).count("<td>none</td>") == 4


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        (words.bend_words(12.46), "UP 12.5°"),
        (words.bend_words(-3.0), "DOWN 3.0°"),
        (words.bend_words(0.04), "no bend"),
        (words.signed(-0.04), "0.0"),
        (words.signed(-2.0), "\N{MINUS SIGN}2.0"),
        (words.vertical_words(-1.0), "extrusive 1.00 N (102 gf)"),
        (words.vertical_words(1.0), "intrusive 1.00 N (102 gf)"),
        (words.distal_words(-0.5), "mesial 0.50 N (51 gf)"),
        (words.lateral_words(0.001), "no lateral force"),
        (words.lateral_words(-0.2), "palatal 0.20 N (20 gf)"),
        (words.offset_words(2.25), "2.2 mm apical of it"),
        (words.offset_words(0.01), "through the target"),
        (words.tipping_words(10.0), "tips the roots back"),
        (words.tipping_words(-10.0), "tips the crown back"),
        (words.bend_order("left", bend_deg=0.0, place_mm=50.0), "Leave the left outer arm as it is."),
    ],
)
def test_words_for_numbers(said: str, expected: str) -> None:
    """Signs: intrusive is apical (+z upper), a line apical of the centre tips roots back (Worms 1973, evidence 7)."""
    assert said == expected


def test_side_views_are_drawn_for_both_sides_to_scale(page: str) -> None:
    drawings = re.findall(r"<svg.*?</svg>", page, flags=re.S)
    assert len(drawings) == len(SIDES)
    assert all("20 mm" in d and "target: elastic foundation" in d for d in drawings)


def test_a_rigid_bow_is_no_order_to_bend() -> None:
    plan = trial_plan(bow_model="rigid")
    text = read(report_html(plan, scene_of_plan(plan))).text
    assert "Under the plier" not in text
    assert "nothing may be bent at the bench" in text


def test_how_it_was_made_names_versions_and_every_default_with_its_source(plan: Plan, scene: Scene) -> None:
    import numpy as np
    import scipy

    from casework.case_copy import CaseUsed
    from casework.case_file import read_case
    from demo_meshes import demo_folder

    used = CaseUsed(read_case(demo_folder() / "case.toml"), demo_folder())
    text = read(report_html(plan, scene, used=used)).text
    made = text[text.index("How this was made") :]
    for said in (f"numpy {np.__version__}", f"scipy {scipy.__version__}", f"bowtrue {plan.version}"):
        assert said in made
    assert "bowtrue plan case-used.toml" in made
    assert "bow.outer_diameter_mm1.829given" in made  # the demo case gives it
    assert "bow.cheek_clearance_mm5default: our assumption" in made  # the demo case does not
    assert "ligament.e_mpa0.68default: Tanne K" in made
