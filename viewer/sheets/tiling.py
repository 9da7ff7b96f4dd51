"""Drawings onto pages at 1:1: side by side while they fit, turned when that helps, cut into tiles when nothing does.

Tiles overlap by 10 mm; crosses in the overlaps lie on the same spots of the drawing, to lay one sheet on the other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from viewer.sheets.model import INK, Arc, Block, Circle, Item, Pair, Path, Stroke, Text, line

OVERLAP = 10.0
GAP = 5.0
_CROSS = Stroke(INK, 0.2)


@dataclass(frozen=True)
class Tile:
    """Part of a drawing: a block, and its place in the grid as words, empty when the drawing is whole."""

    block: Block
    words: str = ""


def pages_of(blocks: Sequence[Block], *, width: float, height: float) -> list[Tile]:
    """Pages of at most ``width`` by ``height`` that hold all ``blocks`` at 1:1, in their order."""
    pages: list[Tile] = []
    waiting: list[Block] = []
    for block in blocks:
        fitting = _fitting(block, width, height)
        if fitting is None:
            pages += [Tile(b) for b in _shelves(waiting, width, height)] + tiles(
                block, width=width, height=height
            )
            waiting = []
        else:
            waiting.append(fitting)
    return pages + [Tile(b) for b in _shelves(waiting, width, height)]


def _fitting(block: Block, width: float, height: float) -> Block | None:
    for candidate in (block, quarter_turned(block)):
        if candidate.width <= width and candidate.height <= height:
            return candidate
    return None


def _shelves(blocks: Sequence[Block], width: float, height: float) -> list[Block]:
    """Pages of blocks in rows from the top."""
    pages: list[list[Item]] = []
    x, top, row = 0.0, 0.0, 0.0
    for block in blocks:
        if pages and x + block.width > width:
            x, top, row = 0.0, top - row - GAP, 0.0
        if not pages or top - block.height < 0.0:
            pages.append([])
            x, top, row = 0.0, height, 0.0
        pages[-1] += block.placed(x, top - block.height)
        x, row = x + block.width + GAP, max(row, block.height)
    return [Block(width, height, tuple(items)) for items in pages]


def quarter_turned(block: Block) -> Block:
    """The block turned a quarter counterclockwise."""
    turned = tuple(_turned(item, block.height) for item in block.items)
    return Block(block.height, block.width, turned)


def _turned(item: Item, height: float) -> Item:
    def move(p: Pair) -> Pair:
        return height - p[1], p[0]

    if isinstance(item, Path):
        return replace(item, points=tuple(move(p) for p in item.points))
    if isinstance(item, Text):
        return replace(item, at=move(item.at), turn_deg=item.turn_deg + 90.0)
    if isinstance(item, Arc):
        return replace(
            item, centre=move(item.centre), from_deg=item.from_deg + 90.0, to_deg=item.to_deg + 90.0
        )
    return replace(item, centre=move(item.centre))


def tiles(block: Block, *, width: float, height: float) -> list[Tile]:
    """``block`` cut into a grid of overlapping parts, with crosses to lay them together."""
    columns = math.ceil((block.width - OVERLAP) / (width - OVERLAP))
    rows = math.ceil((block.height - OVERLAP) / (height - OVERLAP))
    found = []
    for r in range(rows):
        for c in range(columns):
            left, top = c * (width - OVERLAP), block.height - r * (height - OVERLAP)
            window = (left, top - height, left + width, top)
            words = f"part {r * columns + c + 1} of {rows * columns}: row {r + 1}, column {c + 1}"
            items = [piece for item in block.items for piece in clipped(item, window)]
            crosses = _crosses(block, width=width, height=height, columns=columns, rows=rows, window=window)
            moved = tuple(item.shifted(-left, height - top) for item in (*items, *crosses))
            found.append(Tile(Block(width, height, moved), words))
    return found


def _crosses(
    block: Block,
    *,
    width: float,
    height: float,
    columns: int,
    rows: int,
    window: tuple[float, float, float, float],
) -> list[Item]:
    """Crosses in the middle of each overlap, those inside ``window``."""
    seams_x = [c * (width - OVERLAP) + 0.5 * OVERLAP for c in range(1, columns)]
    seams_y = [block.height - r * (height - OVERLAP) - 0.5 * OVERLAP for r in range(1, rows)]
    spots = [(x, y) for x in seams_x for y in np.linspace(8.0, block.height - 8.0, 4)]
    spots += [(x, y) for y in seams_y for x in np.linspace(8.0, block.width - 8.0, 4)]
    found: list[Item] = []
    for x, y in spots:
        if window[0] + 3.0 <= x <= window[2] - 3.0 and window[1] + 3.0 <= y <= window[3] - 3.0:
            found += [line("GUIDE", (x - 3.0, y), (x + 3.0, y), _CROSS),
                      line("GUIDE", (x, y - 3.0), (x, y + 3.0), _CROSS),
                      Circle("GUIDE", (x, y), 1.6, _CROSS)]  # fmt: skip
    return found


def clipped(item: Item, window: tuple[float, float, float, float]) -> list[Item]:
    """What of ``item`` lies inside ``window``; texts, circles and arcs are kept whole or not at all."""
    if not isinstance(item, Path):
        left, low, right, top = item.box()
        inside = window[0] <= left and window[1] <= low and right <= window[2] and top <= window[3]
        return [item] if inside else []
    half = 0.0 if item.stroke is None else 0.5 * item.stroke.width_mm
    inner = (window[0] + half, window[1] + half, window[2] - half, window[3] - half)
    points = [*item.points, item.points[0]] if item.closed else list(item.points)
    runs: list[list[Pair]] = []
    for a, b in pairwise(points):
        cut = _segment_inside(a, b, inner)
        if cut is None:
            continue
        if runs and runs[-1][-1] == cut[0]:
            runs[-1].append(cut[1])
        else:
            runs.append([*cut])
    return [
        replace(item, points=tuple(run), closed=False, fill=None) for run in runs if item.stroke is not None
    ]


def _segment_inside(a: Pair, b: Pair, window: tuple[float, float, float, float]) -> tuple[Pair, Pair] | None:
    """The part of a segment inside a rectangle: Liang Y-D, Barsky BA 1984 ACM Trans Graph 3:1-22."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    low, high = 0.0, 1.0
    for p, q in (
        (-dx, a[0] - window[0]),
        (dx, window[2] - a[0]),
        (-dy, a[1] - window[1]),
        (dy, window[3] - a[1]),
    ):
        if p == 0.0:
            if q < 0.0:
                return None
            continue
        t = q / p
        low, high = (max(low, t), high) if p < 0.0 else (low, min(high, t))
    if low > high:
        return None
    start = a if low == 0.0 else (a[0] + low * dx, a[1] + low * dy)
    end = b if high == 1.0 else (a[0] + high * dx, a[1] + high * dy)
    return start, end
