"""The cheek stencil of one side, 1:1: cut out, laid on the cheek with its mark on the bow's mark.

Drawn as it lies on the patient: on the right cheek the patient's front is to the reader's right, on the left cheek to
the left. Its own coordinates are mm forward on the page (x) and up (y) from the mark, the mesial end of the tube.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from mesh_tools.arrays import Array
from viewer.palette import look
from viewer.sheets.fonts import wrapped
from viewer.sheets.frame import Draft, Room
from viewer.sheets.layout import (
    SMALL,
    Cell,
    abreast,
    heading,
    needs_room,
    numbered,
    paragraph,
    stacked,
    table,
)
from viewer.sheets.model import (
    FAINT,
    INK,
    SOFT,
    WARN,
    Anchor,
    Arc,
    Block,
    Circle,
    Item,
    Pair,
    Path,
    Stroke,
    Text,
    line,
    rectangle,
)
from viewer.words import method_name, signed

if TYPE_CHECKING:
    from casework.plan import Plan, SidePlan

_CHI2_95_OF_2 = -2.0 * math.log(0.05)  # 95 % quantile of chi-square with two degrees of freedom, closed form
_FRONT, _BACK, _UP, _DOWN = 34.0, 52.0, 34.0, 26.0  # least reach of the stencil from its mark, mm
_GAP_MM = 2.2  # left open about the dot on either side
_REFUSED_MM = 43.0  # width of the words on a stencil that shows no line of force
_TIMES = 8.0  # enlargement of the picture of dot and cross
_ROOM_MM = 9.0  # from what is drawn to the cut
MARK_HOLE, DOT_HOLE = 2.0, 1.25
_TARGET, _RULE, _LINE = look("target").colour, look("rule").text, look("line_after").colour
_GUIDE = Stroke(SOFT, 0.2)
_ON_LINE = (
    "With the bow in and both sides hooked: the strap’s line runs on the line, and the hook hangs in its ring (sight "
    "from straight beside the patient)."
)
_TOGETHER = (
    "With the bow in and all straps on: the hook hangs in its ring (sight from straight beside the patient). The line "
    "is the common pull of neck strap and head cap; neither strap runs along it: their own angles are on the card."
)
_CHEEK_MOVES = "The cheek moves over the tooth: a dot on it is a guide, true to some mm."
_At = Callable[[float, float], Pair]


@dataclass(frozen=True, eq=False)
class StencilMarks:
    """What the stencil shows of one side, mm from the mark: (back, up) each.

    ``region`` (n, 2) is the border of the target's 95 % region in side view, None when it was not sampled;
    ``line_deg`` the rise of the strap toward the back over the occlusal plane; ``over_cheek`` says that dot and rule
    are measured over the curved skin.
    """

    dot: Pair
    rule: Pair
    hook: Pair
    region: Array | None
    line_deg: float
    line_off_mm: float
    over_cheek: bool


def stencil_marks(s: SidePlan, turn: Array) -> StencilMarks:
    """The marks of one side, read off the plan in the treatment frame ``turn`` (3, 3)."""

    def flat(point: Array) -> Pair:
        away = turn @ (np.asarray(point) - np.asarray(s.rule.tube_mesial_mm))
        return float(away[1]), float(away[2])

    way = turn @ s.strap_direction
    dot, rule = flat(s.target_mm), flat(s.rule.point_mm)
    if s.cheek is not None:
        dot, rule = (s.cheek.back_mm, s.cheek.up_mm), (s.cheek.rule_back_mm, s.cheek.rule_up_mm)
    return StencilMarks(
        dot=dot,
        rule=rule,
        hook=flat(s.hook_mm),
        region=_region(s, turn, dot),
        line_deg=float(np.degrees(np.arctan2(way[2], way[1]))),
        line_off_mm=s.offset_after_mm,
        over_cheek=s.cheek is not None,
    )


def _region(s: SidePlan, turn: Array, dot: Pair) -> Array | None:
    """Border (72, 2) of the 95 % region of the sampled centre in the sagittal plane, about the dot as it lies there."""
    if s.centre.confidence is None:
        return None
    region = s.centre.confidence.uncertainty.region
    spread = (turn @ region.covariance_mm2 @ turn.T)[1:, 1:]
    values, vectors = np.linalg.eigh(spread)
    t = np.linspace(0.0, 2.0 * np.pi, 72, endpoint=False)
    around = np.stack([np.cos(t), np.sin(t)], axis=1) * np.sqrt(_CHI2_95_OF_2 * np.maximum(values, 0.0))
    shift = (turn @ (region.mean_mm - np.asarray(s.target_mm)))[1:]
    return np.asarray(around @ vectors.T + shift + np.array(dot))


def stencil_draft(plan: Plan, s: SidePlan, space: Room) -> Draft:
    """The sheet of one side."""
    marks = stencil_marks(s, np.asarray(plan.treatment_rotation))
    drawing = stencil_block(plan, s, marks)
    needs_room(drawing, width=space.width, height=space.height, what=f"the {s.side} cheek stencil",
               paper=space.paper)  # fmt: skip
    half = 0.5 * space.width - 4.0
    left = stacked([_numbers(plan, s, marks, half), _enlarged(plan, s, marks, half)], gap=3.0)
    right = stacked([_steps(plan, half), _measured(half)], gap=3.0)
    below = abreast([left, right])
    middle = Block(space.width, drawing.height, drawing.placed(0.5 * (space.width - drawing.width), 0.0))
    content = needs_room(stacked([middle, below], gap=4.0), width=space.width, height=space.height,
                         what=f"the {s.side} cheek stencil with its words", paper=space.paper)  # fmt: skip
    where = f"tooth {s.tooth}, seen as it lies on the {s.side} cheek, 1:1"
    return Draft(f"stencil-{s.side}", f"Cheek stencil, {s.side}", where, content, warn=not plan.bendable)


def stencil_block(plan: Plan, s: SidePlan, marks: StencilMarks) -> Block:
    """The stencil itself, its outline the block's border."""
    front = 1.0 if s.side == "right" else -1.0  # where the patient's front is on the page

    def at(back: float, up: float) -> Pair:
        return -front * back, up

    backs, ups = _reach(marks)
    left, right = sorted((at(backs[0], 0.0)[0], at(backs[1], 0.0)[0]))
    items = [
        _outline(left, right, ups),
        *_guides(marks, at, backs, ups),
        *((*_line_of_force(marks, at, front), *_hook(marks, at)) if plan.bendable else _refused(plan, s, at)),
        *_spots(marks, at),
        *_names(plan, s, at, left, right, ups, front),
    ]
    moved = tuple(item.shifted(-left, -ups[0]) for item in items)
    return Block(right - left, ups[1] - ups[0], moved)


