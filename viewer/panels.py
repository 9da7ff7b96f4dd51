"""One drawn view on matplotlib axes: the picture by pyvista or by matplotlib alone, a frame, a title, a compass."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from mesh_tools.arrays import Array
from viewer.draw_flat import draw_flat
from viewer.scene import Scene
from viewer.view import View

Painter = Callable[[Any, Scene, View], None]
INK, SOFT, FRAME, WARN = "#111827", "#475569", "#CBD5E1", "#7C2D12"


def painter(window: str | None) -> Painter:
    """Draws a view; ``window`` as the probe found it, None to draw with matplotlib alone."""
    if window is None:
        return draw_flat

    def paint(axes: Any, scene: Scene, view: View) -> None:
        from viewer.draw_pyvista import picture

        extent = axes.get_window_extent()
        pixels = picture(
            scene, view, width_px=round(extent.width), height_px=round(extent.height), window=window
        )
        w, h = view.half_width_mm, view.half_height_mm
        axes.imshow(pixels, extent=(-w, w, -h, h), zorder=0, interpolation="none", aspect="auto")

    return paint


def panel(axes: Any, scene: Scene, view: View, paint: Painter, *, compass: Mapping[str, Array]) -> None:
    """The view with its frame, its title and the words of ``compass`` at the edges they point to."""
    w, h = view.half_width_mm, view.half_height_mm
    axes.set(xlim=(-w, w), ylim=(-h, h), xticks=[], yticks=[])
    axes.spines[:].set(color=FRAME, linewidth=0.9)
    paint(axes, scene, view)
    axes.set(xlim=(-w, w), ylim=(-h, h))
    axes.text(0.5, 0.98, view.title, transform=axes.transAxes, ha="center", va="top", fontsize=12.5,
              fontweight="bold", color=INK, zorder=30,
              bbox={"boxstyle": "round,pad=0.25", "fc": "white", "ec": "none", "alpha": 0.85})  # fmt: skip
    for word, way in compass.items():
        across = float(way @ view.right)
        if abs(across) > 0.9:
            axes.text(0.5 + 0.487 * across, 0.972, word, transform=axes.transAxes, fontsize=9, va="top",
                      ha="right" if across > 0 else "left", color=SOFT, style="italic", zorder=30)  # fmt: skip
