"""``centre.png``: one tooth with every estimate of its centre, from buccal, from mesial and from the apex."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from casework.cautions import SHORT_CAUTION
from casework.tooth_directions import ToothDirections
from viewer.annotate import annotate
from viewer.panels import INK, SOFT, WARN, painter, panel
from viewer.scene import Scene
from viewer.scene_of_centre import AXES, ESTIMATES, REGION, TOOTH
from viewer.tooth_views import ToothSide, compass_of, estimates_view, tooth_view

_INCHES, _DPI, _FONT_PT = (18.0, 14.2), 150, 9.5
_SEEN_FROM: tuple[ToothSide, ...] = ("buccal", "mesial", "apex")
_COLUMN_MM, _COLUMN_SHARE = 5.4, 0.3
_NEAR_GLYPH_MM, _FLAT_GLYPH_MM, _NEAR_OPACITY = 0.2, 0.75, 0.6
_ROWS = {"tooth": (0.46, 0.452), "estimates": (0.036, 0.412)}


def write_centre_png(scene: Scene, directions: ToothDirections, path: Path, *, window: str | None) -> None:
    """Write the picture; ``window`` as the probe found it, None to draw with matplotlib alone."""
    figure = blank(_INCHES, _DPI)
    paint, compass = painter(window), compass_of(directions)
    if window is None:
        scene = with_glyphs(scene, size_mm=_FLAT_GLYPH_MM)
    near = nearer(scene, glyph_mm=_FLAT_GLYPH_MM if window is None else _NEAR_GLYPH_MM)
    for k, where in enumerate(_SEEN_FROM):
        axes, ratio = _axes(figure, k, "tooth")
        view = tooth_view(scene, directions, where, width_over_height=ratio, column_mm=_COLUMN_MM)
        panel(axes, scene, view, paint, compass=compass)
        annotate(axes, scene, view, font_pt=_FONT_PT, groups=(TOOTH, AXES, REGION))
        axes, ratio = _axes(figure, k, "estimates")
        view = estimates_view(scene, directions, where, width_over_height=ratio, column_share=_COLUMN_SHARE)
        panel(axes, near, view, paint, compass=compass)
        annotate(axes, near, view, font_pt=_FONT_PT, groups=(ESTIMATES, REGION))
    heading(figure, scene.title, "\n".join(scene.captions.values()))
    figure.text(0.5, 0.011, _note(scene), ha="center", fontsize=9.5, color=SOFT)
    figure.savefig(path, metadata={"Software": None})


def _note(scene: Scene) -> str:
    """What a reader must know, of what is in the picture."""
    shown = scene.groups()
    parts = ["Orthographic views, the same directions in both rows."]
    if REGION in shown:
        parts.append("The region holds 95 % of the sampled centres.")
    if AXES in shown:
        parts.append("A force along its axis of resistance tips the tooth neither way.")
    return " ".join(parts)


def with_glyphs(scene: Scene, *, size_mm: float) -> Scene:
    """``scene`` with every glyph ``size_mm`` large."""
    return replace(scene, points=tuple(replace(p, size_mm=size_mm) for p in scene.points))


def nearer(scene: Scene, *, glyph_mm: float) -> Scene:
    """``scene`` for a close-up: glyphs of ``glyph_mm``, surfaces more easily seen through."""
    surfaces = tuple(replace(s, opacity=_NEAR_OPACITY * s.opacity) for s in scene.surfaces)
    return replace(with_glyphs(scene, size_mm=glyph_mm), surfaces=surfaces)


def _axes(figure: Any, k: int, row: str) -> tuple[Any, float]:
    """Axes of panel ``k`` in ``row``, and how wide they are for their height."""
    low, high = _ROWS[row]
    axes = figure.add_axes((0.012 + k * 0.3285, low, 0.319, high))
    return axes, 0.319 * _INCHES[0] / (high * _INCHES[1])


def blank(inches: tuple[float, float], dpi: int) -> Any:
    """A white figure that needs no screen."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=inches, dpi=dpi, facecolor="white")
    FigureCanvasAgg(figure)
    return figure


def heading(figure: Any, title: str, text: str) -> None:
    """Title, a line of text and the short caution along the top."""
    height = figure.get_size_inches()[1]
    top, below = 1.0 - 0.26 / height, 1.0 - 0.72 / height
    figure.text(0.012, top, title, fontsize=17, fontweight="bold", color=INK, va="top")
    figure.text(0.012, below, text, fontsize=11.5, color=SOFT, va="top", linespacing=1.3)
    caution = SHORT_CAUTION.replace(". A bow", ".\nA bow")
    figure.text(0.988, top, caution, fontsize=8.5, color=WARN, va="top", ha="right", linespacing=1.3)
