"""What every sheet carries around its drawing: title, case, check bars, cautions; and the room left for the rest."""

from __future__ import annotations

from dataclasses import dataclass

from casework.cautions import CAUTIONS, SHORT_CAUTION
from viewer.sheets.layout import SMALL, paragraph, stacked
from viewer.sheets.model import INK, SOFT, WARN, Block, Item, Paper, PaperError, Sheet, Stroke, Text, line

MARGIN = 12.0
INCH = 25.4
_HEAD = 15.5
_BAR = Stroke(INK, 0.3)
_FINE = 1.95
CHECK_WORDS = (
    "Check the print: measure the three bars with a ruler. Use this sheet only if they are 100 mm, 4 inches and 100 "
    "mm; if not, print again at 100 % (“actual size”, no “fit to page”)."
)


@dataclass(frozen=True)
class Room:
    """Where a sheet's content goes: left and lower edge, width and height, mm."""

    left: float
    low: float
    width: float
    height: float
    paper: str

    @property
    def top(self) -> float:
        """Upper edge, mm."""
        return self.low + self.height


@dataclass(frozen=True)
class Draft:
    """A sheet before it is numbered: its content as a block no larger than the room."""

    name: str
    title: str
    purpose: str
    content: Block
    warn: bool = False


def room(paper: Paper) -> Room:
    """The room between head and foot; raises PaperError when the paper holds no check bars."""
    foot = _foot(paper.width - 2.0 * MARGIN).height
    low = MARGIN - 2.0 + foot + 3.0
    found = Room(
        MARGIN, low, paper.width - 2.0 * MARGIN, paper.height - MARGIN + 2.0 - _HEAD - low, paper.name
    )
    if found.width < 4.0 * INCH + 60.0 or found.height < 110.0:
        raise PaperError(
            f"paper {paper.name} ({paper.width:g} x {paper.height:g} mm) is too small for a sheet with its check bars "
            "and cautions: print on A4 or Letter."
        )
    return found


def sheet(draft: Draft, paper: Paper, *, case_id: str, version: str, number: int, of: int) -> Sheet:
    """The finished page."""
    space = room(paper)
    head = _head(draft, paper, case_id=case_id, version=version, number=number, of=of)
    foot = _foot(space.width).placed(MARGIN, MARGIN - 2.0)
    body = draft.content.placed(space.left, space.top - draft.content.height)
    upright = _upright_bar(paper.width - 5.0, space.low + 0.5 * space.height - 50.0)
    return Sheet(draft.name, draft.title, paper, (*head, *body, *foot, *upright))


def _head(draft: Draft, paper: Paper, *, case_id: str, version: str, number: int, of: int) -> list[Item]:
    top, right = paper.height - MARGIN + 2.0, paper.width - MARGIN
    return [
        Text("TEXT", (MARGIN, top - 5.2), draft.title, 6.0, bold=True, colour=WARN if draft.warn else INK),
        Text("TEXT", (MARGIN, top - 10.0), draft.purpose, SMALL + 0.2, colour=SOFT),
        Text("TEXT", (right, top - 4.6), f"Case {case_id}", 3.4, "end", bold=True),
        Text(
            "TEXT",
            (right, top - 10.0),
            f"sheet {number} of {of} · bowtrue {version}",
            SMALL,
            "end",
            colour=SOFT,
        ),
        line("TEXT", (MARGIN, top - 12.2), (right, top - 12.2), Stroke(INK, 0.5)),
    ]


def _foot(width: float) -> Block:
    """Check bars over the short caution and all cautions in small print."""
    fine = paragraph(" ".join(f"{k + 1}) {c.text}" for k, c in enumerate(CAUTIONS)), width, size=_FINE, colour=SOFT,
                     layer="CAUTION")  # fmt: skip
    short = paragraph(SHORT_CAUTION, width, size=2.45, bold=True, colour=WARN, layer="CAUTION")
    return stacked([_bars(width), short, fine], gap=1.1)


def _bars(width: float) -> Block:
    bars = [*_bar(100.0, 10.0, "100 mm", y=9.6), *_bar(4.0 * INCH, 0.5 * INCH, "4 inches", y=3.4)]
    words = paragraph(CHECK_WORDS, width - 4.0 * INCH - 24.0, size=2.3, colour=INK, layer="CHECK")
    return Block(width, 13.0, (*bars, *words.placed(4.0 * INCH + 24.0, 12.6 - words.height)))


def _bar(length: float, step: float, name: str, *, y: float) -> list[Item]:
    """A level bar from x = 0 with end marks and a tick each ``step``."""
    ticks = [
        line("CHECK", (k * step, y - 0.9), (k * step, y + 0.9), _BAR) for k in range(1, round(length / step))
    ]
    ends = [line("CHECK", (x, y - 1.9), (x, y + 1.9), _BAR) for x in (0.0, length)]
    middle = line("CHECK", (0.0, y), (length, y), _BAR)
    return [middle, *ends, *ticks, Text("CHECK", (length + 2.0, y - 1.0), name, 2.8, bold=True)]


def _upright_bar(x: float, y: float) -> list[Item]:
    ticks = [line("CHECK", (x - 0.9, y + 10.0 * k), (x + 0.9, y + 10.0 * k), _BAR) for k in range(1, 10)]
    ends = [line("CHECK", (x - 1.9, v), (x + 1.9, v), _BAR) for v in (y, y + 100.0)]
    name = Text("CHECK", (x + 1.0, y + 102.0), "100 mm", 2.8, bold=True, turn_deg=90.0)
    return [line("CHECK", (x, y), (x, y + 100.0), _BAR), *ends, *ticks, name]
