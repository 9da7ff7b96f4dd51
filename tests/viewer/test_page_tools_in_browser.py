"""Every tool of the page in a real headless Chromium: measuring, mirroring, typing, target, parts, undo, a new case."""

from __future__ import annotations

import json
import re
import time
import tomllib
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from casework.frame import treatment_rotation
from mechanics.sides import SIDES
from tests.viewer.page_server import (
    CHROMIUM,
    PATIENCE_MS,
    Opened,
    PageServer,
    chosen_at,
    demo_case,
    number,
    shot,
    slide,
    step,
    still,
)

sync_api = pytest.importorskip("playwright.sync_api", reason="needs playwright (the dev extra)")
pytest.importorskip("nicegui", reason="needs the page extra")
pytest_plugins = ["tests.viewer.page_fixtures"]
pytestmark = [
    pytest.mark.skipif(CHROMIUM is None, reason="needs a chromium on the path"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
    pytest.mark.slow,
]


def values(case: Path) -> dict[str, Any]:
    return tomllib.loads(case.read_text("utf-8"))


def until(true: Any, what: str) -> None:
    """Wait until ``true()``."""
    end = time.monotonic() + PATIENCE_MS / 1000.0
    while not true():
        assert time.monotonic() < end, what
        time.sleep(0.05)


def choose(page: Any, mark: str) -> None:
    """Choose a landmark and wait until its card stands there; again where the list was drawn anew under the click."""
    for _ in range(8):
        page.click(f'[data-landmark="{mark}"]')
        try:
            page.wait_for_selector(f'[data-landmark="{mark}"][aria-pressed="true"]', timeout=PATIENCE_MS / 12)
        except sync_api.TimeoutError:
            continue
        return
    raise AssertionError(f"{mark} could not be chosen")


def undo(page: Any) -> None:
    page.get_by_role("button", name="Undo", exact=True).click()


def seen(page: Any) -> Any:
    """The scene's picture (height, width, 3), left of where the list of parts stands."""
    from PIL import Image

    still(page)
    return np.asarray(Image.open(BytesIO(page.locator(".bt-scene").screenshot())).convert("RGB")).astype(int)[
        :, :390
    ]


def differs(one: Any, other: Any) -> float:
    """Share of the pixels that differ clearly."""
    return float((np.abs(one - other).max(axis=2) > 6).mean())


def test_a_distance_is_measured_between_two_clicks(opened: Opened, case: Path) -> None:
    """The scale of the picture is taken from two handles whose places the case file gives."""
    page, marks = opened.ready(), values(case)["landmarks"]
    turn = treatment_rotation(np.array(marks["occlusal_plane_mm"]))
    step(page, "landmarks")
    page.get_by_role("button", name="Look from the patient's right").click()
    at = {}
    for name in ("tube_right_mesial_mm", "incisor_contact_mm"):
        choose(page, name)
        at[name] = np.array(chosen_at(page))
    a, b = (turn @ np.array(marks[n]) for n in at)
    per_mm = np.linalg.norm(np.subtract(*at.values())) / np.linalg.norm((b - a)[1:])
    page.get_by_role("button", name="Measure").click()
    page.wait_for_selector('.bt-scene[data-mode="measure"]', timeout=PATIENCE_MS)
    x, y = at["tube_right_mesial_mm"]
    page.mouse.click(x - 12, y + 6)
    page.mouse.click(x + 16, y - 3)
    sync_api.expect(page.locator(".bt-told")).to_contain_text("Distance", timeout=PATIENCE_MS)
    told = page.locator(".bt-told").inner_text()
    whole, across, back, up = (float(v) for v in re.findall(r"[0-9]+\.[0-9]", told))
    assert back == pytest.approx(28.0 / per_mm, abs=0.12)
    assert up == pytest.approx(9.0 / per_mm, abs=0.12)
    assert whole == pytest.approx((across**2 + back**2 + up**2) ** 0.5, abs=0.15)
    sync_api.expect(page.locator(".bt-tag-mark", has_text=f"{whole:.1f} mm")).to_be_visible(
        timeout=PATIENCE_MS
    )
    shot(page, "tool-measure")
    assert values(case)["landmarks"] == marks  # measuring places nothing
    page.get_by_role("button", name="Measure").click()
    sync_api.expect(page.locator(".bt-told")).not_to_contain_text("Distance", timeout=PATIENCE_MS)


def test_a_landmark_is_mirrored_from_the_other_side(opened: Opened, case: Path) -> None:
    page, was = opened.ready(), values(case)["landmarks"]["tube_left_mesial_mm"]
    step(page, "landmarks")
    choose(page, "tube_left_mesial_mm")
    page.locator(".bt-card").get_by_role("button", name="Remove").click()
    until(lambda: "tube_left_mesial_mm" not in values(case)["landmarks"], "it was not removed")
    sync_api.expect(page.locator('[data-step="landmarks"]')).to_contain_text(
        "1 to place", timeout=PATIENCE_MS
    )
    page.get_by_role("button", name="Mirror from the other side").click()
    until(lambda: "tube_left_mesial_mm" in values(case)["landmarks"], "it was not mirrored")
    now = values(case)["landmarks"]["tube_left_mesial_mm"]
    assert np.linalg.norm(np.subtract(now, was)) < 3.0  # the invented jaw is nearly even
    assert now != was
    sync_api.expect(page.locator(".bt-said")).to_contain_text("mirrored", timeout=PATIENCE_MS)
    shot(page, "tool-mirror")
    undo(page)
    undo(page)
    until(lambda: values(case)["landmarks"].get("tube_left_mesial_mm") == was, "undo did not bring it back")


def test_coordinates_are_typed_and_wrong_ones_refused(opened: Opened, case: Path) -> None:
    page, was = opened.ready(), values(case)["landmarks"]["strap_right_mm"]
    before = number(page, "vertical-right")
    step(page, "landmarks")
    choose(page, "strap_right_mm")
    field = page.get_by_label("z, up")
    sync_api.expect(field).to_have_value(f"{was[2]:.2f}", timeout=PATIENCE_MS)
    field.fill("9999")
    field.press("Enter")
    sync_api.expect(page.locator(".bt-said [role=alert]")).to_contain_text(
        "must be a number from -500", timeout=PATIENCE_MS
    )
    assert values(case)["landmarks"]["strap_right_mm"] == was
    field.fill("-3.5")
    field.press("Enter")
    until(lambda: values(case)["landmarks"]["strap_right_mm"] == [*was[:2], -3.5], "not taken")
    sync_api.expect(page.locator('[data-number="vertical-right"]')).not_to_have_text(
        before, timeout=PATIENCE_MS
    )
    undo(page)
    until(lambda: values(case)["landmarks"]["strap_right_mm"] == was, "undo did not bring it back")
    sync_api.expect(page.locator('[data-number="vertical-right"]')).to_have_text(before, timeout=PATIENCE_MS)


def test_another_method_becomes_the_target(opened: Opened, case: Path) -> None:
    page = opened.ready()
    step(page, "centre")
    before, layer = number(page, "passes-right"), page.get_attribute(".bt-scene", "data-layercentres")
    page.click('[data-method="rule_of_thumb"]')
    until(lambda: values(case)["choices"]["target"] == "rule_of_thumb", "the case does not have it")
    sync_api.expect(page.locator('[data-number="rule-right"]')).to_have_text("0.0 mm", timeout=PATIENCE_MS)
    sync_api.expect(page.locator('[data-number="passes-right"]')).not_to_have_text(
        before, timeout=PATIENCE_MS
    )
    sync_api.expect(page.locator(".bt-scene")).not_to_have_attribute("data-layercentres", layer or "")
    sync_api.expect(page.locator('[data-method="rule_of_thumb"]')).to_have_attribute("aria-pressed", "true")
    shot(page, "3-centre-by-rule")
    undo(page)
    sync_api.expect(page.locator('[data-number="passes-right"]')).to_have_text(before, timeout=PATIENCE_MS)
    assert values(case)["choices"]["target"] == "elastic_foundation"


def test_a_part_is_hidden_and_another_faded(opened: Opened) -> None:
    page = opened.ready()
    page.get_by_role("button", name="Parts").click()
    whole = seen(page)
    face = page.get_by_role("button", name="Show Face")
    face.click()
    sync_api.expect(face).to_have_attribute("aria-pressed", "false", timeout=PATIENCE_MS)
    bare = seen(page)
    assert differs(whole, bare) > 0.1
    face.click()
    sync_api.expect(face).to_have_attribute("aria-pressed", "true", timeout=PATIENCE_MS)
    assert differs(whole, seen(page)) < 0.01
    page.get_by_role("slider", name="How strongly to show Bow, worn").fill("0.2")
    faded = seen(page)
    assert differs(whole, faded) > 0.005
    bow = (whole[..., 2] > whole[..., 0] + 80).sum()
    assert (faded[..., 2] > faded[..., 0] + 80).sum() < 0.5 * bow
    shot(page, "tool-parts")


def test_a_slider_is_kept_by_the_case_and_undone(opened: Opened, case: Path) -> None:
    page, was = opened.ready(), values(case)["bow"]
    step(page, "bow")
    arm = page.get_by_role("slider", name="Length of the outer arm")
    sync_api.expect(arm).to_have_value("105", timeout=PATIENCE_MS)
    before = number(page, "travel-right")
    slide(page, "Length of the outer arm", -1)
    until(lambda: values(case)["bow"] != was, "the case does not have it")
    now = values(case)["bow"]
    assert now["arm_length_right_mm"] == now["arm_length_left_mm"] < 105.0
    sync_api.expect(page.locator('[data-number="travel-right"]')).not_to_have_text(
        before, timeout=PATIENCE_MS
    )
    undo(page)
    until(lambda: values(case)["bow"] == was, "undo did not bring it back")
    sync_api.expect(arm).to_have_value("105", timeout=PATIENCE_MS)
    sync_api.expect(page.locator('[data-number="travel-right"]')).to_have_text(before, timeout=PATIENCE_MS)


def typed(page: Any, case: Path, mark: str, point: list[float]) -> None:
    """Choose a landmark and type its three numbers."""
    choose(page, mark)
    name, _, index = mark.partition("#")

    def there() -> Any:
        found = values(case)["landmarks"].get(name)
        if not index or found is None:
            return found
        return found[int(index)] if int(index) < len(found) else None

    for axis, label in enumerate(("x, left", "y, back", "z, up")):
        for _ in range(5):  # the panel may be drawn anew between typing and Enter
            page.get_by_label(label).fill(f"{point[axis]:.3f}")
            page.get_by_label(label).press("Enter")
            end = time.monotonic() + 2.0
            while time.monotonic() < end and (there() is None or abs(there()[axis] - point[axis]) > 1e-6):
                time.sleep(0.03)
            if there() is not None and abs(there()[axis] - point[axis]) < 1e-6:
                break
        assert there()[axis] == pytest.approx(point[axis]), (mark, label)


def test_a_new_case_goes_through_to_its_plan(browser: Any, tmp_path: Path) -> None:
    """Scans sent, named and turned, landmarks typed, forces given: the plan of the invented mouth."""
    from casework.case_file import read_case
    from casework.planning import plan_case, with_choices

    source = demo_case(tmp_path / "source")
    wanted = values(source)
    home = tmp_path / "home"
    home.mkdir()
    server = PageServer(home)
    try:
        one = Opened(browser, server)
        page = one.page
        shot(page, "0-start")
        page.get_by_label("Name of the case").fill("new one")
        page.get_by_label("Name of the case").press("Tab")
        page.get_by_role("button", name="Start", exact=True).click()
        sync_api.expect(page.locator(".bt-case")).to_have_text("new one", timeout=PATIENCE_MS)
        case = home / "new one" / "case.toml"
        for k, (name, scan) in enumerate(wanted["scans"].items(), start=1):
            page.set_input_files("input[type=file]", str(source.parent / scan["file"]))
            page.get_by_label("What is it?").select_option(name)
            page.get_by_label("Axes").select_option(scan["axes"])
            page.get_by_role("button", name="Take it into the case").click()
            sync_api.expect(page.locator('[data-step="scans"]')).to_contain_text(
                f"{k} read", timeout=PATIENCE_MS
            )
        shot(page, "1-scans-of-a-new-case")
        step(page, "landmarks")
        for mark, point in wanted["landmarks"].items():
            for k, one_point in enumerate(point if mark == "occlusal_plane_mm" else [point]):
                typed(page, case, f"{mark}#{k}" if mark == "occlusal_plane_mm" else mark, one_point)
        sync_api.expect(page.locator('[data-step="landmarks"]')).to_contain_text(
            "all placed", timeout=PATIENCE_MS
        )
        shot(page, "2-landmarks-of-a-new-case")
        step(page, "bow")
        for side in ("right", "left"):
            page.get_by_label(f"Force, {side}").fill("4")
            page.get_by_label(f"Force, {side}").press("Enter")
            until(lambda s=side: "force_n" in values(case).get("pull", {}).get(s, {}), "no force")
        one.ready()
        step(page, "papers")
        page.uncheck('[data-paper="report"]')
        page.uncheck('[data-paper="sheets"]')
        page.get_by_role("button", name="Make the papers").click()
        sync_api.expect(page.locator(".bt-panel")).to_contain_text(
            "The papers are made", timeout=3 * PATIENCE_MS
        )
        shot(page, "6-papers-of-a-new-case")
        assert one.errors == []
        one.close()
    finally:
        server.stop()
    plan = json.loads((case.parent / "papers" / "plan.json").read_text("utf-8"))
    new = read_case(case)
    same = read_case(source).model_copy(update={"bow": new.bow, "choices": new.choices})
    model = with_choices(same, rigid_bow=False, ideal_tubes=False, sampled=False)
    own = plan_case(model, source.parent)
    for side in SIDES:
        assert plan["sides"][side]["bend_deg"] == pytest.approx(own.sides[side].bend_deg, abs=0.05)
        assert plan["sides"][side]["offset_after_mm"] == pytest.approx(0.0, abs=0.05)


def read_off(page: Any, reading: str, value: float) -> None:
    field = page.locator(f'[data-reading="{reading}"] input, input[data-reading="{reading}"]').first
    field.fill(f"{value:.2f}")
    field.press("Tab")


def test_the_check_says_where_the_line_really_runs(opened: Opened, case: Path) -> None:
    """What the plan predicts needs no bend; a hook that hangs lower needs the bend that the check itself gives."""
    from casework.case_file import read_case
    from casework.check.checked import checked
    from casework.check.context import check_context
    from casework.check.file import measured_from
    from casework.planning import plan_case

    model = read_case(case)
    context = check_context(model, plan_case(model, case.parent))
    page = opened.ready()
    step(page, "check")
    compare = page.get_by_role("button", name="Compare with the plan")
    compare.click()
    sync_api.expect(page.locator(".bt-said")).to_contain_text("nothing was measured", timeout=PATIENCE_MS)
    tables: dict[str, dict[str, float]] = {}
    for side in SIDES:
        seen = context.expected[side]
        back, up = (round(float(v), 2) for v in seen.hook_mm)
        angle, force = round(float(np.degrees(seen.angle[0])), 2), round(float(seen.force_n[0]), 2)
        tables[side] = {"hook_up_mm": up, "hook_back_mm": back, "strap_angle_deg": angle, "force_n": force}
        for key, value in tables[side].items():
            read_off(page, f"{side}.{key}", value)
    compare.click()
    for side in SIDES:
        card = page.locator(f'[data-checked="{side}"]')
        sync_api.expect(card.locator(".bt-order")).to_contain_text("Leave it: 0.", timeout=PATIENCE_MS)
        sync_api.expect(card).to_contain_text("through the target")
    shot(page, "7-check-as-planned")
    for side in SIDES:
        tables[side]["hook_up_mm"] = round(tables[side]["hook_up_mm"] - 6.0, 2)
        read_off(page, f"{side}.hook_up_mm", tables[side]["hook_up_mm"])
    wanted = checked(context, measured_from(tables)).sides
    compare.click()
    for side in SIDES:
        one, order = wanted[side], page.locator(f'[data-checked="{side}"] .bt-order')
        assert one.verdict == "bend"
        assert one.correction_deg is not None
        assert one.correction_deg > 1.0
        sync_api.expect(order).to_have_text(
            f"Bend the outer arm {one.correction_deg:.1f}° up.", timeout=PATIENCE_MS
        )
        row = page.locator(f'[data-checked="{side}"] tr', has_text="Line passes")
        sync_api.expect(row).to_contain_text(f"{abs(one.offset_mm):.1f} mm occlusal")
    shot(page, "7-check-low-hook")
    step(page, "bend")
    step(page, "check")
    kept = page.locator(
        '[data-reading="right.hook_up_mm"] input, input[data-reading="right.hook_up_mm"]'
    ).first
    sync_api.expect(kept).to_have_value(f"{tables['right']['hook_up_mm']:g}", timeout=PATIENCE_MS)


def test_finite_elements_are_cancelled_then_solved_and_are_the_target(opened: Opened, case: Path) -> None:
    page = opened.ready()
    step(page, "centre")
    begin = page.get_by_role("button", name="Solve finite elements")
    begin.click()
    cancel = page.locator(".bt-panel").get_by_role("button", name="Cancel")
    sync_api.expect(cancel).to_be_enabled(timeout=PATIENCE_MS)
    step(page, "bend")  # the page answers while the work goes on
    before = number(page, "passes-right")
    slide(page, "Bend, up (+) or down", 1)
    sync_api.expect(page.locator('[data-number="passes-right"]')).not_to_have_text(
        before, timeout=PATIENCE_MS
    )
    step(page, "centre")
    cancel.click()
    sync_api.expect(page.locator(".bt-panel")).to_contain_text(
        "No finite elements: cancelled", timeout=PATIENCE_MS
    )
    assert page.locator('[data-method="finite_elements"]').count() == 0
    begin.click()
    page.wait_for_selector('[data-method="finite_elements"][aria-pressed="true"]', timeout=4 * PATIENCE_MS)
    assert values(case)["choices"]["target"] == "finite_elements"
    shot(page, "3-centre-elements")
    rows = page.locator(".bt-panel table tr", has_text="finite elements")
    assert rows.count() == 2  # one a side
    undo(page)
    until(lambda: values(case)["choices"]["target"] == "elastic_foundation", "undo did not bring it back")
