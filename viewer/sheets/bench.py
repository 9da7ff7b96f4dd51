"""The bench sheets: template to lay the bow on, bends in order, distances to check with a ruler."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from casework.bench_distances import BenchFrame, RulerDistance, bench_frame, ruler_distances
from mechanics.sides import SIDES, Side
from viewer.report_details import bench_tables
from viewer.sheets.bench_views import BenchDrawing, Where, bench_view
from viewer.sheets.frame import Draft, Room
from viewer.sheets.layout import SMALL, Cell, bullet, heading, needs_room, paragraph, stacked, table
from viewer.sheets.model import WARN, Block
from viewer.sheets.tiling import pages_of

if TYPE_CHECKING:
    from casework.plan import Plan

_ORDER = (
    "Place and feed run along the outer wire; the first feed starts at the middle of the joint. Way and turn as seen "
    "from behind: 0° up, 90° outward. Bend until the wire under the plier stands at the last angle; let go, and it "
    "springs back to the one before. Round-beaked plier; bend a place once only, worked wire hardens."
)
_ON_BLOCK = (
    "The arms hang below the inner bow: lay it on a flat block that fits between the arms, and count heights from the "
    "top of the block, minus below it."
)
_TOO_FAR = (
    "More than 1 mm off at a hook: look at bend place and angle again before the bow goes to the patient."
)
TWO_ANGLES = (
    "Two angles, one bend: card and template give it as seen from the side; the bench list’s “angle” is that between "
    "the wire before and behind the bend, another number where the arm also runs outward."
)
_VIEWS: tuple[Where, ...] = ("above", "right", "left")


def bendable(plan: Plan) -> tuple[Side, ...]:
    """The sides whose bend may be made at the bench: all of a sound plan, none of another, for they share one bow."""
    return tuple(side for side in SIDES if side in plan.sides) if plan.bendable else ()


def bench_drafts(plan: Plan, space: Room) -> list[Draft]:
    """Template pages, then the list."""
    frame = bench_frame(plan.bow_bench, plan.treatment_rotation)
    drawing = BenchDrawing(plan, frame, bendable(plan))
    views = [bench_view(drawing, where) for where in _VIEWS]
    note = [paragraph(TWO_ANGLES, space.width, size=2.3)] if drawing.reached else []
    pages = pages_of(views, width=space.width, height=space.height - sum(n.height + 1.0 for n in note))
    refused = len(drawing.reached) < len(plan.sides)
    found = []
    for k, page in enumerate(pages):
        number = "" if len(pages) == 1 else f"-{k + 1}"
        words = (
            page.words
            or "blue: bench shape, no strap; dashed: the bow as it is; grey: inner bow; 1:1 to lay the bow on"
        )
        block = stacked([page.block, *note], gap=1.0)
        found.append(Draft(f"bench-template{number}", "Bench template", words, block, warn=refused))
    return [*found, _list_draft(plan, frame, drawing.reached, space)]


def _list_draft(plan: Plan, frame: BenchFrame, reached: Sequence[Side], space: Room) -> Draft:
    blocks = [*_refusals(plan, space.width), *_bends(plan, reached, space.width)]
    blocks.append(_distances(plan, frame, reached, space.width))
    block = needs_room(
        stacked(blocks, gap=3.4),
        width=space.width,
        height=space.height,
        what="the bench list",
        paper=space.paper,
    )
    return Draft("bench-list", "Bench list", "the bends in order, and what a ruler must find with no strap on", block,
                 warn=len(reached) < len(plan.sides))  # fmt: skip


def _refusals(plan: Plan, width: float) -> list[Block]:
    return [paragraph(why, width, bold=True, colour=WARN) for why in plan.refusals]


def _bends(plan: Plan, reached: Sequence[Side], width: float) -> list[Block]:
    """The bends of each arm; nothing where none may be made."""
    if not reached:
        return []
    blocks: list[Block] = [heading("Bends, in this order", width)]
    head = ("done", "arm", "bend", "place from the middle", "feed", "way", "turn", "angle", "under the plier")
    widths = [11.0, 14.0, 11.0, 30.0, 18.0, 28.0, 16.0, 20.0, width - 148.0]
    rows, notes = [], list[str]()
    for arm in bench_tables([(side, plan.sides[side]) for side in reached]):
        for row in arm["rows"]:
            cells = [row[k] for k in ("place", "feed", "way", "turn")]
            rows.append([Cell("☐"), Cell(arm["name"], bold=True), Cell(f"{row['number']}"), *map(Cell, cells),
                         Cell(row["angle"], bold=True), Cell(row["plier"], bold=True)])  # fmt: skip
        notes += [f"{arm['name'].capitalize()}: {note}" for note in arm["notes"]]
    if rows:
        blocks.append(table(head, rows, widths))
    if notes:
        blocks.append(stacked([bullet(note, width, size=SMALL) for note in notes], gap=0.8))
    if rows:
        blocks += [paragraph(words, width, size=SMALL) for words in (_ORDER, TWO_ANGLES)]
    return blocks


def _distances(plan: Plan, frame: BenchFrame, reached: Sequence[Side], width: float) -> Block:
    """Distances before and after, with a line for what is found."""
    head = ("ok", "distance, mm", "side", "as it is", "bent", "found")
    widths = [9.0, width - 121.0, 22.0, 26.0, 26.0, 38.0]
    rows = [_distance_row(d, reached) for d in ruler_distances(plan, frame)]
    rest = "The inner bow lies flat on a table." if frame.on_table else _ON_BLOCK
    words = f"{rest} Hooks and ends are the middles of the wire’s ends; the inner bow ends at the back of its tubes."
    return stacked([
        heading("Check with a ruler, no strap on", width),
        table(head, rows, widths),
        paragraph(words, width, size=SMALL),
        paragraph(_TOO_FAR, width, size=SMALL),
    ])  # fmt: skip


def _distance_row(d: RulerDistance, reached: Sequence[Side]) -> list[Cell]:
    known = len(reached) == len(SIDES) if d.side is None else d.side in reached
    unchanged = d.name.startswith("Inner bow")
    bent = _mm(d.bench_mm) if known or unchanged else "do not bend"
    looks = Cell(bent, bold=True) if known or unchanged else Cell(bent, bold=True, colour=WARN)
    return [Cell("☐"), Cell(d.name), Cell(d.side or "both"), Cell(_mm(d.before_mm)), looks, Cell(blank=True)]


def _mm(value: float) -> str:
    return f"{value:.1f}".replace("-", "\N{MINUS SIGN}")