def _reach(marks: StencilMarks) -> tuple[Pair, Pair]:
    """Least and greatest back and up that the stencil covers."""
    shown = [marks.dot, marks.rule, marks.hook]
    backs, ups = [p[0] for p in shown], [p[1] for p in shown]
    return (
        (min(-_FRONT, min(backs) - _ROOM_MM), max(_BACK, max(backs) + _ROOM_MM)),
        (min(-_DOWN, min(ups) - _ROOM_MM), max(_UP, max(ups) + _ROOM_MM + 6.0)),
    )


def _outline(left: float, right: float, ups: Pair, radius: float = 5.0) -> Path:
    """Rounded rectangle to cut along."""
    quarter = np.linspace(0.0, 0.5 * np.pi, 10)
    corners = [(right, ups[1], 0), (left, ups[1], 1), (left, ups[0], 2), (right, ups[0], 3)]
    points = []
    for x, y, k in corners:
        cx, cy = x + (radius if k in (1, 2) else -radius), y + (radius if k in (2, 3) else -radius)
        a = quarter + 0.5 * np.pi * k
        points += [(float(cx + radius * np.cos(v)), float(cy + radius * np.sin(v))) for v in a]
    return Path("CUT", tuple(points), Stroke(INK, 0.3, (2.0, 1.4)), closed=True)


def _guides(marks: StencilMarks, at: _At, backs: Pair, ups: Pair) -> list[Item]:
    """The line along the occlusal plane through the mark, the line up, and their mm."""
    thick = Stroke(INK, 0.35)
    items: list[Item] = [
        line("GUIDE", at(backs[0], 0.0), at(backs[1], 0.0), thick),
        line("GUIDE", at(0.0, ups[0] + 8.0), at(0.0, ups[1] - 8.0), _GUIDE),
    ]
    for k in range(math.ceil(backs[0]), math.floor(backs[1]) + 1):
        items.append(line("GUIDE", at(k, 0.0), at(k, -_tick(k)), _GUIDE))
    for k in range(math.ceil(ups[0] + 8.0), math.floor(ups[1] - 8.0) + 1):
        items.append(line("GUIDE", at(0.0, k), at(-_tick(k), k), _GUIDE))
    for k in (10, 20, 30, 40):
        if k < backs[1] - 5.0:
            items.append(Text("GUIDE", (at(k, 0.0)[0], -5.2), f"{k}", 2.0, "middle", colour=SOFT))
        if k < ups[1] - 9.0:
            items.append(Text("GUIDE", (at(-4.2, k)[0], k - 0.7), f"{k}", 2.0, "middle", colour=SOFT))
    return items


