"""Building blocks of a PDF that flows over pages: styles, tables with wrapping cells, pictures, head and foot.

The fonts are those of the sheets, embedded. Every text is escaped: nothing in a case is markup.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any
from xml.sax.saxutils import escape

from viewer.sheets.fonts import BOLD, REGULAR, registered, wrapped
from viewer.sheets.model import FAINT, INK, PAPERS, SOFT, WARN

MM = 72.0 / 25.4
MARGIN_MM, FOOT_MM = 15.0, 19.0
WIDTH_MM = PAPERS["a4"].width - 2.0 * MARGIN_MM
_MOST_LETTERS = 900
_MOST_PIXELS = 2000  # across the page: 280 dots an inch, more only makes the file larger


@cache
def styles() -> dict[str, Any]:
    """Paragraph styles by name; raises ModuleNotFoundError without the extra."""
    registered()
    from reportlab.lib.styles import ParagraphStyle

    def style(name: str, size: float, **more: Any) -> Any:
        usual = {
            "fontName": REGULAR,
            "fontSize": size,
            "leading": 1.34 * size,
            "textColor": INK,
            "spaceAfter": 2.0,
        }
        return ParagraphStyle(name, **usual | {"bulletFontName": REGULAR} | more)

    warm = {"textColor": WARN, "leftIndent": 12.0, "rightIndent": 4.0, "bulletIndent": 3.0, "spaceAfter": 3.4,
            "backColor": "#FFF3E4", "borderPadding": (2.0, 4.0, 2.0, 12.0)}  # fmt: skip

    return {
        "title": style("title", 17.0, fontName=BOLD, spaceAfter=1.0),
        "head": style("head", 11.5, fontName=BOLD, spaceBefore=9.0, spaceAfter=3.0, keepWithNext=1),
        "small head": style("small head", 9.0, fontName=BOLD, spaceBefore=4.0, keepWithNext=1),
        "body": style("body", 8.6),
        "soft": style("soft", 7.6, textColor=SOFT),
        "point": style("point", 8.2, leftIndent=9.0, bulletIndent=1.0, spaceAfter=2.4),
        "warn": style("warn", 8.4, **warm),
        "refuse": style("refuse", 9.4, fontName=BOLD, **warm),
        "cell": style("cell", 8.0, spaceAfter=0.0),
        "bold cell": style("bold cell", 8.0, fontName=BOLD, spaceAfter=0.0),
        "head cell": style("head cell", 7.8, fontName=BOLD, textColor=SOFT, spaceAfter=0.0),
        "small cell": style("small cell", 6.9, spaceAfter=0.0),
        "order": style("order", 15.0, fontName=BOLD, textColor="#00517F", spaceAfter=0.0),
        "no order": style("no order", 13.0, fontName=BOLD, textColor=WARN, spaceAfter=0.0),
    }


def words(text: str, style: str = "body", *, more: str = "", mark: str | None = None) -> Any:
    """A paragraph; ``more`` follows in grey, ``mark`` stands before it as a bullet."""
    from reportlab.platypus import Paragraph

    grey = f' <font face="{REGULAR}" color="{SOFT}">{escape(more)}</font>' if more else ""
    return Paragraph(escape(text) + grey, styles()[style], bulletText=mark)


def points(texts: Sequence[str], style: str = "point") -> list[Any]:
    """A list with bullets."""
    return [words(text, style, mark="•") for text in texts]


@dataclass(frozen=True)
class Look:
    """Style of a cell."""

    text: str
    style: str = "cell"
    more: str = ""


def grid(
    head: Sequence[str], rows: Sequence[Sequence[str | Look]], shares: Sequence[float], *, cell: str = "cell"
) -> Any:
    """A table over the page's width, columns by ``shares``; cells wrap, the head comes again on each page."""
    from reportlab.platypus import Table

    top = [[words(text, "head cell") for text in head]] if any(head) else []
    body = [[_cell(value, cell) for value in row] for row in rows]
    total = sum(shares)
    return Table(
        [*top, *body], [WIDTH_MM * MM * s / total for s in shares], repeatRows=len(top), splitInRow=1,
        style=[
            ("FONTNAME", (0, 0), (-1, -1), REGULAR), ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LINEBELOW", (0, 0), (-1, -1), 0.4, FAINT),
            ("LEFTPADDING", (0, 0), (-1, -1), 1.5), ("RIGHTPADDING", (0, 0), (-1, -1), 5.0),
            ("TOPPADDING", (0, 0), (-1, -1), 2.0), ("BOTTOMPADDING", (0, 0), (-1, -1), 2.6),
            *([("LINEBELOW", (0, 0), (-1, 0), 0.8, SOFT)] if top else []),
        ], spaceAfter=3.0,
    )  # fmt: skip


