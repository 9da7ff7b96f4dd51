"""Pictures: what is drawn lies where the view's projection says, by pyvista and by matplotlib alike."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image

from casework.plan import Plan
from viewer import plan_pictures
from viewer.annotate import annotate, scale_bar_mm
from viewer.draw_flat import draw_flat
from viewer.draw_pyvista import picture
from viewer.drawing_probe import NO_DRAWING, DrawingProbe
from viewer.palette import look
from viewer.scene import LabelItem, PointItem, Scene, WireItem
from viewer.scene_png import write_scene_png
from viewer.view import View, close_up, view_from

WIDE, HIGH = 400, 300


def view_of(where: tuple[float, float, float], up: tuple[float, float, float]) -> View:
    return View("test", np.array(where), np.array(up), np.array([3.0, -5.0, 2.0]), 30.0, 40.0)


def pixel(view: View, point: np.ndarray) -> tuple[int, int]:
    """Row and column where ``point`` must appear."""
    right, up = view.flat(point)
    row = 0.5 * HIGH * (1.0 - up / view.half_height_mm)
    return int(row), int(0.5 * WIDE * (1.0 + right / view.half_width_mm))


def flat_picture(scene: Scene, view: View) -> np.ndarray:
    figure = Figure(figsize=(WIDE / 100, HIGH / 100), dpi=100)
    canvas = FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    axes.set(xlim=(-view.half_width_mm, view.half_width_mm), ylim=(-view.half_height_mm, view.half_height_mm))
    draw_flat(axes, scene, view)
    canvas.draw()
    return np.asarray(canvas.buffer_rgba())[..., :3]


VIEWS = [view_of((1, 0, 0), (0, 0, 1)), view_of((-1, 0, 0), (0, 0, 1)), view_of((0, 0, -1), (0, -1, 0))]
MARK = np.array([11.0, -14.0, 13.0])


def one_ball() -> Scene:
    ball = PointItem(name="ball", group="g", role="bow_after", at_mm=MARK, size_mm=4.0)
    hidden = PointItem(
        name="hidden", group="g", role="line_after", at_mm=-MARK, size_mm=4.0, hidden_at_first=True
    )
    return Scene(title="t", points=(ball, hidden))


def blue_middle(pixels: np.ndarray) -> np.ndarray:
    """Mean row and column of what is clearly blue; nothing else may be drawn."""
    rows, columns = np.nonzero(pixels[..., 2].astype(int) - pixels[..., 0] > 60)
    assert len(rows) > 20
    assert (pixels[..., 0].astype(int) - pixels[..., 2] < 40).all()  # the hidden orange ball is not there
    return np.array([rows.mean(), columns.mean()])


@pytest.mark.parametrize("view", VIEWS)
def test_matplotlib_puts_a_ball_where_the_projection_says(view: View) -> None:
    np.testing.assert_allclose(blue_middle(flat_picture(one_ball(), view)), pixel(view, MARK), atol=1.5)


@pytest.mark.parametrize("view", VIEWS)
def test_pyvista_puts_a_ball_where_the_projection_says(view: View, window: str) -> None:
    pixels = picture(one_ball(), view, width_px=WIDE, height_px=HIGH, window=window)
    assert pixels.shape == (HIGH, WIDE, 3)
    np.testing.assert_allclose(blue_middle(pixels), pixel(view, MARK), atol=1.5)


def test_a_point_inside_a_translucent_molar_is_seen(scene: Scene, window: str) -> None:
    """The target lies inside the root: without peeling of the translucent surface it would be lost."""
    view = close_up(scene.focuses[0], width_over_height=WIDE / HIGH)
    target = next(p for p in scene.points if p.role == "target" and p.side == "right")
    with_it = picture(scene, view, width_px=WIDE, height_px=HIGH, window=window).astype(int)
    bare = Scene(title="t", surfaces=scene.surfaces)
    without = picture(bare, view, width_px=WIDE, height_px=HIGH, window=window).astype(int)
    row, column = pixel(view, target.at_mm)
    patch = np.s_[row - 12 : row + 12, column - 12 : column + 12]
    assert np.abs(with_it[patch] - without[patch]).max() > 60
    assert (without[patch].min(axis=2) < 250).all()  # the molar itself is drawn, not left out


def test_dashed_and_solid_wires_differ(window: str) -> None:
    line = np.array([[3.0, -40.0, 2.0], [3.0, 30.0, 2.0]])
    shares = []
    for role in ("bow_before", "bow_after"):
        wire = WireItem(name="w", group="g", role=role, points_mm=line, diameter_mm=2.0)  # type: ignore[arg-type]
        pixels = picture(Scene("t", wires=(wire,)), VIEWS[0], width_px=WIDE, height_px=HIGH, window=window)
        shares.append((pixels[HIGH // 2].min(axis=1) < 200).mean())
    assert shares[1] > 0.95 * 0.85
    assert 0.3 * shares[1] < shares[0] < 0.8 * shares[1]


def drawn_boxes(scene: Scene, view: View) -> list:
    figure = Figure(figsize=(8, 8 / (view.half_width_mm / view.half_height_mm)), dpi=100)
    canvas = FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set(xlim=(-view.half_width_mm, view.half_width_mm), ylim=(-view.half_height_mm, view.half_height_mm))
    annotate(axes, scene, view, font_pt=9.0)
    canvas.draw()
    notes = [t for t in axes.texts if t.get_text() and t.get_bbox_patch() is not None]
    return [(t.get_text(), t.get_bbox_patch().get_window_extent(), figure.bbox) for t in notes]


@pytest.mark.parametrize("which", ["right", "above", "left", "close"])
def test_texts_do_not_cover_each_other_and_stay_in_the_picture(scene: Scene, which: str) -> None:
    focus = scene.focuses[1]
    view = (
        close_up(focus, width_over_height=1.65)
        if which == "close"
        else view_from(scene, which, width_over_height=1.15)
    )
    boxes = drawn_boxes(scene, view)
    assert len(boxes) >= (9 if which == "close" else 4)
    for k, (one, box, page) in enumerate(boxes):
        assert page.x0 - 1 <= box.x0 <= box.x1 <= page.x1 + 1, one
        for other, second, _ in boxes[k + 1 :]:
            assert not box.padded(-1.0).overlaps(second.padded(-1.0)), (one, other)


def test_a_close_up_names_every_estimate_and_dimension(scene: Scene) -> None:
    texts = " | ".join(
        text for text, _, _ in drawn_boxes(scene, close_up(scene.focuses[0], width_over_height=1.65))
    )
    for wanted in ("target: elastic foundation", "furcation", "fraction of root length", "centroid of root surface",
                   "rule of thumb", "10 mm up", "2 mm back", "offset before:", "force on the molar 4.0 N"):  # fmt: skip
        assert wanted in texts, wanted


def test_the_scale_bar_is_a_round_length_that_fits() -> None:
    for half in (5.0, 14.0, 80.0, 200.0):
        view = View("t", VIEWS[0].forward, VIEWS[0].up, np.zeros(3), half, half)
        assert half / 6.0 <= scale_bar_mm(view) <= half / 2.0


def test_scene_png_without_opengl_has_all_five_panels(scene: Scene, tmp_path: Path) -> None:
    write_scene_png(scene, tmp_path / "scene.png", window=None)
    pixels = np.asarray(Image.open(tmp_path / "scene.png").convert("RGB")).astype(int)
    high, wide = pixels.shape[:2]
    assert wide >= 2800
    blue = np.abs(pixels - np.array([0x00, 0x72, 0xB2])).sum(axis=2) < 30  # the bent bow's colour
    assert look("bow_after").colour == "#0072B2"
    upper = np.array_split(blue[: high // 2], 3, axis=1)
    lower = np.array_split(blue[high // 2 : int(0.93 * high)], 2, axis=1)
    assert all(part.sum() > 200 for part in upper)
    pale = (
        np.abs(pixels - np.array([234, 223, 200])).sum(axis=2) < 110
    )  # the molar's hue under light and shade
    assert all(part.sum() > 2000 for part in np.array_split(pale[high // 2 :], 2, axis=1))
    assert len(lower) == 2


def test_a_plan_without_opengl_still_completes_and_says_so_in_one_line(
    plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(plan_pictures, "drawing_probe", lambda: DrawingProbe(None))
    steps: list[str] = []
    assert plan_pictures.write_pictures(plan, tmp_path, progress=steps.append) == [NO_DRAWING]
    made = {"scene.png", "side.png", "bow.png", "scene.html", "report.html", "report.pdf"}
    assert {p.name for p in tmp_path.iterdir()} == made
    assert "drawing scene.png" in steps


def test_labels_of_a_close_up_are_left_out_of_wide_views() -> None:
    label = LabelItem(
        name="l", group="g", role="line_after", text="only near", at_mm=np.array([3.0, -5, 2]), close_up=True
    )
    wide, near = VIEWS[0], dataclasses.replace(VIEWS[0], close_up=True)
    scene = Scene("t", labels=(label,))
    assert [text for text, _, _ in drawn_boxes(scene, wide)] == ["20 mm"]
    assert [text for text, _, _ in drawn_boxes(scene, near)] == ["only near", "20 mm"]
