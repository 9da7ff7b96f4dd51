"""The pages in a real browser: no request leaves, buttons and boxes work, texts can be read, prints fit."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from casework.plan import Plan
from viewer.palette import contrast
from viewer.report import report_html
from viewer.scene import Scene
from viewer.scene_html import scene_html

sync_api = pytest.importorskip("playwright.sync_api", reason="needs playwright (the dev extra)")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="needs a chromium on the path"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]
FLAGS = [
    "--no-sandbox", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-sync",
    "--disable-component-update", "--enable-unsafe-swiftshader",
]  # fmt: skip


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with sync_api.sync_playwright() as p:
        chrome = p.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield chrome
        chrome.close()


class Opened:
    """A page with everything it asked for and every error it threw."""

    def __init__(self, browser: Any, path: Path, **options: Any) -> None:
        self.page = browser.new_page(**options)
        self.requests: list[str] = []
        self.errors: list[str] = []
        self.page.on("request", lambda r: self.requests.append(r.url))
        self.page.on("pageerror", lambda e: self.errors.append(str(e)))
        self.page.on("console", lambda m: self.errors.append(m.text) if m.type == "error" else None)
        self.page.goto(path.as_uri())


@pytest.fixture(scope="module")
def opened(browser: Any, scene: Scene, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Opened]:
    path = tmp_path_factory.mktemp("page") / "scene.html"
    path.write_text(scene_html(scene), "utf-8")
    one = Opened(browser, path, viewport={"width": 1300, "height": 850})
    one.page.wait_for_selector("body[data-ready=yes]", timeout=60_000)
    yield one
    one.page.close()


def visible_traces(page: Any) -> list[str]:
    script = "() => document.getElementById('drawing').data.filter(t => t.visible).map(t => t.name)"
    return list(page.evaluate(script))


def test_the_scene_page_asks_for_nothing_but_itself(opened: Opened) -> None:
    for button in opened.page.query_selector_all("button"):
        button.click()
    opened.page.wait_for_timeout(500)
    outside = [u for u in opened.requests if not u.startswith(("file:", "data:", "blob:"))]
    assert outside == []
    assert len([u for u in opened.requests if u.startswith("file:")]) == 1
    assert opened.errors == []


def test_the_policy_stops_a_request_that_is_tried(opened: Opened) -> None:
    """The guard itself: a request made on purpose is refused by the page's own policy."""
    said = opened.page.evaluate(
        "() => fetch('http://127.0.0.1:9/').then(() => 'went out', e => 'refused: ' + e)"
    )
    assert said.startswith("refused")
    assert any("Content Security Policy" in e for e in opened.errors)
    opened.errors.clear()


def test_boxes_hide_and_show_groups(opened: Opened) -> None:
    opened.page.click('[data-view="Free"]')
    everything = visible_traces(opened.page)
    assert "right molar 16" in everything
    opened.page.uncheck('[data-group="Molars"]')
    assert {n for n in everything if "molar 16" in n or "tube" in n} & set(
        visible_traces(opened.page)
    ) == set()
    opened.page.check('[data-group="Molars"]')
    opened.page.check('[data-group="Bow bent, off the patient"]')
    assert len(visible_traces(opened.page)) == len(everything) + 4
    opened.page.uncheck('[data-group="Bow bent, off the patient"]')


PROJECTED = """([x, y, z]) => {
  const g = document.getElementById('drawing'), s = g._fullLayout.scene._scene, c = s.glplot.cameraParams;
  const times = (m, v) => [0, 1, 2, 3].map(r => m[r] * v[0] + m[4 + r] * v[1] + m[8 + r] * v[2] + m[12 + r] * v[3]);
  const scaled = [x * s.dataScale[0], y * s.dataScale[1], z * s.dataScale[2], 1];
  const v = times(c.projection, times(c.view, times(c.model, scaled)));
  const box = g.getBoundingClientRect();
  return [0.5 * box.width * v[0] / v[3], 0.5 * box.height * v[1] / v[3], box.height];
}"""


@pytest.mark.parametrize("where", ["From the right", "From the left", "From above"])
def test_the_picture_is_orthographic_to_the_stated_scale(opened: Opened, scene: Scene, where: str) -> None:
    """A millimetre is as many pixels as the page takes it to be, along every axis of the picture."""
    from viewer.scene_html import page_data

    opened.page.click(f'[data-view="{where}"]')
    opened.page.wait_for_timeout(800)
    view = page_data(scene)["views"][where]
    aim, eye, up = (np.array(view[k], dtype=float) for k in ("centre", "eye", "up"))
    right = np.cross(-eye, up)
    for point in (aim + 11.0 * up, aim + 9.0 * right, aim - 8.0 * eye, aim + 5.0 * right - 7.0 * up):
        across, high, height = opened.page.evaluate(PROJECTED, point.tolist())
        half = view["half"] * max(1.0, 1.25 * height / 1000.0)  # the drawing is 1000 px wide here
        px_per_mm = 0.5 * height / half
        np.testing.assert_allclose(
            [across, high], px_per_mm * np.array([(point - aim) @ right, (point - aim) @ up]), atol=0.6
        )


