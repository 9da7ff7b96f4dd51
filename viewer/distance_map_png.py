"""The picture of a registration: how far every place of the laid scan lies from the other, with a histogram."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np

from casework.registering import RegisteredFiles, told_words
from mesh_tools.arrays import Array
from mesh_tools.surface import Surface
from mesh_tools.write import write_bytes_atomically
from viewer.panels import INK, SOFT, painter, panel
from viewer.scene import Scene, SurfaceItem
from viewer.view import View

FAR = (0.58, 0.59, 0.62)
"""Grey of places farther away than is compared: the other scan has nothing there."""
_INCHES, _DPI = (15.0, 8.6), 130
_VIEWS = (
    ("From the front", (0, 1, 0), (0, 0, 1)),
    ("From the patient's left", (-1, 0, 0), (0, 0, 1)),
    ("From below", (0, 0, 1), (0, -1, 0)),
)
_COMPASS = {
    "patient's left": np.array([1.0, 0.0, 0.0]), "patient's right": np.array([-1.0, 0.0, 0.0]),
    "front": np.array([0.0, -1.0, 0.0]), "back": np.array([0.0, 1.0, 0.0]),
}  # fmt: skip
_COLOURS = (
    "RdBu_r"  # ColorBrewer, told apart by colour-blind readers: Harrower M, Brewer CA 2003 Cartogr J 40:27-37
)


def distance_colours(distances_mm: Array, *, limit_mm: float) -> Array:
    """Red, green, blue (n, 3): blue inside the fixed surface, red outside, grey beyond ``limit_mm``."""
    from matplotlib import colormaps

    colours = colormaps[_COLOURS](0.5 + 0.5 * np.clip(distances_mm / limit_mm, -1.0, 1.0))[:, :3]
    return np.where((np.abs(distances_mm) > limit_mm)[:, None], FAR, colours)


def write_distance_map(laid: RegisteredFiles, path: Path, *, window: str | None) -> None:
    """Write the PNG; ``window`` as the probe found it, None to draw with matplotlib alone."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=_INCHES, dpi=_DPI, facecolor="white")
    FigureCanvasAgg(figure)
    surface, paint = laid.found.motion.moved(laid.moving), painter(window)
    scene = _scene(laid, surface)
    for k, (title, forward, up) in enumerate(_VIEWS):
        box = (0.012 + 0.3285 * k, 0.3, 0.319, 0.57)
        ratio = box[2] * _INCHES[0] / (box[3] * _INCHES[1])
        view = View(title, np.array(forward), np.array(up), np.zeros(3), 1.0, ratio).framing(
            surface.points_mm
        )
        panel(figure.add_axes(box), scene, view, paint, compass=_COMPASS)
    _histogram(figure, laid)
    _texts(figure, laid)
    _save(figure, path)


def _scene(laid: RegisteredFiles, surface: Surface) -> Scene:
    of_face = laid.found.distances_mm[surface.faces].mean(axis=1)
    colours = distance_colours(of_face, limit_mm=laid.found.tolerance.reach_mm)
    item = SurfaceItem(name=laid.files[0].path.name, group="scans", role="arch", points_mm=surface.points_mm,
                       faces=surface.faces, face_colours=colours)  # fmt: skip
    return Scene(title="registration", surfaces=(item,))


def _histogram(figure: Any, laid: RegisteredFiles) -> None:
    reach, same = laid.found.tolerance.reach_mm, laid.found.tolerance.same_mm
    near = laid.found.distances_mm[np.abs(laid.found.distances_mm) <= reach]
    axes = figure.add_axes((0.06, 0.085, 0.9, 0.15))
    edges = np.linspace(-reach, reach, 101)
    counts, _ = np.histogram(near, edges)
    middles = 0.5 * (edges[1:] + edges[:-1])
    share = 100.0 * counts / max(len(laid.found.distances_mm), 1)
    axes.bar(middles, share, width=edges[1] - edges[0], color=distance_colours(middles, limit_mm=reach),
             edgecolor="#9CA3AF", linewidth=0.3)  # fmt: skip
    for x in (-same, same):
        axes.axvline(x, color=INK, lw=0.9, ls=(0, (4, 3)))
    axes.set_xlim(-reach, reach)
    axes.set_xlabel("distance of the laid scan's points from the fixed surface, mm (left: inside it; right: outside; "
                    f"dashes: the same within {same:g} mm)", fontsize=9.5, color=INK)  # fmt: skip
    axes.set_ylabel("% of points", fontsize=9.5, color=INK)
    axes.tick_params(labelsize=8.5)
    axes.spines[["top", "right"]].set_visible(False)


def _texts(figure: Any, laid: RegisteredFiles) -> None:
    moving, fixed = laid.files
    figure.text(0.012, 0.975, f"{moving.path.name} laid on {fixed.path.name}: distance map", fontsize=15,
                fontweight="bold", color=INK, va="top")  # fmt: skip
    text = told_words(laid.found)
    figure.text(0.012, 0.93, text[0].upper() + text[1:] + ".", fontsize=9.5, color=SOFT, va="top", wrap=True)
    reach = laid.found.tolerance.reach_mm
    note = f"Grey: farther than {reach:g} mm from the fixed scan, not compared. Orthographic views, LPS."
    figure.text(0.5, 0.012, note, fontsize=9, color=SOFT, ha="center")


def _save(figure: Any, path: Path) -> None:
    picture = io.BytesIO()
    figure.savefig(picture, format="png", metadata={"Software": None})
    write_bytes_atomically(path, picture.getvalue())