def _tick(k: int) -> float:
    return 2.6 if k % 10 == 0 else 1.9 if k % 5 == 0 else 1.1


def _line_of_force(marks: StencilMarks, at: _At, front: float) -> list[Item]:
    """The line from in front of the target to behind the hook, open at the dot, an arrow toward the strap."""
    along, foot = _way(marks.line_deg), _foot(marks)
    across = np.array([-along[1], along[0]])
    behind = foot + (float((np.array(marks.hook) - foot) @ along) + 10.0) * along
    tips = [behind - 3.2 * along + k * 1.1 * across for k in (1.0, -1.0)]
    head = Path("LINE_OF_FORCE", (at(*behind), at(*tips[0]), at(*tips[1])), None, closed=True, fill=_LINE)
    ends = ((foot - 12.0 * along, foot - _GAP_MM * along), (foot + _GAP_MM * along, behind - 3.0 * along))
    lines = [line("LINE_OF_FORCE", at(*a), at(*b), Stroke(_LINE, 0.45)) for a, b in ends]
    return [*lines, head, *_angle(marks, at, front, foot, along)]


def _way(degrees: float) -> Array:
    return np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))])


def _foot(marks: StencilMarks) -> Array:
    """Point (2,) of the line of force nearest the dot, (back, up)."""
    along = _way(marks.line_deg)
    return np.asarray(np.array(marks.dot) + marks.line_off_mm * np.array([-along[1], along[0]]))


def _angle(marks: StencilMarks, at: _At, front: float, foot: Array, along: Array) -> list[Item]:
    """The angle between line of force and occlusal line, where they cross, on the patient's front side."""
    if abs(along[1]) < 0.05:
        return []
    corner = foot - foot[1] / along[1] * along
    if not -_FRONT + 16.0 < corner[0] < marks.hook[0] + 6.0:
        return []
    start, end = sorted((180.0 + marks.line_deg, 180.0))
    if front > 0.0:
        start, end = 180.0 - end, 180.0 - start
    middle = corner - 14.2 * _way(0.5 * marks.line_deg) - [0.0, 0.9]
    words = f"{abs(marks.line_deg):.0f}°"
    return [
        Arc(
            "LINE_OF_FORCE", at(*corner), 11.0, start % 360.0, start % 360.0 + end - start, Stroke(_LINE, 0.3)
        ),
        Text("LINE_OF_FORCE", at(*middle), words, 2.3, "middle", bold=True, colour=look("line_after").text),
    ]


def _refused(plan: Plan, s: SidePlan, at: _At) -> list[Item]:
    """Why nothing is bent from here, behind the ruler that leads up and under the one that leads back."""
    lines = wrapped(_refusal(plan, s), _REFUSED_MM, size_mm=2.7, bold=True)
    return [
        Text("LINE_OF_FORCE", (at(5.0 + 0.5 * _REFUSED_MM, 0.0)[0], -10.0 - 3.6 * k), row, 2.7, "middle", bold=True,
             colour=WARN)
        for k, row in enumerate(lines)
    ]  # fmt: skip


def _refusal(plan: Plan, s: SidePlan) -> str:
    if not s.solved:
        return "NOT REACHED: do not bend from this plan"
    missed = [side for side, other in plan.sides.items() if not other.solved]
    if missed:
        return f"DO NOT BEND: both arms are one bow, and the {missed[0]} side was not reached"
    return "DO NOT BEND from this plan: see the card"


def _spots(marks: StencilMarks, at: _At) -> list[Item]:
    """Hole of the mark, the dot with its region, the rule's dot, the ring where the hook hangs."""
    rx, ry = at(*marks.rule)
    thin = Stroke(_RULE, 0.35)
    items: list[Item] = []
    if marks.region is not None:
        border = tuple(at(float(b), float(u)) for b, u in marks.region)
        items.append(Path("TARGET", border, Stroke(_TARGET, 0.25, (0.7, 0.5)), closed=True, fill="#FBE3D3"))
    items += [
        line("RULE", (rx - 1.6, ry - 1.6), (rx + 1.6, ry + 1.6), thin),
        line("RULE", (rx - 1.6, ry + 1.6), (rx + 1.6, ry - 1.6), thin),
        Circle("TARGET", at(*marks.dot), DOT_HOLE, Stroke(_TARGET, 0.35)),
        Circle("TARGET", at(*marks.dot), 0.2, None, fill=_TARGET),
        Circle("MARK", (0.0, 0.0), MARK_HOLE, Stroke(INK, 0.4), fill="#ffffff"),
        Circle("MARK", (0.0, 0.0), 0.2, None, fill=INK),
    ]
    return items


