"""A sheet as SVG, one to one: width and height in mm, one user unit a mm, one group a layer."""

from __future__ import annotations

import math
from xml.sax.saxutils import escape, quoteattr

from viewer.sheets.model import LAYERS, Arc, Circle, Item, Pair, Path, Sheet, Stroke, Text

_FAMILY = "DejaVu Sans, Bitstream Vera Sans, Verdana, sans-serif"


def sheet_svg(sheet: Sheet) -> str:
    """The file's text."""
    w, h = sheet.paper.width, sheet.paper.height
    body = "".join(_group(layer, sheet) for layer in LAYERS)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w:g}mm" height="{h:g}mm" viewBox="0 0 {w:g} {h:g}" '
        f'font-family="{_FAMILY}" stroke-linecap="round" stroke-linejoin="round">\n'
        f"<title>{escape(sheet.title)}</title>\n"
        f'<rect width="{w:g}" height="{h:g}" fill="#ffffff"/>\n{body}</svg>\n'
    )


def _group(layer: str, sheet: Sheet) -> str:
    found = "".join(_element(item, sheet.paper.height) for item in sheet.items if item.layer == layer)
    return f'<g id="{layer}">\n{found}</g>\n' if found else ""


def _element(item: Item, page_height: float) -> str:
    def down(p: Pair) -> Pair:
        return p[0], page_height - p[1]

    if isinstance(item, Text):
        return _text(item, down(item.at))
    if isinstance(item, Circle):
        x, y = down(item.centre)
        return f'<circle cx="{x:.4f}" cy="{y:.4f}" r="{item.radius:.4f}"{_style(item.stroke, item.fill)}/>\n'
    if isinstance(item, Path):
        steps = "L".join(f"{x:.4f} {y:.4f}" for x, y in map(down, item.points))
        return f'<path d="M{steps}{"Z" if item.closed else ""}"{_style(item.stroke, item.fill)}/>\n'
    return _arc(item, down(item.centre))


def _arc(item: Arc, centre: Pair) -> str:
    ends = [
        (
            centre[0] + item.radius * math.cos(math.radians(a)),
            centre[1] - item.radius * math.sin(math.radians(a)),
        )
        for a in (item.from_deg, item.to_deg)
    ]
    large = int(item.to_deg - item.from_deg > 180.0)
    (x0, y0), (x1, y1) = ends
    return (
        f'<path d="M{x0:.4f} {y0:.4f}A{item.radius:.4f} {item.radius:.4f} 0 {large} 0 {x1:.4f} {y1:.4f}"'
        f"{_style(item.stroke, None)}/>\n"
    )


def _style(stroke: Stroke | None, fill: str | None) -> str:
    line = ' stroke="none"'
    if stroke is not None:
        line = f' stroke="{stroke.colour}" stroke-width="{stroke.width_mm:g}"'
        if stroke.dash_mm is not None:
            line += f' stroke-dasharray="{stroke.dash_mm[0]:g} {stroke.dash_mm[1]:g}"'
    return f' fill="{fill or "none"}"{line}'


def _text(item: Text, at: Pair) -> str:
    """The text with its length fixed, so that another font cannot push it out of its place."""
    x, y = at
    turn = f' transform="rotate({-item.turn_deg:g} {x:.4f} {y:.4f})"' if item.turn_deg else ""
    weight = ' font-weight="bold"' if item.bold else ""
    length = (
        f' textLength="{item.width_mm:.3f}" lengthAdjust="spacingAndGlyphs"' if len(item.text) > 1 else ""
    )
    return (
        f'<text x="{x:.4f}" y="{y:.4f}" font-size="{item.size_mm:g}" text-anchor="{item.anchor}"'
        f"{weight} fill={quoteattr(item.colour)}{length}{turn}>{escape(item.text)}</text>\n"
    )
