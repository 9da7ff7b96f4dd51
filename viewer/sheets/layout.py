"""Blocks of text, lists and tables in mm, and stacking them: the small typography of the sheets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from viewer.sheets.fonts import text_width_mm, wrapped
from viewer.sheets.model import (
    FAINT,
    INK,
    SOFT,
    Anchor,
    Block,
    Item,
    Layer,
    PaperError,
    Stroke,
    Text,
    line,
    rectangle,
)

BODY, SMALL, HEAD = 3.05, 2.6, 3.6
LEADING = 1.36
BOX = 3.4  # a box to tick
HAIR = Stroke(FAINT, 0.2)
RULED = Stroke(SOFT, 0.2)


@dataclass(frozen=True)
class Cell:
    """One cell of a table; ``blank`` is a line to write on."""

    text: str = ""
    bold: bool = False
    colour: str = INK
    anchor: Anchor = "start"
    blank: bool = False


def paragraph(
    text: str,
    width: float,
    *,
    size: float = BODY,
    bold: bool = False,
    colour: str = INK,
    layer: Layer = "TEXT",
) -> Block:
    """Wrapped text."""
    lines = wrapped(text, width, size_mm=size, bold=bold)
    step = LEADING * size
    height = step * len(lines)
    items = tuple(
        Text(layer, (0.0, height - step * k - 0.82 * size), row, size, "start", bold, colour)
        for k, row in enumerate(lines)
        if row
    )
    return Block(width, height, items)


def heading(text: str, width: float, *, size: float = HEAD, colour: str = INK) -> Block:
    """A heading with a hair line under it."""
    words = paragraph(text, width, size=size, bold=True, colour=colour)
    height = words.height + 0.9
    return Block(width, height, (*words.placed(0.0, 0.9), line("TEXT", (0.0, 0.5), (width, 0.5), RULED)))


def ticked(text: str, width: float, *, size: float = BODY, colour: str = INK) -> Block:
    """A box to tick and what it is for."""
    words = paragraph(text, width - BOX - 2.2, size=size, colour=colour)
    height = max(words.height, BOX + 0.8)
    top = height - 0.4
    box = rectangle("TEXT", (0.2, top - BOX), (BOX, BOX), Stroke(INK, 0.25))
    return Block(width, height, (box, *words.placed(BOX + 2.2, height - words.height)))


def numbered(number: int, text: str, width: float, *, size: float = BODY) -> Block:
    """A step with its number."""
    words = paragraph(text, width - 6.0, size=size)
    figure = Text("TEXT", (0.0, words.height - 0.82 * size), f"{number}", size, bold=True)
    return Block(width, words.height, (figure, *words.placed(6.0, 0.0)))


def bullet(text: str, width: float, *, size: float = BODY, bold: bool = False, colour: str = INK) -> Block:
    """A point of a list."""
    words = paragraph(text, width - 4.0, size=size, bold=bold, colour=colour)
    dot = Text("TEXT", (0.6, words.height - 0.82 * size), "•", size, colour=colour)
    return Block(width, words.height, (dot, *words.placed(4.0, 0.0)))


def blank_line(label: str, width: float, *, size: float = BODY) -> Block:
    """A label and a line to write on."""
    end = text_width_mm(label, size_mm=size) + 2.0
    return Block(
        width, 7.4, (Text("TEXT", (0.0, 1.6), label, size), line("TEXT", (end, 1.2), (width, 1.2), RULED))
    )


def stacked(blocks: Sequence[Block], *, gap: float = 1.6) -> Block:
    """Blocks one under the other."""
    height = sum(b.height for b in blocks) + gap * max(0, len(blocks) - 1)
    items: list[Item] = []
    top = height
    for block in blocks:
        items += block.placed(0.0, top - block.height)
        top -= block.height + gap
    return Block(max(b.width for b in blocks), height, tuple(items))


def abreast(blocks: Sequence[Block], *, gap: float = 8.0) -> Block:
    """Blocks side by side, their upper edges level."""
    height = max(b.height for b in blocks)
    items: list[Item] = []
    left = 0.0
    for block in blocks:
        items += block.placed(left, height - block.height)
        left += block.width + gap
    return Block(left - gap, height, tuple(items))


def panel(block: Block, *, pad: float = 2.6, stroke: Stroke = HAIR, fill: str | None = None) -> Block:
    """A block in a frame."""
    size = (block.width + 2.0 * pad, block.height + 2.0 * pad)
    return Block(*size, (rectangle("TEXT", (0.0, 0.0), size, stroke, fill), *block.placed(pad, pad)))


def table(
    head: Sequence[str], rows: Sequence[Sequence[Cell]], widths: Sequence[float], *, size: float = SMALL
) -> Block:
    """Rows under a head (left out when all its texts are empty), with hair lines between; cells wrap, ``widths`` are
    those of the columns."""
    first = [[Cell(text, bold=True, colour=SOFT) for text in head]] if any(head) else []
    cells = [*first, *rows]
    laid = [_table_row(row, widths, size=size) for row in cells]
    total, items, top = sum(b.height for b in laid), list[Item](), sum(b.height for b in laid)
    for k, block in enumerate(laid):
        top -= block.height
        items += block.placed(0.0, top)
        items.append(line("TABLE", (0.0, top), (sum(widths), top), RULED if k < len(first) else HAIR))
    return Block(sum(widths), total, tuple(items))


def _table_row(row: Sequence[Cell], widths: Sequence[float], *, size: float) -> Block:
    pad = 1.0
    words = [
        paragraph(c.text, w - pad, size=size, bold=c.bold, colour=c.colour, layer="TABLE")
        for c, w in zip(row, widths, strict=True)
    ]
    height = max(LEADING * size, *(b.height for b in words)) + 1.5
    items: list[Item] = []
    left = 0.0
    for cell, block, width in zip(row, words, widths, strict=True):
        if cell.blank:
            items.append(line("TABLE", (left + 1.0, 0.9), (left + width - 2.0, 0.9), RULED))
        items += block.placed(left, height - 0.7 - block.height)
        left += width
    return Block(sum(widths), height, tuple(items))


def needs_room(block: Block, *, width: float, height: float, what: str, paper: str) -> Block:
    """``block``, when it fits ``width`` by ``height``; raises PaperError with what is too large for the paper."""
    if block.width > width + 1e-6 or block.height > height + 1e-6:
        raise PaperError(
            f"{what} needs {block.width:.0f} x {block.height:.0f} mm at 1:1, but paper {paper} has room for "
            f"{width:.0f} x {height:.0f} mm: print on larger paper."
        )
    return block