def _hook(marks: StencilMarks, at: _At) -> list[Item]:
    """The ring in which the hook hangs with the strap on."""
    x, y = at(*marks.hook)
    looks = look("bow_after")
    return [
        Circle("HOOK", (x, y), 1.6, Stroke(looks.colour, 0.4)),
        Text("HOOK", (x, y - 5.4), "hook", 2.2, "middle", bold=True, colour=looks.text),
    ]


def _names(
    plan: Plan, s: SidePlan, at: _At, left: float, right: float, ups: Pair, front: float
) -> list[Item]:
    """The words that stay on the stencil once it is cut out."""
    ahead, behind = (right - 4.0, left + 4.0) if front > 0.0 else (left + 4.0, right - 4.0)
    to_front: Anchor = "end" if front > 0.0 else "start"
    to_back: Anchor = "start" if front > 0.0 else "end"
    arrow = "front →" if front > 0.0 else "← front"
    top = ups[1] - 6.0
    return [
        Text("TEXT", (behind, top), f"{s.side.upper()} cheek · {s.tooth}", 3.6, to_back, bold=True),
        Text("TEXT", (behind, top - 4.2), f"Case {plan.case_id}", 2.3, to_back, colour=SOFT),
        Text("TEXT", (ahead, top), arrow, 3.2, to_front, bold=True),
        Text("TEXT", (ahead, 1.6), "along the occlusal plane", 2.2, to_front, colour=SOFT),
        Text("TEXT", (at(-3.2, 0.0)[0], -6.4), "mark", 2.4, to_back, bold=True),
        Text("TEXT", (0.0, ups[1] - 6.4), "up", 2.4, "middle", bold=True),
        Text(
            "CUT",
            (0.5 * (left + right), ups[0] + 2.0),
            "cut along the dashed border",
            2.0,
            "middle",
            colour=SOFT,
        ),
    ]


def _numbers(plan: Plan, s: SidePlan, marks: StencilMarks, width: float) -> Block:
    """The numbers behind the drawing, with what each sign means."""
    skin = "over the curved cheek" if marks.over_cheek else "flat, as seen from the side"
    rows = [
        [Cell("○ target dot", bold=True, colour=look("target").text), Cell(_mm(marks.dot[1])), Cell(_mm(marks.dot[0]))],
        [Cell("× rule of thumb", bold=True, colour=_RULE), Cell(_mm(marks.rule[1])), Cell(_mm(marks.rule[0]))],
        [Cell("○ hook, strap on", bold=True, colour=look("bow_after").text),
         Cell(_mm(marks.hook[1]) if plan.bendable else "–"), Cell(_mm(marks.hook[0]) if plan.bendable else "–")],
    ]  # fmt: skip
    told = [f"Dot and cross: {skin}. Target: {method_name(s.target_method)}."]
    if marks.region is not None:
        told.append(f"Shaded: where the centre lies with 95 % of the sampled inputs. {_CHEEK_MOVES}")
    else:
        told.append(f"The region of the target was not sampled. {_CHEEK_MOVES}")
    if plan.bendable:
        way = "down" if marks.line_deg < 0.0 else "up"
        told.append(f"Line of force: {abs(marks.line_deg):.1f}° {way} toward the back, measured from the occlusal "
                    f"plane, with the strap on; it passes {_where(marks.line_off_mm)}.")  # fmt: skip
    return stacked([
        heading("From the mark, in mm", width),
        table(["", "up", "back"], rows, [width - 44.0, 22.0, 22.0]),
        *(paragraph(text, width, size=SMALL) for text in told),
    ])  # fmt: skip


def _mm(value: float) -> str:
    return signed(value)


def _where(offset_mm: float) -> str:
    if abs(offset_mm) < 0.05:
        return "through the dot"
    return f"{abs(offset_mm):.1f} mm {'above' if offset_mm > 0.0 else 'below'} the dot"


