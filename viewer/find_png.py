"""The picture of what was found on a scan: points numbered, patches tinted, unsure ones hollow."""

from __future__ import annotations

import io
import textwrap
from pathlib import Path
from typing import Any

import numpy as np

from casework.finding import SURE_ENOUGH, FoundOnFile
from mesh_tools.arrays import Array, unit
from mesh_tools.finding.record import Proposal
from mesh_tools.write import write_bytes_atomically
from viewer.panels import INK, SOFT, WARN, painter, panel
from viewer.scene import Scene, SurfaceItem
from viewer.view import View

_INCHES, _DPI = (15.0, 9.4), 120
_BARE = (0.85, 0.83, 0.78)
_TINTS = ((0.35, 0.63, 0.80), (0.90, 0.60, 0.25))  # blue and orange, told apart by colour-blind readers
_MARK = "#7C3AED"
_FLAT_CURVE_MM = 25.0  # a curve seen flatter than this says nothing


def write_found_picture(found: FoundOnFile, path: Path, *, window: str | None) -> None:
    """Write the PNG; ``window`` as the probe found it, None to draw with matplotlib alone."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=_INCHES, dpi=_DPI, facecolor="white")
    FigureCanvasAgg(figure)
    scene, paint = _scene(found), painter(window)
    left, up = _directions(found)
    for k, (title, forward, top) in enumerate(_looks(found.kind, left, up)):
        box = (0.012 + 0.3285 * k, 0.36, 0.319, 0.56)
        ratio = box[2] * _INCHES[0] / (box[3] * _INCHES[1])
        view = View(title, forward, top, np.zeros(3), 1.0, ratio).framing(found.surface.points_mm)
        axes = figure.add_axes(box)
        panel(axes, scene, view, paint, compass={"patient's left": left, "patient's right": -left})
        _marks(axes, view, found)
    _texts(figure, found)
    picture = io.BytesIO()
    figure.savefig(picture, format="png", metadata={"Software": None})
    write_bytes_atomically(path, picture.getvalue())


def _directions(found: FoundOnFile) -> tuple[Array, Array]:
    """The patient's left and up (3,) as found, or else the scan's own."""
    known = {p.name: p for p in found.proposals if p.normal is not None}
    plane = known.get("midline") or known.get("symmetry_plane")
    left = np.array([1.0, 0.0, 0.0]) if plane is None or plane.normal is None else plane.normal
    occlusal = known.get("occlusal_plane_mm")
    up = np.array([0.0, 0.0, 1.0]) if occlusal is None or occlusal.normal is None else occlusal.normal
    return left, unit(up - (up @ left) * left)


def _looks(kind: str, left: Array, up: Array) -> list[tuple[str, Array, Array]]:
    back = np.cross(up, left)
    if kind == "head":
        return [
            ("From the front", back, up),
            ("From the patient's left", -left, up),
            ("From behind", -back, up),
        ]
    return [("From the right", left, up), ("From below", up, -back), ("From the left", -left, up)]


def _scene(found: FoundOnFile) -> Scene:
    colours = np.tile(_BARE, (len(found.surface.faces), 1))
    for k, p in enumerate(p for p in found.proposals if p.faces is not None):
        colours[p.faces] = _TINTS[k % len(_TINTS)]
    scan = SurfaceItem(name=found.file, group="scans", role="arch", points_mm=found.surface.points_mm,
                       faces=found.surface.faces, face_colours=colours)  # fmt: skip
    return Scene(title="found", surfaces=(scan,))


def _pointed(found: FoundOnFile) -> list[Proposal]:
    """Proposals that are a place, in the order of their numbers."""
    return [p for p in found.proposals if len(p.points_mm) == 1]


def _marks(axes: Any, view: View, found: FoundOnFile) -> None:
    for curve in (p for p in found.proposals if p.name == "arch_form"):
        if np.ptp(view.flat(curve.points_mm), axis=0).min() > _FLAT_CURVE_MM:
            axes.plot(*view.flat(curve.points_mm).T, color=_MARK, lw=1.6, ls=(0, (5, 3)), zorder=19)
    depth = view.depth(found.surface.points_mm)
    last = float(0.4 * depth.min() + 0.6 * depth.max())
    for number, p in enumerate(_pointed(found), start=1):
        x, y = view.flat(p.point_mm)
        if float(view.depth(p.point_mm)) > last:
            continue  # on the far side
        sure = p.confidence >= SURE_ENOUGH
        axes.plot([x], [y], "o", ms=7, mec=_MARK, mfc=_MARK if sure else "white", mew=1.4, zorder=20)
        axes.annotate(str(number), (x, y), xytext=(6, 5), textcoords="offset points", fontsize=9.5, color=INK,
                      fontweight="bold", zorder=21,
                      bbox={"boxstyle": "round,pad=0.12", "fc": "white", "ec": "none", "alpha": 0.75})  # fmt: skip


def _texts(figure: Any, found: FoundOnFile) -> None:
    title = f"{found.file}: proposals to be verified"
    figure.text(0.012, 0.975, title, fontsize=15, fontweight="bold", color=INK, va="top")
    numbers = {p.name: str(k) for k, p in enumerate(_pointed(found), start=1)}
    half = (len(found.proposals) + 1) // 2
    for column, part in enumerate((found.proposals[:half], found.proposals[half:])):
        y = 0.335
        for p in part:
            y = _row(figure, p, numbers.get(p.name, ""), at=(0.012 + 0.495 * column, y))
    note = (
        f"Filled: confidence {SURE_ENOUGH:g} or more; hollow: less, never used by a case by itself. Tinted: patches. "
        "Orthographic views."
    )
    figure.text(0.5, 0.012, note, fontsize=9, color=SOFT, ha="center")


def _row(figure: Any, p: Proposal, number: str, *, at: tuple[float, float]) -> float:
    """One proposal's line; returns where the next begins."""
    x, y = at
    colour = INK if p.confidence >= SURE_ENOUGH else WARN
    figure.text(x, y, number, fontsize=9, color=_MARK, fontweight="bold", va="top")
    figure.text(
        x + 0.018, y, f"{p.name}  {p.confidence:.2f}", fontsize=9, color=colour, fontweight="bold", va="top"
    )
    lines = textwrap.wrap(p.why, 72)
    figure.text(x + 0.165, y, "\n".join(lines), fontsize=8.5, color=SOFT, va="top")
    return y - 0.0165 * len(lines) - 0.009