@pytest.mark.parametrize("button", ['[data-close-up="Right molar 16"]', '[data-close-up="Left molar 26"]',
                                    '[data-view="From the right"]', '[data-view="From above"]'])  # fmt: skip
def test_texts_are_there_and_do_not_cover_each_other(opened: Opened, button: str) -> None:
    opened.page.click(button)
    opened.page.wait_for_timeout(800)
    script = """() => [...document.querySelectorAll('.annotation-text-g')].map(a => {
      const r = a.querySelector('.bg').getBoundingClientRect();
      return [a.textContent, r.left, r.top, r.right, r.bottom]; })"""
    boxes = opened.page.evaluate(script)
    assert len(boxes) >= (8 if "close-up" in button else 4)
    assert any("target: elastic foundation" in b[0] for b in boxes)
    for k, a in enumerate(boxes):
        assert 300 <= a[1] <= a[3] <= 1300, a
        for b in boxes[k + 1 :]:
            apart = a[3] <= b[1] + 1 or b[3] <= a[1] + 1 or a[4] <= b[2] + 1 or b[4] <= a[2] + 1
            assert apart, (a, b)


@pytest.fixture(scope="module")
def report_path(plan: Plan, scene: Scene, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("report") / "report.html"
    path.write_text(report_html(plan, scene), "utf-8")
    return path


@pytest.mark.parametrize(("paper", "wide_mm", "high_mm"), [("A4", 210, 297), ("Letter", 215.9, 279.4)])
def test_bends_drawings_and_centres_fit_the_first_printed_page(
    browser: Any, report_path: Path, paper: str, wide_mm: float, high_mm: float
) -> None:
    px = 96 / 25.4
    width, height = int((wide_mm - 24) * px), int((high_mm - 28) * px)  # @page margins: 11 + 17, 12 + 12 mm
    one = Opened(browser, report_path, viewport={"width": width, "height": height})
    one.page.emulate_media(media="print")
    script = "() => document.querySelector('table:not(.effect)').getBoundingClientRect().bottom"
    assert one.page.evaluate(script) < height
    pdf = one.page.pdf(format=paper, prefer_css_page_size=False)
    assert pdf.startswith(b"%PDF")
    assert 1 <= pdf.count(b"/Type /Page\n") <= 3
    one.page.close()


TEXTS = """() => { const out = []; const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const rgb = c => c.match(/[0-9.]+/g).map(Number);
  while (walk.nextNode()) { const t = walk.currentNode; if (!t.data.trim()) continue;
    let e = t.parentElement; if (e.closest('script,style,svg')) continue;
    const ink = rgb(getComputedStyle(e).color); let ground = null;
    for (; e && !ground; e = e.parentElement) {
      const g = rgb(getComputedStyle(e).backgroundColor);
      if (g.length < 4 || g[3] > 0) ground = g; }
    out.push([t.data.trim().slice(0, 40), ink, ground || [255, 255, 255]]); }
  return out; }"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_text_of_the_report_can_be_read_light_and_dark(
    browser: Any, report_path: Path, scheme: str
) -> None:
    one = Opened(browser, report_path, viewport={"width": 1000, "height": 800})
    one.page.emulate_media(color_scheme=scheme)
    texts = one.page.evaluate(TEXTS)
    assert len(texts) > 60
    as_hex = "#{:02x}{:02x}{:02x}".format
    for text, ink, ground in texts:
        assert contrast(as_hex(*map(int, ink[:3])), as_hex(*map(int, ground[:3]))) >= 4.5, text
    dark = sum(texts[0][2][:3]) < 200
    assert dark == (scheme == "dark")
    assert [u for u in one.requests if not u.startswith(("file:", "data:"))] == []
    assert one.errors == []
    one.page.close()


def test_the_report_fits_a_narrow_screen(browser: Any, report_path: Path) -> None:
    one = Opened(browser, report_path, viewport={"width": 390, "height": 800})
    assert one.page.evaluate("() => document.documentElement.scrollWidth") <= 390
    one.page.close()