def _steps(plan: Plan, width: float) -> Block:
    steps = [
        "Cut out. Punch the mark and the dot.",
        "Lips closed, cheek at rest. Carry the front end of the tube to the cheek: that is the mark on bow and skin.",
        "Lay the hole on the mark. Turn the stencil until its long line runs along the occlusal plane (a flat stick "
        "held between the teeth shows it).",
        "Mark the skin through the dot.",
    ]
    if plan.bendable:
        steps.append(_TOGETHER if plan.pull_kind == "combination" else _ON_LINE)
    else:
        steps += [f"{why} The dot is where the line of force should run." for why in plan.refusals]
    return stacked(
        [
            heading("How to use it", width),
            *(numbered(k + 1, t, width, size=SMALL + 0.1) for k, t in enumerate(steps)),
        ],
        gap=1.2,
    )


def _enlarged(plan: Plan, s: SidePlan, marks: StencilMarks, width: float) -> Block:
    """Dot, region, cross and line eight times enlarged, as their distances are too small to see."""
    high, front = 40.0, 1.0 if s.side == "right" else -1.0
    middle = 0.5 * (np.array(marks.dot) + np.array(marks.rule))

    def at(back: float, up: float) -> Pair:
        away = _TIMES * (np.array([back, up]) - middle)
        return float(0.5 * width - front * away[0]), float(0.5 * high + away[1])

    limit = (0.5 * width - 1.0, 0.5 * high - 1.0)
    scale = 2.0 if front * marks.line_deg > 0.0 else width - _TIMES - 32.0  # clear of the line
    items: list[Item] = [rectangle("GUIDE", (0.0, 0.0), (width, high), Stroke(FAINT, 0.2))]
    if marks.region is not None:
        border = np.array([at(float(b), float(u)) for b, u in marks.region]) - [0.5 * width, 0.5 * high]
        inside = np.clip(border, [-limit[0], -limit[1]], limit) + np.array([0.5 * width, 0.5 * high])
        items.append(Path("TARGET", tuple((float(x), float(y)) for x, y in inside), Stroke(_TARGET, 0.25, (0.7, 0.5)),
                          closed=True, fill="#FBE3D3"))  # fmt: skip
    rx, ry = at(*marks.rule)
    items += [
        *([_enlarged_line(marks, at, (width, high))] if plan.bendable else []),
        Circle("TARGET", at(*marks.dot), 1.0, None, fill=_TARGET),
        line("RULE", (rx - 1.6, ry - 1.6), (rx + 1.6, ry + 1.6), Stroke(_RULE, 0.35)),
        line("RULE", (rx - 1.6, ry + 1.6), (rx + 1.6, ry - 1.6), Stroke(_RULE, 0.35)),
        line("GUIDE", (scale, 2.4), (scale + _TIMES, 2.4), Stroke(INK, 0.4)),
        Text("GUIDE", (scale + _TIMES + 1.2, 1.6), "1 mm on the patient", 2.0, colour=SOFT),
    ]
    apart = float(np.hypot(*(np.array(marks.dot) - np.array(marks.rule))))
    return stacked([
        heading("Dot and cross, eight times enlarged", width),
        Block(width, high, tuple(items)),
        paragraph(f"The rule of thumb lies {apart:.1f} mm from the dot.", width, size=SMALL),
    ], gap=1.4)  # fmt: skip


def _enlarged_line(marks: StencilMarks, at: _At, size: Pair) -> Path:
    """The line of force across the enlarged picture, cut at its border."""
    foot, along = _foot(marks), _way(marks.line_deg)
    points = [np.array(at(*(foot + t * along))) for t in np.linspace(-8.0, 8.0, 161)]
    inside = [p for p in points if 0.0 <= p[0] <= size[0] and 0.0 <= p[1] <= size[1]] or points[80:82]
    return line("LINE_OF_FORCE", (float(inside[0][0]), float(inside[0][1])),
                (float(inside[-1][0]), float(inside[-1][1])), Stroke(_LINE, 0.45))  # fmt: skip


def _measured(width: float) -> Block:
    """Lines to write down what was measured with the bow in."""
    names = (
        "hook up from the mark, mm",
        "hook back from the mark, mm",
        "strap to occlusal plane, °",
        "force by gauge, N or gf",
    )
    rows = [[Cell(name), Cell(blank=True), Cell(blank=True)] for name in names]
    return stacked([
        heading("Measured with straps on", width),
        table(["", "measured", "date"], rows, [width - 46.0, 24.0, 22.0]),
        paragraph("“bowtrue check” tells from these where the line really runs and what to mend.", width, size=SMALL),
    ], gap=1.4)  # fmt: skip
