"""The bow at the bench, 1:1, from above and from either side, to lay the bow on: as it is and bent, with no strap.

Drawn in the bench frame: the inner bow lies on a plane. From above the front is up on the page; from the right the
patient's front is to the reader's right, from the left to the left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from casework.bench_distances import BenchFrame
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array
from viewer.palette import look
from viewer.sheets.model import (
    INK,
    SOFT,
    WARN,
    Block,
    Circle,
    Item,
    Layer,
    Pair,
    Path,
    Stroke,
    Text,
    extent,
    line,
)
from viewer.words import bend_words

if TYPE_CHECKING:
    from casework.plan import Plan, SidePlan
    from mechanics.bow.wire import BowWire

Where = Literal["above", "right", "left"]
_ACROSS: dict[Where, tuple[tuple[float, float, float], tuple[float, float, float]]] = {
    "above": ((-1.0, 0.0, 0.0), (0.0, -1.0, 0.0)),
    "right": ((0.0, -1.0, 0.0), (0.0, 0.0, 1.0)),
    "left": ((0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
}
_TITLES: dict[Where, str] = {
    "above": "From above",
    "right": "Right arm, from the right",
    "left": "Left arm, from the left",
}
_BENT, _BEFORE = look("bow_bench"), Stroke(look("bow_before").text, 0.35, (1.6, 1.0))
_WIRE, _INNER = "#B9DDF2", "#D8DEE6"  # the wires at their true thickness
_SPACING_MM = 0.5


@dataclass(frozen=True, eq=False)
class BenchDrawing:
    """What is drawn: the plan, the frame, and the sides whose bend may be made."""

    plan: Plan
    frame: BenchFrame
    reached: tuple[Side, ...]

    def flat(self, points: Array, where: Where) -> Array:
        """Points (n, 3), LPS, on the page (n, 2) seen from ``where``."""
        right, up = (np.array(v) for v in _ACROSS[where])
        laid = self.frame.laid(points)
        return np.stack([laid @ right, laid @ up], axis=-1)

    def spot(self, point: Array, where: Where) -> Pair:
        """One point on the page."""
        x, y = self.flat(np.asarray(point)[None], where)[0]
        return float(x), float(y)


def bench_view(drawing: BenchDrawing, where: Where) -> Block:
    """One view with its names, as a block just large enough."""
    sides: tuple[Side, ...] = SIDES if where == "above" else (where,)
    items = [*_plane(drawing, where), *_wires(drawing, where, sides)]
    if where == "above":
        items += _middle(drawing)
    for side in sides:
        items += _bend_and_hook(drawing, where, side)
    low = extent(items)
    items.append(Text("TEXT", (low[0] + 1.0, low[3] + 4.5), _TITLES[where], 3.4, bold=True))
    items += _directions(where, extent(items))
    box = extent(items)
    shifted = tuple(item.shifted(2.0 - box[0], 2.0 - box[1]) for item in items)
    return Block(box[2] - box[0] + 4.0, box[3] - box[1] + 4.0, shifted)


def _wires(drawing: BenchDrawing, where: Where, sides: Sequence[Side]) -> list[Item]:
    """Inner bow, the bent outer arms at their true thickness, the arms as they were dashed."""
    plan, items = drawing.plan, list[Item]()
    for side in sides:
        items.append(
            _wire(
                drawing.flat(_half(plan.bow_bench, "inner", side), where),
                _INNER,
                plan.bow_bench.inner.diameter_mm[0],
                "BOW_BENCH",
            )
        )
        before = drawing.flat(_half(plan.bow_before, "outer", side), where)
        if side in drawing.reached:
            bent = drawing.flat(_half(plan.bow_bench, "outer", side), where)
            thick = float(plan.bow_bench.outer.diameter_mm[0])
            items += [
                _wire(bent, _WIRE, thick, "BOW_BENCH"),
                _thin(bent, Stroke(_BENT.text, 0.2), "BOW_BENCH"),
            ]
        items.append(_thin(before, _BEFORE, "BOW_BEFORE"))
    return items


def _half(bow: BowWire, part: Literal["inner", "outer"], side: Side) -> Array:
    """Points (n, 3) of one half of a wire from the joint's middle on, evenly spaced."""
    wire = bow.inner if part == "inner" else bow.outer
    middle = bow.joint.inner_middle_mm if part == "inner" else bow.joint.outer_middle_mm
    end = 0.0 if side == "right" else wire.length_mm
    return wire.at(np.linspace(middle, end, max(2, int(abs(end - middle) / _SPACING_MM))))


def _wire(flat: Array, colour: str, diameter: float, layer: Layer) -> Path:
    return _thin(flat, Stroke(colour, float(diameter)), layer)


def _thin(flat: Array, stroke: Stroke, layer: Layer) -> Path:
    return Path(layer, tuple((float(x), float(y)) for x, y in flat), stroke)


def _middle(drawing: BenchDrawing) -> list[Item]:
    """The middle of the joint, from which places along the wire are measured."""
    bow = drawing.plan.bow_bench
    x, y = drawing.spot(bow.outer.at(bow.joint.outer_middle_mm), "above")
    return [line("GUIDE", (x, y - 3.0), (x, y + 3.0), Stroke(INK, 0.3)),
            Text("GUIDE", (x, y + 4.0), "middle", 2.3, "middle", colour=SOFT)]  # fmt: skip


