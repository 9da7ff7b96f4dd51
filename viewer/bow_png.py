"""``bow.png``: the bench shape beside the worn shape, from both sides and from above, all at one scale."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from casework.cautions import SHORT_CAUTION
from viewer.annotate import annotate
from viewer.panels import INK, SOFT, WARN, painter, panel
from viewer.scene import Scene, StressScale
from viewer.scene_of_bow import MM_PER_N
from viewer.stress_colours import STOPS
from viewer.view import View, view_from

_WIDE_IN, _DPI, _FONT_PT = 13.0, 150, 9.0
_EDGE_IN, _GAP_IN, _HEAD_IN, _FOOT_IN = 0.16, 0.14, 1.0, 1.5
_ROWS = ("right", "above", "left")
_COMPASS = {"front": np.array([0.0, -1.0, 0.0]), "back": np.array([0.0, 1.0, 0.0]),
            "patient's right": np.array([-1.0, 0.0, 0.0]), "patient's left": np.array([1.0, 0.0, 0.0])}  # fmt: skip
_ROOM = {"right": (1.12, 1.7), "left": (1.12, 1.7), "above": (1.78, 1.2)}
_NOTE = (
    "All six at one scale, the molars in the same place; each side view shows its own half of the bow. Pale beside the "
    f"worn shape: the bench shape.\nForce arrows: {MM_PER_N:g} mm per N. A curved arrow turns 6° per N mm and is drawn "
    "where it is seen face on."
)


def write_bow_png(bench: Scene, worn: Scene, path: Path, *, title: str, window: str | None) -> None:
    """Write the picture; ``window`` as the probe found it, None to draw with matplotlib alone."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    views = one_scale_views(bench, worn)
    wide_in = 0.5 * (_WIDE_IN - 2.0 * _EDGE_IN - _GAP_IN)
    per_mm = wide_in / (2.0 * views["right"].half_width_mm)
    high_in = {where: 2.0 * view.half_height_mm * per_mm for where, view in views.items()}
    total = _HEAD_IN + sum(high_in.values()) + _GAP_IN * len(_ROWS) + _FOOT_IN
    figure = Figure(figsize=(_WIDE_IN, total), dpi=_DPI, facecolor="white")
    FigureCanvasAgg(figure)
    top, paint = total - _HEAD_IN, painter(window)
    for where in _ROWS:
        for k, scene in enumerate((bench, worn)):
            box = (_EDGE_IN + k * (wide_in + _GAP_IN), top - high_in[where], wide_in, high_in[where])
            axes = figure.add_axes(_share(box, total))
            view = replace(views[where], title=f"{scene.title}, {views[where].title.lower()}")
            panel(axes, scene, view, paint, compass=_COMPASS)
            annotate(axes, scene, view, font_pt=_FONT_PT, name_all=True)
        top -= high_in[where] + _GAP_IN
    _texts(figure, title, total)
    if worn.stress_scale is not None:
        box = (0.5 * _WIDE_IN - 1.6, 0.82, 0.5 * _WIDE_IN + 0.7, 0.2)
        _stress_bar(figure.add_axes(_share(box, total)), worn.stress_scale)
    figure.savefig(path, metadata={"Software": None})


def one_scale_views(bench: Scene, worn: Scene) -> dict[str, View]:
    """The views of ``_ROWS``, each around both shapes, all equally wide on the patient."""
    both = Scene(title="", surfaces=worn.surfaces, wires=(*bench.wires, *worn.wires), lines=worn.lines,
                 points=(*bench.points, *worn.points))  # fmt: skip
    found = {where: _around(both, where) for where in _ROWS}
    wide = max(view.half_width_mm for view in found.values())
    return {where: replace(view, half_width_mm=wide) for where, view in found.items()}


def _around(scene: Scene, where: str) -> View:
    """The view from ``where`` with its middle and its half sizes those of everything it shows, and room for texts."""
    view = view_from(scene, where, width_over_height=1.0)
    shown = [i.points_mm for i in scene.surfaces if view.shows(i)]
    shown += [i.points_mm for i in scene.wires if view.shows(i)]
    shown += [i.points_mm for i in scene.lines if view.shows(i)]
    flat = view.flat(np.concatenate(shown))
    low, high = flat.min(axis=0), flat.max(axis=0)
    middle, half = 0.5 * (low + high), 0.5 * (high - low) * _ROOM[where] + 3.0
    centre = view.centre_mm + middle[0] * view.right + middle[1] * view.up
    return replace(view, centre_mm=centre, half_width_mm=float(half[0]), half_height_mm=float(half[1]))


def _share(box_in: tuple[float, float, float, float], total_in: float) -> tuple[float, float, float, float]:
    """A box in inches as shares of the figure."""
    left, low, wide, high = box_in
    return (left / _WIDE_IN, low / total_in, wide / _WIDE_IN, high / total_in)


def _texts(figure: Any, title: str, total_in: float) -> None:
    left, top = _EDGE_IN / _WIDE_IN, 1.0 - 0.2 / total_in
    figure.text(left, top, title, fontsize=17, fontweight="bold", color=INK, va="top")
    words = "The same bent bow: left with no strap, right with its straps."
    figure.text(left, 1.0 - 0.58 / total_in, words, fontsize=12, color=SOFT, va="top")
    caution = SHORT_CAUTION.replace(": verify", ":\nverify").replace(". A bow", ".\nA bow")
    figure.text(1.0 - left, top, caution, fontsize=7.5, color=WARN, va="top", ha="right", linespacing=1.35)
    figure.text(left, 0.12 / total_in, _NOTE, fontsize=9, color=SOFT, va="bottom", linespacing=1.4)


def _stress_bar(axes: Any, scale: StressScale) -> None:
    """The scale of stress with the largest and the proof stress marked."""
    from matplotlib.colors import LinearSegmentedColormap

    colours = LinearSegmentedColormap.from_list("stress", STOPS)
    axes.imshow(
        np.linspace(0.0, 1.0, 256)[None], cmap=colours, aspect="auto", extent=(0.0, scale.top_mpa, 0.0, 1.0)
    )
    axes.set(yticks=[], xticks=np.arange(0.0, scale.top_mpa + 1.0, 200.0), xlim=(0.0, scale.top_mpa))
    axes.tick_params(labelsize=9, colors=SOFT, length=3)
    axes.text(-0.025, 0.5, "Stress along the worn wire, MPa\n(bending and twist, von Mises)", transform=axes.transAxes,
              ha="right", va="center", fontsize=10, color=INK, linespacing=1.35)  # fmt: skip
    arrow = {"arrowstyle": "-|>", "color": INK, "lw": 1.0, "shrinkA": 0, "shrinkB": 0}
    for value, text in ((scale.largest_mpa, f"largest {scale.largest_mpa:.0f}"),
                        (scale.proof_mpa, f"proof stress {scale.proof_mpa:.0f}")):  # fmt: skip
        axes.annotate(text, xy=(value, 1.0), xytext=(0, 9), textcoords="offset points", ha="center", va="bottom",
                      fontsize=9, color=INK, annotation_clip=False, arrowprops=arrow)  # fmt: skip
