"""The chairside card: one page in the order of the visit, the numbers where they are needed, boxes to tick."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from mechanics.sides import SIDES, Side
from viewer.sheets.bench import TWO_ANGLES, bendable
from viewer.sheets.frame import Draft, Room
from viewer.sheets.layout import Cell, bullet, heading, needs_room, panel, paragraph, stacked, table
from viewer.sheets.model import WARN, Block, Stroke
from viewer.sheets.stencil import StencilMarks, stencil_marks
from viewer.sheets.strap_lines import StrapLine, strap_lines
from viewer.words import bend_words, force_words, signed
from viewer.wrench_words import fit_words

if TYPE_CHECKING:
    from casework.plan import Plan, SidePlan

_TRIES = ((6, 2.85), (6, 2.6), (4, 2.45), (3, 2.3), (1, 2.2))  # most warnings, letters in mm
_SIGNED = "Date ____________________   Name ______________________________   Next visit ____________________"
_FOUND = "found:"
STOP_HERE = "Stop here: do not fit from this plan"
Row = tuple[str, tuple[Cell, ...]]


def card_draft(plan: Plan, space: Room) -> Draft:
    """The card, in the largest letters with which it fits one page."""
    tries = [_card(plan, space.width, size=size, most=most) for most, size in _TRIES]
    block = next((b for b in tries if b.height <= space.height), tries[-1])
    needs_room(block, width=space.width, height=space.height, what="the chairside card", paper=space.paper)
    kind = plan.pull_kind.replace("_", " ")
    age = "" if plan.age_years is None else f", age {plan.age_years:g}"
    return Draft("chairside-card", "Chairside card", f"{kind} pull{age}; in the order of the visit", block,
                 warn=len(bendable(plan)) < len(plan.sides))  # fmt: skip


def _card(plan: Plan, width: float, *, size: float, most: int) -> Block:
    sides = [(side, plan.sides[side]) for side in SIDES if side in plan.sides]
    widths = [7.0, width - 7.0 - 46.0 * len(sides), *[46.0] * len(sides)]
    head = ("", "", *(f"{side} {s.tooth}" for side, s in sides))
    blocks: list[Block] = _mind(plan, width, size=size, most=most)
    for title, rows in _parts(plan, sides):
        cells = [[Cell("" if text.startswith(_FOUND) else "☐"), Cell(text), *values] for text, values in rows]
        blocks.append(
            stacked([heading(title, width, size=3.2), table(head, cells, widths, size=size)], gap=0.6)
        )
        head = ("", "", *("" for _ in sides))
    note = [paragraph(TWO_ANGLES, width, size=2.2)] if plan.bendable else []
    return stacked([*blocks, *note, paragraph(_SIGNED, width)], gap=2.6)


def _mind(plan: Plan, width: float, *, size: float, most: int) -> list[Block]:
    """The plan's warnings, the first ``most`` of them."""
    words = [*plan.refusals, *plan.warnings]
    if not words:
        return []
    shown = [bullet(w, width - 3.2, size=size, colour=WARN) for w in words[: max(most, len(plan.refusals))]]
    if len(words) > len(shown):
        more = f"and {len(words) - len(shown)} more: read the report before the visit."
        shown.append(bullet(more, width - 3.2, size=size, bold=True, colour=WARN))
    return [panel(stacked(shown, gap=0.5), pad=1.6, stroke=Stroke(WARN, 0.3))]


def _parts(plan: Plan, sides: Sequence[tuple[Side, SidePlan]]) -> list[tuple[str, list[Row]]]:
    marks = {side: stencil_marks(s, np.asarray(plan.treatment_rotation)) for side, s in sides}
    return [
        ("Before", _before(sides)),
        ("Tubes, inner bow, marks", _tubes(plan, sides, marks)),
        ("Outer bow", _outer(plan, sides)),
        ("Straps on", _straps(plan, sides, marks)),
        ("Safety, every visit, and record it", _safety(plan, sides)),
    ]


def _same(sides: Sequence[object], text: str = "") -> tuple[Cell, ...]:
    return tuple(Cell(text) for _ in sides)


def _before(sides: Sequence[tuple[Side, SidePlan]]) -> list[Row]:
    return [
        ("Name, case and sides of plan and patient agree; check bars measured; warnings read", _same(sides)),
        ("Bands and tubes firm, tubes clear, tube locks or ties at hand", _same(sides)),
    ]


def _tubes(plan: Plan, sides: Sequence[tuple[Side, SidePlan]], marks: dict[Side, StencilMarks]) -> list[Row]:
    force = plan.insertion_force_n or {}
    fits = tuple(
        Cell(fit_words(s.fit) + ("" if side not in force else f"; {force_words(force[side])} to insert"))
        for side, s in sides
    )
    dots = tuple(
        Cell(f"{signed(marks[side].dot[1])} up, {signed(marks[side].dot[0])} back", bold=True)
        for side, _ in sides
    )
    return [
        ("Inner bow goes in and out without force, one side first; as planned:", fits),
        ("Mark the cheek through the stencil: dot from the mark, mm", dots),
    ]


