"""The page as a typed model: a frozen list of lines, paths, circles, arcs and texts in mm, one to one.

Frame of a page: mm from its lower left corner, x to the right, y up. A ``Block`` is a group of items not yet placed;
its origin is its own lower left corner. Every item carries a ``layer``: a layer in DXF, a group in SVG.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

from mesh_tools.errors import BadValueError
from viewer.sheets.fonts import DESCENT, RISE, text_width_mm

Pair = tuple[float, float]
Anchor = Literal["start", "middle", "end"]
Layer = Literal[
    "CHECK", "TEXT", "TABLE", "CAUTION", "CUT", "GUIDE", "MARK", "TARGET", "RULE", "LINE_OF_FORCE", "HOOK",
    "BOW_BEFORE", "BOW_BENCH", "BEND",
]  # fmt: skip
LAYERS: tuple[Layer, ...] = (
    "CHECK", "TEXT", "TABLE", "CAUTION", "CUT", "GUIDE", "MARK", "TARGET", "RULE", "LINE_OF_FORCE", "HOOK",
    "BOW_BEFORE", "BOW_BENCH", "BEND",
)  # fmt: skip

INK, SOFT, FAINT, WARN = "#111827", "#475569", "#CBD5E1", "#9A3412"


@dataclass(frozen=True)
class Stroke:
    """How a line is drawn: colour ``#rrggbb``, width in mm, dashes as lengths of line and gap in mm."""

    colour: str = INK
    width_mm: float = 0.25
    dash_mm: Pair | None = None


@dataclass(frozen=True)
class Path:
    """A polyline through ``points``; ``closed`` joins its ends; ``fill`` colours what it encloses."""

    layer: Layer
    points: tuple[Pair, ...]
    stroke: Stroke | None = Stroke()
    closed: bool = False
    fill: str | None = None

    def shifted(self, dx: float, dy: float) -> Path:
        """The path moved."""
        return replace(self, points=tuple((x + dx, y + dy) for x, y in self.points))

    def box(self) -> tuple[float, float, float, float]:
        """Left, lower, right and upper edge with half the line's width, mm."""
        half = 0.0 if self.stroke is None else 0.5 * self.stroke.width_mm
        xs, ys = [p[0] for p in self.points], [p[1] for p in self.points]
        return min(xs) - half, min(ys) - half, max(xs) + half, max(ys) + half


@dataclass(frozen=True)
class Circle:
    """A circle about ``centre``."""

    layer: Layer
    centre: Pair
    radius: float
    stroke: Stroke | None = Stroke()
    fill: str | None = None

    def shifted(self, dx: float, dy: float) -> Circle:
        """The circle moved."""
        return replace(self, centre=(self.centre[0] + dx, self.centre[1] + dy))

    def box(self) -> tuple[float, float, float, float]:
        """Left, lower, right and upper edge, mm."""
        r = self.radius + (0.0 if self.stroke is None else 0.5 * self.stroke.width_mm)
        x, y = self.centre
        return x - r, y - r, x + r, y + r


@dataclass(frozen=True)
class Arc:
    """Part of a circle, counterclockwise from ``from_deg`` to ``to_deg`` (0 to the right, 90 up)."""

    layer: Layer
    centre: Pair
    radius: float
    from_deg: float
    to_deg: float
    stroke: Stroke = Stroke()

    def shifted(self, dx: float, dy: float) -> Arc:
        """The arc moved."""
        return replace(self, centre=(self.centre[0] + dx, self.centre[1] + dy))

    def box(self) -> tuple[float, float, float, float]:
        """Edges of the whole circle, mm: never less than the arc's."""
        x, y, r = *self.centre, self.radius
        return x - r, y - r, x + r, y + r


@dataclass(frozen=True)
class Text:
    """One line of text: ``at`` is the foot of its first, middle or last letter; ``size_mm`` the height of its em;
    ``turn_deg`` turns it counterclockwise about ``at``."""

    layer: Layer
    at: Pair
    text: str
    size_mm: float = 3.0
    anchor: Anchor = "start"
    bold: bool = False
    colour: str = INK
    turn_deg: float = 0.0

    def shifted(self, dx: float, dy: float) -> Text:
        """The text moved."""
        return replace(self, at=(self.at[0] + dx, self.at[1] + dy))

    @property
    def width_mm(self) -> float:
        """How long the text runs."""
        return text_width_mm(self.text, size_mm=self.size_mm, bold=self.bold)

    def box(self) -> tuple[float, float, float, float]:
        """Left, lower, right and upper edge, mm."""
        before = {"start": 0.0, "middle": 0.5, "end": 1.0}[self.anchor] * self.width_mm
        c, s = math.cos(math.radians(self.turn_deg)), math.sin(math.radians(self.turn_deg))
        corners = [
            (self.at[0] + c * u - s * v, self.at[1] + s * u + c * v)
            for u in (-before, self.width_mm - before)
            for v in (-DESCENT * self.size_mm, RISE * self.size_mm)
        ]
        xs, ys = [p[0] for p in corners], [p[1] for p in corners]
        return min(xs), min(ys), max(xs), max(ys)


Item = Path | Circle | Arc | Text


def line(layer: Layer, start: Pair, end: Pair, stroke: Stroke | None = None) -> Path:
    """A straight line."""
    return Path(layer, (start, end), Stroke() if stroke is None else stroke)


def rectangle(layer: Layer, corner: Pair, size: Pair, stroke: Stroke | None, fill: str | None = None) -> Path:
    """A rectangle from its lower left ``corner``."""
    (x, y), (w, h) = corner, size
    return Path(layer, ((x, y), (x + w, y), (x + w, y + h), (x, y + h)), stroke, closed=True, fill=fill)


@dataclass(frozen=True)
class Block:
    """Items in a box of ``width`` by ``height`` mm, not yet placed on a page."""

    width: float
    height: float
    items: tuple[Item, ...]

    def placed(self, x: float, y: float) -> tuple[Item, ...]:
        """The items with the box's lower left corner at (x, y)."""
        return tuple(item.shifted(x, y) for item in self.items)


@dataclass(frozen=True)
class Paper:
    """A paper's name and size in mm."""

    name: str
    width: float
    height: float


# ISO 216:2007, A series; ANSI/ASME Y14.1 size A (8.5 by 11 inches).
PAPERS = {"a4": Paper("A4", 210.0, 297.0), "letter": Paper("Letter", 215.9, 279.4)}


@dataclass(frozen=True)
class Sheet:
    """One page: ``name`` is a word for file names, ``title`` for people."""

    name: str
    title: str
    paper: Paper
    items: tuple[Item, ...]


class PaperError(BadValueError):
    """A paper that is not known, or a drawing that does not fit on it."""


def paper_named(name: str) -> Paper:
    """The paper called ``name``, upper or lower case; raises PaperError."""
    found = PAPERS.get(name.lower())
    if found is None:
        known = " or ".join(PAPERS)
        raise PaperError(f"paper must be {known}; got {name[:40]!r}.")
    return found


def extent(items: Iterable[Item]) -> tuple[float, float, float, float]:
    """Left, lower, right and upper edge of all ``items``, mm."""
    boxes = [item.box() for item in items]
    return (
        min(b[0] for b in boxes), min(b[1] for b in boxes), max(b[2] for b in boxes), max(b[3] for b in boxes)
    )  # fmt: skip