def _bend_and_hook(drawing: BenchDrawing, where: Where, side: Side) -> list[Item]:
    """The bend's place across the wire with its order, and the hook's end as it is and bent."""
    plan, s = drawing.plan, drawing.plan.sides[side]
    outward = {"above": 1.0 if side == "right" else -1.0, "right": 1.0, "left": -1.0}[where]
    start = drawing.spot(plan.bow_before.hook_mm[side], where)
    items: list[Item] = [Circle("HOOK", start, 1.0, Stroke(SOFT, 0.3))]
    if side not in drawing.reached:
        return [*items, *_refused(s, start, where)]
    end = drawing.spot(plan.bow_bench.hook_mm[side], where)
    items.append(Circle("HOOK", end, 1.0, Stroke(_BENT.text, 0.35)))
    if where != "above":
        items += _height(drawing, end, side)
    return [*items, *_bend(drawing, s, where, outward)]


def _bend(drawing: BenchDrawing, s: SidePlan, where: Where, outward: float) -> list[Item]:
    """A stroke across the wire at the bend, and the words beside it."""
    bow = drawing.plan.bow_bench
    place = bow.outer_s_mm(s.side, s.bend_place_mm)
    x, y = drawing.flat(bow.outer.at([place]), where)[0]
    along = drawing.flat(bow.outer.at([place - 2.0, place + 2.0]), where)
    way = (along[1] - along[0]) / np.linalg.norm(along[1] - along[0])
    across = 4.0 * np.array([-way[1], way[0]])
    words = (
        f"bend {bend_words(s.bend_deg)}" if abs(s.bend_deg) >= 0.05 else "no bend",
        f"to {abs(s.bench.plier_deg):.1f}° under the plier",
        f"{s.bend_place_mm:.0f} mm from the middle",
    )
    mark = line("BEND", (float(x - across[0]), float(y - across[1])), (float(x + across[0]), float(y + across[1])),
                Stroke(INK, 0.5))  # fmt: skip
    at = (float(x) + 6.0 * outward, float(y)) if where == "above" else (float(x), float(y) - 9.0)
    anchor: Literal["start", "middle", "end"] = "middle"
    if where == "above":
        anchor = "start" if outward > 0.0 else "end"
    rows = [
        Text("BEND", (at[0], at[1] - 3.4 * k), row, 2.6, anchor, bold=k == 0) for k, row in enumerate(words)
    ]
    return [mark, *rows]


def _height(drawing: BenchDrawing, hook: Pair, side: Side) -> list[Item]:
    """The hook's height over the plane, as a dimension behind the hook."""
    back = -1.0 if side == "right" else 1.0
    x = hook[0] + 5.0 * back
    thin = Stroke(SOFT, 0.2)
    anchor: Literal["start", "end"] = "end" if side == "right" else "start"
    return [
        line("GUIDE", (x, 0.0), (x, hook[1]), thin),
        line("GUIDE", (x - 1.0, 0.0), (x + 1.0, 0.0), thin),
        line("GUIDE", (x - 1.0, hook[1]), (x + 1.0, hook[1]), thin),
        line("GUIDE", (x, hook[1]), (hook[0] + 1.2 * back, hook[1]), thin),
        Text("GUIDE", (x + 1.2 * back, 0.5 * hook[1] - 0.9), f"{hook[1]:.1f}", 2.6, anchor, bold=True),
    ]


def _refused(s: SidePlan, hook: Pair, where: Where) -> list[Item]:
    words = (f"{s.side} arm: do not bend", "from this plan")
    x, y = hook[0], hook[1] + (-7.0 if where == "above" else 11.0)
    return [
        Text("BEND", (x, y - 4.0 * k), row, 2.8, "middle", bold=True, colour=WARN)
        for k, row in enumerate(words)
    ]


def _plane(drawing: BenchDrawing, where: Where) -> list[Item]:
    """The plane on which the inner bow lies, as a line in the views from the side."""
    if where == "above":
        return []
    plan, side = drawing.plan, where
    points = np.concatenate([_half(plan.bow_bench, "outer", side), _half(plan.bow_before, "outer", side)])
    x = drawing.flat(points, where)[:, 0]
    return [
        line("GUIDE", (float(x.min()) - 8.0, 0.0), (float(x.max()) + 8.0, 0.0), Stroke(INK, 0.25, (4.0, 1.0)))
    ]


def _directions(where: Where, box: tuple[float, float, float, float]) -> list[Item]:
    """Which way is which: small words at the block's foot."""
    y = box[1] - 3.6
    if where == "above":
        return [Text("TEXT", (box[0], y), "patient’s left", 2.3, colour=SOFT),
                Text("TEXT", (box[2], y), "patient’s right", 2.3, "end", colour=SOFT)]  # fmt: skip
    front, back = ("end", "start") if where == "right" else ("start", "end")
    ahead, behind = (box[2], box[0]) if where == "right" else (box[0], box[2])
    arrow = "front →" if where == "right" else "← front"
    return [Text("TEXT", (ahead, y), arrow, 2.3, front, colour=SOFT),  # type: ignore[arg-type]
            Text("TEXT", (behind, y), "dashed line: the plane under the inner bow", 2.3, back, colour=SOFT)]  # type: ignore[arg-type] # fmt: skip