def _outer(plan: Plan, sides: Sequence[tuple[Side, SidePlan]]) -> list[Row]:
    allowed = bendable(plan)

    def cell(side: Side, text: str) -> Cell:
        return (
            Cell(text, bold=True)
            if side in allowed
            else Cell("do not bend from this plan", bold=True, colour=WARN)
        )

    return [
        ("Outer arm as long as planned, along the wire from the middle",
         tuple(Cell(f"{s.arm_length_mm:.0f} mm") for _, s in sides)),
        ("Bend, at this place from the middle",
         tuple(cell(side, f"{bend_words(s.bend_deg)} at {s.bend_place_mm:.0f} mm") for side, s in sides)),
        ("Under the plier go to (it springs back); compare with the bench template",
         tuple(cell(side, f"{abs(s.bench.plier_deg):.1f}°") for side, s in sides)),
        ("Bow leaves the mouth at the corners without lifting or lowering the lip",
         tuple(_leaving(plan, side) for side, _ in sides)),
        ("Arms near the skin, touching nowhere", tuple(_skin(s) for _, s in sides)),
    ]  # fmt: skip


def _leaving(plan: Plan, side: Side) -> Cell:
    """The planned height over the mouth corner, and in capitals what it does to the lip where the plan warns of it."""
    found = {} if plan.clearance is None else plan.clearance.exits
    if side not in found:
        return Cell("planned height not known")
    for does in ("lifts", "lowers"):
        if any(f"({side})" in w and f"{does} the lip" in w for w in plan.warnings):
            return Cell(f"{does.upper()}: {_height(found[side].above_mm)}", bold=True, colour=WARN)
    return Cell(f"planned {_height(found[side].above_mm)}")


def _height(above_mm: float) -> str:
    return f"{abs(above_mm):.1f} mm {'above' if above_mm >= 0.0 else 'below'} it"


def _skin(s: SidePlan) -> Cell:
    if s.skin_mm is None:
        return Cell("planned distance not known")
    if s.skin_mm <= 0.0:
        return Cell("lies IN the skin", bold=True, colour=WARN)
    return Cell(f"planned {s.skin_mm:.1f} mm at the nearest")


def _straps(plan: Plan, sides: Sequence[tuple[Side, SidePlan]], marks: dict[Side, StencilMarks]) -> list[Row]:
    if not plan.bendable:
        return [(STOP_HERE, tuple(Cell("do not hook up", bold=True, colour=WARN) for _ in sides))]

    def hook(side: Side) -> str:
        return f"{signed(marks[side].hook[1])} up, {signed(marks[side].hook[0])} back"

    blank = tuple(Cell(blank=True) for _ in sides)
    return [
        ("Both sides hooked at the same moment, through the release modules", _same(sides)),
        *_each_strap(plan, [side for side, _ in sides]),
        ("Hook from the mark, mm", tuple(Cell(hook(side)) for side, _ in sides)),
        (f"{_FOUND} up and back, mm", blank),
        (f"{_over_dot(plan)}; lips close, no pain, nothing presses", _same(sides)),
    ]


def _each_strap(plan: Plan, sides: Sequence[Side]) -> list[Row]:
    """Force and angle of every strap, each with a line for what is found; both together where there are two."""
    pulls = {side: strap_lines(plan, side) for side in sides}
    blank = tuple(Cell(blank=True) for _ in sides)
    rows: list[Row] = []
    for k in range(max(len(p) for p in pulls.values())):
        lines = [pulls[side][k] if k < len(pulls[side]) else None for side in sides]
        name = next(found.name for found in lines if found is not None)
        forces = tuple(Cell("" if n is None else force_words(n.force_n), bold=True) for n in lines)
        angles = tuple(Cell("" if n is None else _angle(n.rise_deg)) for n in lines)
        rows += [
            (f"{name}: force by gauge, set to", forces),
            (f"{_FOUND} N or gf", blank),
            (f"{name}: to the occlusal plane", angles),
            (f"{_FOUND} °", blank),
        ]
    return [*rows, *_together(plan, pulls)]


def _together(plan: Plan, pulls: Mapping[Side, Sequence[StrapLine]]) -> list[Row]:
    """The resultant of two straps: not to be measured, it is what the hook and the molar feel."""
    if all(len(p) < 2 for p in pulls.values()):
        return []
    cells = []
    for side in pulls:
        s = plan.sides[side]
        way = np.asarray(plan.treatment_rotation) @ s.strap_direction
        cells.append(
            Cell(f"{force_words(s.strap_force_n)}, {_angle(float(np.degrees(np.arctan2(way[2], way[1]))))}")
        )
    return [("Both straps together (what the hook feels; not to be measured)", tuple(cells))]


def _over_dot(plan: Plan) -> str:
    if plan.pull_kind == "combination":
        return "Neither strap alone runs over the dot, their common pull does: hook, forces and angles as planned"
    return "Line of the strap runs over the dot"


def _angle(rise_deg: float) -> str:
    if abs(rise_deg) < 0.5:
        return "level, toward the back"
    return f"{abs(rise_deg):.0f}° {'down' if rise_deg < 0.0 else 'up'} toward the back"


def _safety(plan: Plan, sides: Sequence[tuple[Side, SidePlan]]) -> list[Row]:
    handed = "Wearing sheet filled in and handed over; hours a day: ________"
    return [
        ("Release module pulled by hand: it lets go; slots and clips whole", _same(sides)),
        ("Bow held in its tubes by a means of its own: it cannot be pulled out by hand", _same(sides)),
        ("Patient shows: strap off BEFORE the bow; in and out without help", _same(sides)),
        (
            "Patient and parent can say: never pulled; no play, no sport; loose at night: stop, phone; eye: emergency",
            _same(sides),
        ),
        (handed if plan.bendable else "The wearing sheet is NOT handed out with this plan", _same(sides)),
    ]
