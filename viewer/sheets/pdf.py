"""Sheets as PDF: vector, one to one, fonts embedded, and the printer asked not to scale."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from viewer.sheets.fonts import REGULAR, font_name, registered
from viewer.sheets.model import Arc, Circle, Item, Path, Sheet, Stroke, Text

PT_PER_MM = 72.0 / 25.4


def sheets_pdf(sheets: Sequence[Sheet], *, title: str) -> bytes:
    """The file's bytes; the same sheets give the same bytes."""
    registered()
    from reportlab.pdfgen.canvas import Canvas

    out = io.BytesIO()
    canvas = Canvas(out, invariant=1, initialFontName=REGULAR, pageCompression=1)
    canvas.setTitle(title)
    canvas.setAuthor("bowtrue")
    canvas.setSubject("Print at 100 % (actual size); measure the check bars before use.")
    canvas.setViewerPreference("PrintScaling", "None")
    for sheet in sheets:
        canvas.setPageSize((sheet.paper.width * PT_PER_MM, sheet.paper.height * PT_PER_MM))
        canvas.bookmarkPage(sheet.name)
        canvas.addOutlineEntry(sheet.title, sheet.name)
        canvas.scale(PT_PER_MM, PT_PER_MM)
        canvas.setLineCap(1)
        canvas.setLineJoin(1)
        for item in sheet.items:
            _draw(canvas, item)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _draw(canvas: Any, item: Item) -> None:
    if isinstance(item, Text):
        _text(canvas, item)
    elif isinstance(item, Path):
        _path(canvas, item)
    elif isinstance(item, Circle):
        _set(canvas, item.stroke, item.fill)
        canvas.circle(
            *item.centre, item.radius, stroke=int(item.stroke is not None), fill=int(item.fill is not None)
        )
    else:
        _arc(canvas, item)


def _set(canvas: Any, stroke: Stroke | None, fill: str | None) -> None:
    if stroke is not None:
        canvas.setStrokeColor(stroke.colour)
        canvas.setLineWidth(stroke.width_mm)
        canvas.setDash(*(() if stroke.dash_mm is None else (list(stroke.dash_mm), 0)))
    if fill is not None:
        canvas.setFillColor(fill)


def _path(canvas: Any, item: Path) -> None:
    _set(canvas, item.stroke, item.fill)
    path = canvas.beginPath()
    path.moveTo(*item.points[0])
    for point in item.points[1:]:
        path.lineTo(*point)
    if item.closed:
        path.close()
    canvas.drawPath(path, stroke=int(item.stroke is not None), fill=int(item.fill is not None))


def _arc(canvas: Any, item: Arc) -> None:
    _set(canvas, item.stroke, None)
    (x, y), r = item.centre, item.radius
    canvas.arc(x - r, y - r, x + r, y + r, item.from_deg, item.to_deg - item.from_deg)


def _text(canvas: Any, item: Text) -> None:
    canvas.saveState()
    canvas.setFillColor(item.colour)
    canvas.setFont(font_name(bold=item.bold), item.size_mm)
    canvas.translate(*item.at)
    canvas.rotate(item.turn_deg)
    draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}
    draw[item.anchor](0.0, 0.0, item.text)
    canvas.restoreState()
