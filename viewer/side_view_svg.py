"""An inline SVG of one side: molar outline, bow before and after, lines of force, target. Drawn from the scene."""

from __future__ import annotations

from html import escape

import numpy as np

from mechanics.sides import Side
from mesh_tools.arrays import Array
from viewer.label_columns import columns, spread
from viewer.palette import WIDE_ROLES, look
from viewer.scene import DimensionItem, LineItem, PointItem, Scene, SurfaceItem, WireItem
from viewer.silhouette import outlines
from viewer.view import View, view_from

_WIDTH, _HEIGHT, _FONT = 560.0, 318.0, 13.0


def side_view_svg(scene: Scene, side: Side) -> str:
    """The picture as an ``<svg>`` element with a title for readers that speak."""
    view = view_from(scene, side, width_over_height=_WIDTH / _HEIGHT)
    body = [*_surfaces(scene, view), *_strokes(scene, view), *_marks(scene, view), *_texts(scene, view)]
    title = f"Line of force seen from the {side}: {scene.captions.get(side, '')}"
    return (
        f'<svg viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" role="img" aria-label="{escape(title)}" '
        f'xmlns="http://www.w3.org/2000/svg" font-size="{_FONT:g}">'
        + "".join(body)
        + _scale_bar(view)
        + "</svg>"
    )


def _xy(view: View, points: Array) -> Array:
    """Picture coordinates (..., 2): right and down from the top left corner."""
    flat = view.flat(points)
    scale = 0.5 * _HEIGHT / view.half_height_mm
    return np.stack([0.5 * _WIDTH + scale * flat[..., 0], 0.5 * _HEIGHT - scale * flat[..., 1]], axis=-1)


def _path(points: Array, *, closed: bool = False) -> str:
    steps = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return f"M{steps}{'Z' if closed else ''}"


def _surfaces(scene: Scene, view: View) -> list[str]:
    found = []
    for item in scene.surfaces:
        if view.shows(item) and isinstance(item, SurfaceItem) and item.role != "arch":
            shapes = "".join(_path(_xy_of_flat(view, loop), closed=True) for loop in outlines(item, view))
            opacity = 0.25 if item.role == "face" else 1.0
            found.append(
                f'<path d="{shapes}" fill="{look(item.role).colour}" fill-opacity="{opacity}" fill-rule="evenodd" '
                f'stroke="{look(item.role).text}" stroke-width="0.9" stroke-opacity="0.7"/>'
            )
    return found


def _xy_of_flat(view: View, flat: Array) -> Array:
    scale = 0.5 * _HEIGHT / view.half_height_mm
    return np.stack([0.5 * _WIDTH + scale * flat[:, 0], 0.5 * _HEIGHT - scale * flat[:, 1]], axis=-1)


def _strokes(scene: Scene, view: View) -> list[str]:
    items: list[WireItem | LineItem] = [i for i in scene.lines if view.shows(i)]
    items += [i for i in scene.wires if view.shows(i)]
    order = {"strap": 0, "bow_before": 1, "tube": 2, "line_before": 3, "bow_after": 4, "line_after": 5}
    items.sort(key=lambda i: order.get(i.role, 3))
    return [_stroke(i, _xy(view, i.points_mm)) for i in items]


def _stroke(item: WireItem | LineItem, points: Array) -> str:
    style = look(item.role)
    dash = ' stroke-dasharray="6 4"' if style.dashed else ""
    return (
        f'<path d="{_path(points)}" fill="none" stroke="{style.colour}" stroke-width="{style.width_px:g}" '
        f'stroke-opacity="{item.opacity:g}" stroke-linecap="round"{dash}/>'
    )


def _marks(scene: Scene, view: View) -> list[str]:
    found = [_dimension(d, view) for d in scene.dimensions if view.shows(d) and d.role != "dimension"]
    for p in _named(scene, view):
        x, y = _xy(view, p.at_mm)
        colour, ring = look(p.role).colour, p.glyph == "ring"
        fill = "none" if ring else colour
        found.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{6.5 if ring else 4}" fill="{fill}" '
                     f'stroke="{colour if ring else "#ffffff"}" stroke-width="{2.4 if ring else 1}"/>')  # fmt: skip
    return found


def _dimension(item: DimensionItem, view: View) -> str:
    points = _xy(view, np.array([item.from_mm, item.to_mm]))
    return f'<path d="{_path(points)}" stroke="{look(item.role).text}" stroke-width="1.6" fill="none"/>'


def _named(scene: Scene, view: View) -> list[PointItem]:
    return [p for p in scene.points if view.shows(p) and p.role in WIDE_ROLES]


def _texts(scene: Scene, view: View) -> list[str]:
    notes = [(p.name, p.detail, _xy(view, p.at_mm), p.role) for p in _named(scene, view)]
    notes += [
        (d.text, "", _xy(view, 0.5 * (d.from_mm + d.to_mm)), d.role)
        for d in scene.dimensions
        if view.shows(d) and d.role != "dimension"
    ]
    sides = columns([2.0 * at[0] / _WIDTH - 1.0 for _, _, at, _ in notes], most=5)
    found = []
    for column, x in (("left", 6.0), ("right", _WIDTH - 6.0)):
        chosen = [n for n, s in zip(notes, sides, strict=True) if s == column]
        gap = _FONT * (2.9 if any(detail for _, detail, _, _ in chosen) else 1.75)
        heights = spread([at[1] for _, _, at, _ in chosen], gap=gap, low=18.0, high=_HEIGHT - 34.0)
        for (text, detail, at, role), y in zip(chosen, heights, strict=True):
            found.append(_label([text, detail] if detail else [text], at, look(role).text, x=x, y=float(y)))
    return found


def _label(lines: list[str], at: Array, colour: str, *, x: float, y: float) -> str:
    """A text of one or two lines at the picture's nearer edge, on a white ground, with a line to what it is about."""
    wide, high = 0.56 * _FONT * max(map(len, lines)), 1.25 * _FONT * len(lines)
    left = x < 0.5 * _WIDTH
    edge = x + wide if left else x - wide
    rows = "".join(
        f'<tspan x="{x:.1f}" y="{y - 0.5 * high + (0.95 + 1.2 * k) * _FONT:.1f}">{escape(line)}</tspan>'
        for k, line in enumerate(lines)
    )
    return (
        f'<path d="M{edge:.1f} {y:.1f}L{at[0]:.1f} {at[1]:.1f}" stroke="{colour}" stroke-width="0.8" fill="none"/>'
        f'<rect x="{min(x, edge) - 3:.1f}" y="{y - 0.5 * high - 1:.1f}" width="{wide + 6:.1f}" height="{high + 3:.1f}" '
        f'rx="3" fill="#ffffff" fill-opacity="0.92" stroke="{colour}" stroke-width="0.6"/>'
        f'<text text-anchor="{"start" if left else "end"}" fill="{colour}">{rows}</text>'
    )


def _scale_bar(view: View) -> str:
    long = 0.5 * _HEIGHT / view.half_height_mm * 20.0
    y = _HEIGHT - 12.0
    return (
        f'<path d="M10 {y:g}h{long:.1f}" stroke="#111827" stroke-width="2.5"/>'
        f'<text x="{16 + long:.1f}" y="{y + 4:g}" fill="#111827">20 mm</text>'
    )
