"""The sheets' fonts, DejaVu Sans and its bold, as they ship with matplotlib: free to embed (Bitstream Vera licence).

Widths come from the font files themselves, so a text's box is known before anything is drawn.
"""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

REGULAR, BOLD = "BowtrueSans", "BowtrueSans-Bold"
RISE, DESCENT = 0.76, 0.24  # of DejaVu Sans: ascender and descender of Latin letters, in em
CAP = 0.729  # height of capitals in em
_FILES = {REGULAR: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}


def font_name(*, bold: bool) -> str:
    """The name under which the font is known to reportlab, once ``registered``."""
    return BOLD if bold else REGULAR


@cache
def registered() -> Any:
    """reportlab's ``pdfmetrics`` with both fonts registered; raises ModuleNotFoundError without the extra."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    for name, file in _FILES.items():
        pdfmetrics.registerFont(TTFont(name, str(_font_folder() / file)))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD)
    return pdfmetrics


def _font_folder() -> Path:
    spec = find_spec("matplotlib")
    if spec is None or spec.origin is None:
        raise ModuleNotFoundError("the fonts come with matplotlib", name="matplotlib")
    return Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"


@cache
def text_width_mm(text: str, *, size_mm: float, bold: bool = False) -> float:
    """How long ``text`` runs, mm."""
    return float(registered().stringWidth(text, font_name(bold=bold), size_mm))


def wrapped(text: str, width_mm: float, *, size_mm: float, bold: bool = False) -> list[str]:
    """``text`` in lines no longer than ``width_mm``, broken at spaces; a word too long stands alone, cut to fit."""
    lines: list[str] = []
    for paragraph in text.split("\n"):
        words, now = paragraph.split(), ""
        for word in words:
            for piece in _pieces(word, width_mm, size_mm, bold):
                longer = f"{now} {piece}" if now else piece
                if text_width_mm(longer, size_mm=size_mm, bold=bold) <= width_mm:
                    now = longer
                else:
                    lines.append(now)
                    now = piece
        lines.append(now)
    return [x for k, x in enumerate(lines) if x or k]


def _pieces(word: str, width_mm: float, size_mm: float, bold: bool) -> list[str]:
    """``word``, or its parts when it is longer than a line."""
    if text_width_mm(word, size_mm=size_mm, bold=bold) <= width_mm:
        return [word]
    pieces, now = [], ""
    for letter in word:
        if now and text_width_mm(now + letter, size_mm=size_mm, bold=bold) > width_mm:
            pieces.append(now)
            now = ""
        now += letter
    return [*pieces, now]