def _cell(value: str | Look, style: str) -> Any:
    found = Look(value, style) if isinstance(value, str) else value
    text = found.text
    if (
        len(text) > _MOST_LETTERS
    ):  # a row that is higher than a page cannot be set; report.html has the whole of it
        text = f"{text[: _MOST_LETTERS - 200]} … {text[-150:]}"
    return words(text, found.style, more=found.more)


def picture(png: bytes, *, most_mm: float = 200.0) -> Any:
    """The picture over the page's width on white, at most ``most_mm`` high; kept as JPEG, which goes in as it is."""
    from PIL import Image as Pillow
    from reportlab.platypus import Image

    with Pillow.open(io.BytesIO(png)) as opened:
        seen = opened.convert("RGBA")
    white = Pillow.new("RGB", seen.size, "white")
    white.paste(seen, mask=seen.getchannel("A"))
    if white.width > _MOST_PIXELS:
        size = (_MOST_PIXELS, round(white.height * _MOST_PIXELS / white.width))
        white = white.resize(size, Pillow.Resampling.LANCZOS)
    kept = io.BytesIO()
    white.save(kept, "JPEG", quality=92, subsampling=0)
    kept.seek(0)
    wide = min(WIDTH_MM, most_mm * white.width / white.height)
    return Image(kept, wide * MM, wide * MM * white.height / white.width)


def pdf_of(story: Sequence[Any], *, title: str, foot: str) -> bytes:
    """The file: A4, ``foot`` and the page's number at every page's end; the same story gives the same bytes."""
    from reportlab import rl_config
    from reportlab.platypus import BaseDocTemplate, Frame, PageTemplate

    out, paper, edge = io.BytesIO(), PAPERS["a4"], MARGIN_MM * MM
    size = (paper.width * MM, paper.height * MM)
    room = Frame(edge, FOOT_MM * MM, WIDTH_MM * MM, size[1] - edge - FOOT_MM * MM, *[0] * 4)
    document = BaseDocTemplate(
        out, pagesize=size, title=title, author="bowtrue", invariant=1, initialFontName=REGULAR
    )
    document.addPageTemplates([PageTemplate("page", [room])])
    armoured, rl_config.useA85 = rl_config.useA85, 0  # pictures go in as bytes: a second less
    try:
        document.build(list(story), canvasmaker=_numbering(foot))
    finally:
        rl_config.useA85 = armoured
    return out.getvalue()


def _numbering(foot: str) -> Any:
    """A canvas that knows how many pages there are before it writes any foot."""
    from reportlab.pdfgen.canvas import Canvas

    class Numbered(Canvas):  # type: ignore[misc]
        def __init__(self, *args: Any, **kwargs: Any) -> None:
            super().__init__(*args, **kwargs)
            self._kept: list[dict[str, Any]] = []

        def showPage(self) -> None:
            self._kept.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for k, page in enumerate(self._kept):
                self.__dict__.update(page)
                _foot(self, foot, f"{k + 1} / {len(self._kept)}")
                Canvas.showPage(self)
            Canvas.save(self)

    return Numbered


def _foot(canvas: Any, text: str, number: str) -> None:
    wide = PAPERS["a4"].width
    canvas.setStrokeColor(FAINT)
    canvas.setLineWidth(0.5)
    canvas.line(MARGIN_MM * MM, 16.0 * MM, (wide - MARGIN_MM) * MM, 16.0 * MM)
    canvas.setFillColor(WARN)
    canvas.setFont(REGULAR, 6.6)
    for k, row in enumerate(wrapped(text, (WIDTH_MM - 16.0) * MM, size_mm=6.6)):
        canvas.drawString(MARGIN_MM * MM, 13.2 * MM - 8.6 * k, row)
    canvas.setFillColor(SOFT)
    canvas.setFont(REGULAR, 7.5)
    canvas.drawRightString((wide - MARGIN_MM) * MM, 13.2 * MM, number)
