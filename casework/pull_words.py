"""Words and a table for pulls side by side, and how comfort is judged: our own judgement, told point by point."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from casework.case_file import N_PER_GF, PullKind
from casework.cautions import SHORT_CAUTION
from mechanics.sides import SIDES, Side

if TYPE_CHECKING:
    from casework.pulls import PullComparison, PulledKind, PullSide, Reach

KIND_WORDS: dict[PullKind, str] = {
    "cervical": "neck strap", "high_pull": "high pull", "combination": "both together",
}  # fmt: skip
COMFORT_SAID = (
    "Comfort: points, fewer is better, out of 5 (our judgement, no source). Arm to skin 3 mm or more 0, 1-3 mm 1, less "
    "2; bend up to 15 degrees 0, up to 30 1, more 2; one strap 0, two 1. Without a face scan the skin is not judged."
)
_SKIN_MM = (1.0, 3.0)
_BEND_DEG = (15.0, 30.0)


@dataclass(frozen=True)
class Comfort:
    """Points of discomfort, ``points`` of at most ``most``, with one reason for each that counted."""

    points: int
    most: int
    reasons: tuple[str, ...]


def comfort_of(*, skin_mm: float | None, bend_deg: float, straps: int) -> Comfort:
    """Points as ``COMFORT_SAID`` tells."""
    points, reasons = 0, []
    if skin_mm is not None and skin_mm < _SKIN_MM[1]:
        points += 2 if skin_mm < _SKIN_MM[0] else 1
        reasons.append(f"arm {skin_mm:.1f} mm from the skin")
    if abs(bend_deg) > _BEND_DEG[0]:
        points += 2 if abs(bend_deg) > _BEND_DEG[1] else 1
        reasons.append(f"bend of {abs(bend_deg):.0f} degrees")
    if straps > 1:
        points += 1
        reasons.append("two straps")
    return Comfort(points, 3 if skin_mm is None else 5, tuple(reasons))


def comparison_rows(found: PullComparison, side: Side) -> list[tuple[str, list[str]]]:
    """The table of one side: a label and one cell a pull, in the order of ``found.kinds``."""
    return [
        ("straps", [" + ".join(f"{f:.2f} N" for f in k.forces_n[side]) for k in found.kinds]),
        *((label, [_cell(k, side, tell) for k in found.kinds]) for label, tell in _ROWS),
    ]


MOVES = {
    "bodily": "bodily", "crown_distal_tip": "crown tips back", "root_distal_tip": "roots tip back",
}  # fmt: skip


def _cell(kind: PulledKind, side: Side, tell: Callable[[PullSide], str]) -> str:
    return tell(kind.sides[side]) if side in kind.sides else "not planned"


def _offset(mm: float) -> str:
    if abs(mm) < 0.05:
        return "through it"
    return f"{abs(mm):.1f} mm {'above' if mm > 0 else 'below'}"


def _range(p: PullSide) -> str:
    return f"{_end(p.down)} to {_end(p.up)}"


def _end(reach: Reach | None) -> str:
    return "?" if reach is None else f"{reach.offset_mm:+.0f} mm"


def _bend(p: PullSide) -> str:
    if not p.solved:
        return "NOT REACHED"
    if not p.bendable:
        return "DO NOT BEND"
    return f"{'up' if p.after.bend_deg >= 0 else 'down'} {abs(p.after.bend_deg):.1f} deg"


def _hook(p: PullSide) -> str:
    ways = ((p.hook_back_mm, "back"), (p.hook_up_mm, "up"), (p.hook_out_mm, "out"))
    return " ".join(f"{round(mm) + 0:+d} {way}" for mm, way in ways)


def _rise(p: PullSide) -> str:
    return " / ".join("by angle" if r is None else f"{r:+.0f} mm" for r in p.strap_rise_mm)


_ROWS: tuple[tuple[str, Callable[[PullSide], str]], ...] = (
    ("line before any bend", lambda p: _offset(p.before.offset_mm)),
    ("within the bend limit", _range),
    ("bend needed", _bend),
    ("line to occlusal plane", lambda p: f"{abs(p.line_deg):.0f} deg {'up' if p.line_deg >= 0 else 'down'}"),
    ("distal force", lambda p: f"{p.distal_n:.2f} N ({p.distal_n / N_PER_GF:.0f} gf)"),
    (
        "vertical force",
        lambda p: f"{'intrudes' if p.vertical_n > 0 else 'extrudes'} {abs(p.vertical_n):.2f} N",
    ),
    ("lateral force", lambda p: f"{'buccal' if p.lateral_n > 0 else 'palatal'} {abs(p.lateral_n):.2f} N"),
    ("hook from the tube", _hook),
    ("arm to skin", lambda p: "no face scan" if p.skin_mm is None else f"{p.skin_mm:.1f} mm"),
    ("strap above the hook", _rise),
    ("comfort points", lambda p: f"{p.comfort.points} of {p.comfort.most}"),
    ("molar, predicted", lambda p: MOVES.get(p.movement or "", "not predicted")),
    ("line to key ridge", lambda p: "" if p.ridge_offset_mm is None else _offset(p.ridge_offset_mm)),
)


def differences(found: PullComparison) -> list[str]:
    """What tells the planned pulls apart, in sentences, means over both sides."""
    planned = [k for k in found.kinds if k.sides]
    if len(planned) < 2:
        return []

    def mean(kind: PulledKind, name: str) -> float:
        return sum(float(getattr(kind.sides[s], name)) for s in SIDES) / 2.0

    lines = []
    for name, what, unit in (
        ("distal_n", "Most distal force", "N"),
        ("vertical_n", "Most intrusive (least extrusive)", "N"),
    ):
        best = max(planned, key=lambda k: mean(k, name))
        lines.append(f"{what}: {KIND_WORDS[best.kind]}, {mean(best, name):+.2f} {unit} a side.")
    least = min(planned, key=lambda k: sum(abs(k.sides[s].after.bend_deg) for s in SIDES))
    lines.append(f"Smallest bend: {KIND_WORDS[least.kind]}.")
    short = [KIND_WORDS[k.kind] for k in planned if not all(k.sides[s].solved for s in SIDES)]
    if short:
        lines.append(f"The line is not brought to the target by: {', '.join(short)}.")
    return lines


def comparison_text(found: PullComparison) -> str:
    """The comparison as lines of text."""
    from casework.pull_context import KEY_RIDGE_SOURCE

    heads = [KIND_WORDS[k.kind] + (" (the case's)" if k.kind == found.own else "") for k in found.kinds]
    lines = [f"Case {found.case_id}: three pulls side by side; offsets are from the target, above is apical"]
    for side in SIDES:
        lines += ["", *_table(side, heads, comparison_rows(found, side))]
    lines += ["", *differences(found)]
    for kind in found.kinds:
        lines += [f"  ! {KIND_WORDS[kind.kind]}: {text}" for text in _notes(kind)]
    ridge = found.ridge["right"]
    return "\n".join(
        [*lines, COMFORT_SAID, f"Key ridge, {ridge.how}: context only. {KEY_RIDGE_SOURCE}.", SHORT_CAUTION]
    )


def _notes(kind: PulledKind) -> list[str]:
    refused = [] if kind.refused is None else [f"not planned: {kind.refused}"]
    return [
        *refused,
        *kind.assumed,
        *(() if kind.plan is None else (*kind.plan.refusals, *kind.plan.warnings)),
    ]


def _table(side: Side, heads: Sequence[str], rows: Sequence[tuple[str, list[str]]]) -> list[str]:
    wide = max(len(label) for label, _ in rows) + 2
    columns = [max(len(h), *(len(cells[k]) for _, cells in rows)) + 2 for k, h in enumerate(heads)]
    lines = [f"{side:<{wide}}" + "".join(f"{h:<{w}}" for h, w in zip(heads, columns, strict=True))]
    for label, cells in rows:
        lines.append(f"{label:<{wide}}" + "".join(f"{c:<{w}}" for c, w in zip(cells, columns, strict=True)))
    return [line.rstrip() for line in lines]
