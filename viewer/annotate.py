"""Texts, dimension lines and a scale bar over a drawn view, on matplotlib axes whose data are the view's mm."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

import numpy as np

from mesh_tools.arrays import Array
from viewer.label_columns import columns, spread
from viewer.palette import WIDE_ROLES, Role, look
from viewer.scene import DimensionItem, Item, Scene
from viewer.view import View


@dataclass(frozen=True, eq=False)
class Note:
    """A text with the place (2,) in the picture that it is about."""

    text: str
    at: Array
    role: Role


def annotate(
    axes: Any,
    scene: Scene,
    view: View,
    *,
    font_pt: float,
    groups: Collection[str] | None = None,
    name_all: bool = False,
) -> None:
    """Dimension lines, every text in a column beside the picture with a leader, and a scale bar.

    ``groups``: only what belongs to them is named; None names all. ``name_all``: every text, as in a close-up.
    """
    for item in scene.dimensions:
        if (view.close_up or name_all) and view.shows(item):
            _dimension(axes, item, view)
    notes = [
        n for n in _notes(scene, view, groups, name_all=name_all or view.close_up) if _inside(n.at, view)
    ]
    _write(axes, notes, view, font_pt)
    _scale_bar(axes, view, font_pt)


def _notes(scene: Scene, view: View, groups: Collection[str] | None, *, name_all: bool) -> list[Note]:
    """What to write in this view, most telling first."""

    def named(item: Item) -> bool:
        return view.shows(item) and (groups is None or item.group in groups)

    found = []
    for p in scene.named_points():
        if named(p) and (name_all or p.role in WIDE_ROLES):
            found.append(Note(p.name + (f"\n{p.detail}" if p.detail else ""), view.flat(p.at_mm), p.role))
    if not name_all:
        return found
    found += [Note(i.text, view.flat(i.at_mm), i.role) for i in scene.labels if named(i)]
    found += [
        Note(a.text, view.flat(a.at_mm + 0.6 * a.vector_mm), a.role)
        for a in scene.arrows
        if named(a) and a.text
    ]
    found += [
        Note(d.text, view.flat(0.5 * (d.from_mm + d.to_mm)), d.role) for d in scene.dimensions if named(d)
    ]
    return found


def _inside(at: Array, view: View) -> bool:
    return bool(abs(at[0]) < view.half_width_mm and abs(at[1]) < view.half_height_mm)


def _write(axes: Any, notes: list[Note], view: View, font_pt: float) -> None:
    mm_per_pt = 2.0 * view.half_height_mm / (axes.get_window_extent().height * 72.0 / axes.figure.dpi)
    line = 2.0 * font_pt * mm_per_pt
    most = max(1, int(1.7 * view.half_height_mm / (1.3 * line)))
    sides = columns([n.at[0] / view.half_width_mm for n in notes], most=min(most, (len(notes) + 1) // 2 + 1))
    for column, x, align in (("left", -0.97, "left"), ("right", 0.97, "right")):
        chosen = [n for n, s in zip(notes, sides, strict=True) if s == column]
        gap = line * (1.0 if all("\n" not in n.text for n in chosen) else 1.55)
        heights = spread([n.at[1] for n in chosen], gap=gap, low=-0.82 * view.half_height_mm,
                         high=0.82 * view.half_height_mm)  # fmt: skip
        for note, y in zip(chosen, heights, strict=True):
            _label(axes, note, (x * view.half_width_mm, float(y)), align, font_pt)


def _label(axes: Any, note: Note, place: tuple[float, float], align: str, font_pt: float) -> None:
    axes.annotate(
        note.text, xy=tuple(note.at), xytext=place, ha=align, va="center", fontsize=font_pt, zorder=20,
        color=look(note.role).text, linespacing=1.15,
        bbox={"boxstyle": "round,pad=0.22", "fc": "white", "ec": look(note.role).colour, "lw": 0.7, "alpha": 0.92},
        arrowprops={"arrowstyle": "-", "lw": 0.8, "color": look(note.role).text, "alpha": 0.8, "shrinkA": 0,
                    "shrinkB": 2},
    )  # fmt: skip


def _dimension(axes: Any, item: DimensionItem, view: View) -> None:
    start, end = view.flat(np.array([item.from_mm, item.to_mm]))
    axes.annotate("", xy=tuple(end), xytext=tuple(start), zorder=10,
                  arrowprops={"arrowstyle": "|-|,widthA=0.25,widthB=0.25", "lw": 1.4, "color": look(item.role).text,
                              "shrinkA": 0, "shrinkB": 0})  # fmt: skip


def _scale_bar(axes: Any, view: View, font_pt: float) -> None:
    length = scale_bar_mm(view)
    x, y = -0.95 * view.half_width_mm, -0.93 * view.half_height_mm
    axes.plot([x, x + length], [y, y], color="#111827", lw=2.2, solid_capstyle="butt", zorder=20)
    axes.text(x + length + 0.02 * view.half_width_mm, y, f"{length:g} mm", ha="left", va="center",
              fontsize=font_pt, color="#111827", zorder=20,
              bbox={"boxstyle": "round,pad=0.15", "fc": "white", "ec": "none", "alpha": 0.85})  # fmt: skip


def scale_bar_mm(view: View) -> float:
    """A round length near a fifth of the picture's width."""
    return max(
        (m for m in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0) if m <= 0.5 * view.half_width_mm), default=1.0
    )
