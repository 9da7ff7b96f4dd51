"""Draws one view of a scene with matplotlib alone: for machines without OpenGL."""

from __future__ import annotations

from typing import Any

import numpy as np

from viewer.palette import Glyph, look
from viewer.scene import ArrowItem, LineItem, PointItem, Scene, SurfaceItem, WireItem
from viewer.view import View, opacity_in

MARKERS: dict[Glyph, str] = {
    "sphere": "o", "cube": "s", "diamond": "D", "cross": "P", "ring": "o", "up": "^", "down": "v",
}  # fmt: skip
_MOST_FACES = 30_000


def draw_flat(axes: Any, scene: Scene, view: View) -> None:
    """Draw ``scene`` from ``view`` on matplotlib ``axes`` whose data are the view's mm."""
    for order, item in enumerate(i for i in scene.items() if view.shows(i)):
        match item:
            case SurfaceItem():
                _surface(axes, item, view, order)
            case WireItem() | LineItem():
                _line(axes, item, view, order + 100)
            case ArrowItem():
                _arrow(axes, item, view)
            case PointItem():
                _point(axes, item, view)
            case _:
                pass


def _surface(axes: Any, item: SurfaceItem, view: View, order: int) -> None:
    from matplotlib.collections import PolyCollection
    from matplotlib.colors import to_rgb

    step = max(1, len(item.faces) // _MOST_FACES)
    faces = item.faces[::step]
    corners = item.points_mm[faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    toward = -(normals @ view.forward)
    seen = np.flatnonzero(toward > 0.0)
    seen = seen[np.argsort(-view.depth(corners[seen].mean(axis=1)))]
    shade = 0.62 + 0.38 * np.clip(0.75 * toward[seen] + 0.35 * (normals[seen] @ view.up), 0.0, 1.0)
    plain = np.asarray(to_rgb(look(item.role).colour))
    own = plain if item.face_colours is None else item.face_colours[::step][seen]
    colours = np.clip(own * shade[:, None], 0.0, 1.0)
    pale = 1.0 - min(1.0, 1.4 * item.opacity) * (1.0 - colours)
    axes.add_collection(PolyCollection(list(view.flat(corners[seen])), facecolors=pale, edgecolors=pale, linewidths=0.3,
                                       zorder=1 + 0.01 * order, rasterized=True))  # fmt: skip


def _line(axes: Any, item: WireItem | LineItem, view: View, order: int) -> None:
    xy, style = view.flat(item.points_mm), look(item.role)
    axes.plot(*xy.T, color=style.colour, lw=style.width_px, ls=(0, (4, 2.5)) if style.dashed else "-",
              alpha=opacity_in(item, view), zorder=2 + 0.001 * order, solid_capstyle="round")  # fmt: skip


def _arrow(axes: Any, item: ArrowItem, view: View) -> None:
    start, end = view.flat(np.array([item.at_mm, item.at_mm + item.vector_mm]))
    axes.annotate("", xy=end, xytext=start, zorder=4,
                  arrowprops={"arrowstyle": "-|>", "lw": 2.0, "color": look(item.role).colour, "mutation_scale": 14,
                              "shrinkA": 0, "shrinkB": 0})  # fmt: skip


def _point(axes: Any, item: PointItem, view: View) -> None:
    x, y = view.flat(item.at_mm)
    ring = item.glyph == "ring"
    colour = look(item.role).colour
    size = marker_points(item, view)
    axes.plot([x], [y], marker=MARKERS[item.glyph], ms=size, mew=2.0 if ring else 0.6, ls="none", zorder=5,
              mfc="none" if ring else colour, mec=colour if ring else "white")  # fmt: skip


def marker_points(item: PointItem, view: View) -> float:
    """Marker size in printer's points."""
    return float(np.clip(7.0 * item.size_mm * (16.0 / view.half_height_mm) ** 0.4, 5.0, 18.0))
