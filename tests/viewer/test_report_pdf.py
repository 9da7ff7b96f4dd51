"""``report.pdf`` read back by pdfplumber, which did not write it: content, cautions, fonts, nothing off the page."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from casework.case_copy import CaseUsed
from casework.case_file import read_case
from casework.cautions import CAUTIONS, SHORT_CAUTION
from casework.plan import InputFile, Plan, SideBands
from demo_meshes import demo_folder
from tests.viewer.trial_plan import trial_plan
from viewer.report_pdf import report_pdf
from viewer.scene_of_plan import scene_of_plan

PT_PER_MM = 72.0 / 25.4  # ISO 32000-1, 8.3.2.3
pytest.importorskip("reportlab", reason="the extra figures is not installed")
pdfplumber = pytest.importorskip("pdfplumber", reason="no independent reader of PDF is installed")


def png(width: int, height: int) -> bytes:
    from PIL import Image

    out = io.BytesIO()
    Image.new("RGBA", (width, height), (0, 90, 140, 128)).save(out, "PNG")
    return out.getvalue()


def opened(plan: Plan, **given: Any) -> Any:
    return pdfplumber.open(io.BytesIO(report_pdf(plan, scene_of_plan(plan), **given)))


def text_of(pages: Any) -> str:
    """Words of all pages, the foot left out, spaces made one."""
    kept = [p.crop((0, 0, p.width, p.height - 17.0 * PT_PER_MM)).extract_text(x_tolerance=1.5) for p in pages]
    return " ".join(" ".join(kept).split())


@pytest.fixture(scope="module")
def used() -> CaseUsed:
    return CaseUsed(read_case(demo_folder() / "case.toml"), demo_folder())


@pytest.fixture(scope="module")
def pdf(plan: Plan, used: CaseUsed) -> Any:
    pictures = {"picture_png": png(2890, 2142), "bow_png": png(1950, 1385), "side_png": png(600, 1800)}
    with opened(plan, used=used, **pictures) as found:
        yield found


def off_the_page(found: Any) -> list[str]:
    """Letters, lines and pictures that reach into the outer 8 mm of any page."""
    edge = 8.0 * PT_PER_MM - 3.0
    return [
        f"page {p.page_number}: {o.get('text', o['object_type'])}"
        for p in found.pages
        for kind in ("chars", "lines", "rects", "images")
        for o in getattr(p, kind)
        if o["x0"] < edge
        or o["x1"] > p.width - edge
        or o["top"] < edge
        or o["bottom"] > p.height - 0.5 * edge
    ]


def test_pages_are_a4_and_nothing_runs_off_them(pdf: Any) -> None:
    for page in pdf.pages:
        size = float(page.width) / PT_PER_MM, float(page.height) / PT_PER_MM
        assert size == pytest.approx((210.0, 297.0), abs=0.01)
    assert off_the_page(pdf) == []


def test_the_first_page_says_what_to_bend(pdf: Any, plan: Plan) -> None:
    first = pdf.pages[0].extract_text()
    assert first.index("Bend plan, case trial-1") < first.index("UP 14.5°")
    assert first.count("UP 14.5°") == 2
    assert "at 62 mm from the middle" in first
    assert "to 16.2°; springs back" in first
    assert plan.warnings[0] in first


def test_every_caution_with_its_source_and_the_short_one_on_every_page(pdf: Any) -> None:
    text = text_of(pdf.pages)
    for caution in CAUTIONS:
        assert caution.text in text
        assert caution.source in text
    for page in pdf.pages:
        foot = page.crop((0, page.height - 17.0 * PT_PER_MM, page.width, page.height)).extract_text()
        assert SHORT_CAUTION in " ".join(foot.replace(f"{page.page_number} / {len(pdf.pages)}", "").split())
        assert f"{page.page_number} / {len(pdf.pages)}" in foot


def test_it_says_what_the_page_says(pdf: Any, plan: Plan) -> None:
    from viewer.report_details import wrench_rows

    text = text_of(pdf.pages)
    sides = [(side, plan.sides[side]) for side in plan.sides]
    for row in wrench_rows(plan, sides):
        assert row["name"] in text
    for said in ("+25.0, +0.7, +7.4 (target)", "How this was made", "numpy", "scipy", "bowtrue plan case-used.toml",
                 "bow.outer_diameter_mm 1.829 given", "Tanne K, Sakuda M, Burstone CJ 1987", plan.findings[0],
                 plan.inputs[0].sha256):  # fmt: skip
        assert said in text


def test_three_pictures_are_in_it_undistorted(pdf: Any) -> None:
    shapes = [i["width"] / i["height"] for p in pdf.pages for i in p.images]
    assert shapes == pytest.approx([600 / 1800, 1950 / 1385, 2890 / 2142], rel=0.01)


def test_only_the_sheets_fonts_are_in_it_and_embedded(plan: Plan) -> None:
    data = report_pdf(plan, scene_of_plan(plan))
    assert b"Helvetica" not in data
    assert data.count(b"/FontFile2") == 2
    assert data == report_pdf(plan, scene_of_plan(plan))


def test_no_bend_is_ordered_from_an_unsound_plan() -> None:
    plan = trial_plan()
    left = replace(plan.sides["left"], solved=False, advice=("a longer arm would do it",))
    with opened(trial_plan(sides={**plan.sides, "left": left})) as found:
        text = text_of(found.pages)
    assert "Not reached" in text
    assert "neither arm may be bent from this plan" in text
    assert "a longer arm would do it" in text
    assert "Under the plier" not in text
    assert "UP 14.5°" not in text
    assert "as the search left it: not to be made" in text


def test_hostile_and_endless_text_stays_text_on_the_page() -> None:
    bad = '<b>&amp;<img src="http://x.example/a.png"/>' + "W" * 400
    endless = "a warning that does not end " * 400
    plan = trial_plan(
        warnings=(bad, endless), findings=(bad,), inputs=(InputFile("x", "y" * 4000, "0" * 64),)
    )
    with opened(plan) as found:
        assert off_the_page(found) == []
        text = text_of(found.pages)
    assert "<b>&amp;<img" in text
    assert text.count("that does not end") >= 390


def test_a_plans_folder_holds_report_and_sheets_as_pdf(plan: Plan, tmp_path: Path, monkeypatch: Any) -> None:
    from viewer import plan_folder, plan_pictures

    monkeypatch.setattr(plan_pictures, "lacking", lambda *names: ["pyvista"] if "pyvista" in names else [])
    notes = plan_folder.write_plan_folder(
        plan_of(plan), tmp_path / "out", pictures=True, progress=lambda _: None
    )
    assert any("No pictures" in n for n in notes)
    for name, least in (("report.pdf", 2), ("sheets.pdf", 6)):
        with pdfplumber.open(tmp_path / "out" / name) as found:
            assert len(found.pages) >= least


def test_a_plan_that_is_not_to_be_bent_gives_no_bend_no_band_and_no_prediction():
    trial = trial_plan()
    with opened(trial) as found:
        assert "UP 14.5" in text_of(found.pages)
    left = replace(trial.sides["left"], solved=False, bands=SideBands(11.1, 17.7, -31.3, 33.1, 0.4, 256))
    with opened(replace(trial, sides={**trial.sides, "left": left})) as found:
        words = text_of(found.pages)
    for number in ("14.5°", "11.1", "17.7", "31.3", "33.1", "Nearest (", "256 samples"):
        assert number not in words
    assert "as the search left it: not to be made" in words


def plan_of(plan: Plan) -> Plan:
    """The trial plan with what plan.json asks of it and the viewer does not."""
    return replace(plan, insertion_force_n={})
