"""``scene.png``: right, left and from above in one picture, and a close-up of each molar below."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from casework.cautions import SHORT_CAUTION
from viewer.annotate import annotate
from viewer.palette import Role, look
from viewer.panels import INK, WARN, painter, panel
from viewer.scene import Scene
from viewer.view import View, close_up, view_from

_INCHES, _DPI = (17.0, 12.6), 170
_COMPASS = {
    "front": np.array([0.0, -1.0, 0.0]), "back": np.array([0.0, 1.0, 0.0]),
    "patient's right": np.array([-1.0, 0.0, 0.0]), "patient's left": np.array([1.0, 0.0, 0.0]),
}  # fmt: skip


def write_scene_png(scene: Scene, path: Path, *, window: str | None) -> None:
    """Write the picture; ``window`` as the probe found it, None to draw with matplotlib alone."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=_INCHES, dpi=_DPI, facecolor="white")
    FigureCanvasAgg(figure)
    paint = painter(window)
    for view_of, box in _panels(scene):
        axes = figure.add_axes(box)
        view = view_of(box[2] * _INCHES[0] / (box[3] * _INCHES[1]))
        panel(axes, scene, view, paint, compass=_COMPASS)
        annotate(axes, scene, view, font_pt=9.0)
    _header(figure, scene)
    _key(figure, scene)
    figure.savefig(path, metadata={"Software": None})


def _panels(scene: Scene) -> list[tuple[Callable[[float], View], tuple[float, float, float, float]]]:
    top, bottom = (0.505, 0.375), (0.075, 0.395)
    found: list[tuple[Callable[[float], View], tuple[float, float, float, float]]] = []
    for k, where in enumerate(("right", "above", "left")):
        box = (0.012 + k * 0.3285, top[0], 0.319, top[1])
        found.append((lambda w, where=where: view_from(scene, where, width_over_height=w), box))  # type: ignore[misc]
    for k, focus in enumerate(scene.focuses[:2]):
        box = (0.012 + k * 0.4925, bottom[0], 0.4835, bottom[1])
        found.append((lambda w, focus=focus: close_up(focus, width_over_height=w), box))  # type: ignore[misc]
    return found


def _header(figure: Any, scene: Scene) -> None:
    figure.text(0.012, 0.975, scene.title, fontsize=17, fontweight="bold", color=INK, va="top")
    text = "\n".join(scene.captions.values())
    figure.text(0.012, 0.943, text, fontsize=13, color=look("bow_after").text, va="top", linespacing=1.35)
    figure.text(0.988, 0.975, SHORT_CAUTION.replace(": verify", ":\nverify").replace(". A bow", ".\nA bow"),
                fontsize=9, color=WARN, va="top", ha="right", linespacing=1.35)  # fmt: skip


_KEY: tuple[tuple[Role, str], ...] = (
    ("bow_before", "bow before, worn"), ("bow_after", "bow bent, worn"), ("line_before", "line of force before"),
    ("line_after", "line of force after"), ("strap", "strap"), ("force", "force on the molar"),
    ("region", "95 % region of the centre"),
    ("dimension", "rule of thumb"),
)  # fmt: skip


def _key(figure: Any, scene: Scene) -> None:
    from matplotlib.lines import Line2D

    drawn = {item.role for item in scene.items()}
    handles = [
        Line2D(
            [],
            [],
            color=look(r).colour,
            lw=8.0 if r == "region" else min(look(r).width_px, 5.0),
            alpha=0.5 if r in ("strap", "region") else 1.0,
            ls=(0, (4, 2)) if look(r).dashed else "-",
            label=t,
        )
        for r, t in _KEY
        if r in drawn
    ]
    figure.legend(handles=handles, loc="lower center", ncols=len(handles), frameon=False, fontsize=10,
                  bbox_to_anchor=(0.5, 0.022), handlelength=2.6, columnspacing=1.6)  # fmt: skip
    note = "Orthographic views; the occlusal plane is level. Each side view shows its own half of the bow."
    figure.text(0.5, 0.012, note,
                ha="center", fontsize=9, color="#475569")  # fmt: skip
