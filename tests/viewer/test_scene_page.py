"""``scene.html`` as a file: self-contained, safe, complete."""

from __future__ import annotations

import base64
import json
import re
from typing import Any

import numpy as np
import pytest

from viewer.palette import look
from viewer.scene import PointItem, Scene
from viewer.scene_html import page_data, scene_html, script_json
from viewer.scene_traces import packed


@pytest.fixture(scope="module")
def page(scene: Scene) -> str:
    return scene_html(scene)


def unpacked(tree: dict[str, str]) -> np.ndarray:
    return np.frombuffer(base64.b64decode(tree["bdata"]), dtype="<" + tree["dtype"])


def own_parts(page: str) -> str:
    """The page without the inlined drawing library."""
    scripts = re.findall(r"<script.*?</script>", page, flags=re.S)
    library = max(scripts, key=lambda s: s.count("plotly"))
    return page.replace(library, "")


def test_nothing_of_ours_names_an_address(page: str) -> None:
    assert not re.findall(r"(?:https?:)?//[a-z0-9.-]+\.[a-z]{2,}", own_parts(page))
    assert not re.findall(r"<(?:script|img|iframe|object|embed)[^>]+src=", page[:4000])


def test_a_policy_in_the_page_forbids_every_connection(page: str) -> None:
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', page)
    assert policy is not None
    assert "default-src 'none'" in policy[1]
    assert "connect-src 'none'" in policy[1]
    assert "http" not in policy[1]
    assert page.index("Content-Security-Policy") < page.index("<script")


def test_every_shape_of_the_scene_is_a_trace_with_its_coordinates(scene: Scene) -> None:
    data = page_data(scene)
    drawn = [i for i in scene.items() if type(i).__name__ != "LabelItem"]
    assert [t["name"] for t in data["traces"]] == [i.name for i in drawn]
    molar = scene.surfaces[0]
    trace = data["traces"][0]
    points = np.stack([unpacked(trace[k]) for k in "xyz"], axis=-1)
    np.testing.assert_allclose(points, molar.points_mm, atol=1e-4)
    np.testing.assert_array_equal(np.stack([unpacked(trace[k]) for k in "ijk"], axis=-1), molar.faces)
    assert trace["color"] == look("molar").colour
    assert 0.0 < trace["opacity"] < 1.0


def test_bench_bow_is_off_at_first_and_the_rest_is_on(page: str) -> None:
    boxes = re.findall(r'data-group="([^"]+)"( checked)?', page)
    assert [name for name, on in boxes if not on] == ["Moments on the molar", "Bow bent, off the patient"]
    assert len(boxes) == len(dict(boxes)) >= 9


def test_views_and_close_ups_have_buttons(page: str) -> None:
    assert re.findall(r'data-view="([^"]+)"', page)[:4] == [
        "From the right", "From the left", "From the front", "From above"]  # fmt: skip
    assert re.findall(r'data-close-up="([^"]+)"', page)[:2] == ["Right molar 16", "Left molar 26"]


@pytest.mark.parametrize("kind", ["f4", "i4"])
def test_packed_arrays_come_back(kind: str) -> None:
    values = np.array([0, -3, 70000])
    np.testing.assert_array_equal(unpacked(packed(values, kind)), values)


def test_data_cannot_leave_its_element() -> None:
    value: Any = {"name": "</script><script>alert(1)</script><!--&"}
    text = script_json(value)
    assert "<" not in text
    assert "&" not in text
    assert json.loads(text) == value


def test_hostile_names_stay_text() -> None:
    bad = '</script><img src="http://x.example/a.png">'
    mark = PointItem(name=bad, group=bad, role="target", at_mm=np.zeros(3))
    far = PointItem(name="far", group="g", role="target", at_mm=np.ones(3))
    page = scene_html(Scene(title=bad, points=(mark, far)))
    assert "<img" not in own_parts(page)
