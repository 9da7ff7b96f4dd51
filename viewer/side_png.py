"""``side.png``: the patient from the right and from the left as the clinician stands, face half transparent."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from casework.cautions import SHORT_CAUTION
from viewer.annotate import annotate
from viewer.palette import look
from viewer.panels import INK, SOFT, WARN, painter, panel
from viewer.scene import Scene
from viewer.view import beside

_INCHES, _DPI = (17.0, 8.6), 150
_COMPASS = {"front": np.array([0.0, -1.0, 0.0]), "back": np.array([0.0, 1.0, 0.0])}
_NOTE = (
    "Up is measured over the skin at right angles to the occlusal plane, back along it. The cheek moves over the "
    "tooth: marks on it are a guide with an error of millimetres."
)


def write_side_png(scene: Scene, path: Path, *, window: str | None) -> None:
    """Write the picture of ``scene_of_sides``; ``window`` as the probe found it, None to draw with matplotlib alone."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=_INCHES, dpi=_DPI, facecolor="white")
    FigureCanvasAgg(figure)
    paint = painter(window)
    for k, side in enumerate(("right", "left")):
        box = (0.012 + k * 0.4925, 0.05, 0.4835, 0.8)
        axes = figure.add_axes(box)
        view = beside(scene, side, width_over_height=box[2] * _INCHES[0] / (box[3] * _INCHES[1]))  # type: ignore[arg-type]
        panel(axes, scene, view, paint, compass=_COMPASS)
        annotate(axes, scene, view, font_pt=10.0, name_all=True)
    figure.text(0.012, 0.975, scene.title, fontsize=17, fontweight="bold", color=INK, va="top")
    captions = "\n".join(scene.captions.values())
    figure.text(0.012, 0.93, captions, fontsize=12, color=look("bow_after").text, va="top", linespacing=1.3)
    figure.text(0.988, 0.978, SHORT_CAUTION.replace(": verify", ":\nverify").replace(". A bow", ".\nA bow"),
                fontsize=9, color=WARN, va="top", ha="right", linespacing=1.35)  # fmt: skip
    figure.text(0.5, 0.016, _NOTE, ha="center", fontsize=9.5, color=SOFT)
    figure.savefig(path, metadata={"Software": None})
