"""A module's answer in words: the table of holes and postures that the command prints."""

from __future__ import annotations

from casework.case_file import N_PER_GF
from casework.module_answer import Envelope, ModuleAnswer, ModuleRow, ModuleSide
from mechanics.sides import SIDES, Side


def hole_name(answer: ModuleAnswer, hole: int) -> str:
    """A hole as a person calls it; without a strap length, by how many holes tighter or looser."""
    if not answer.relative:
        return f"hole {hole}"
    return "as wanted" if hole == 0 else f"{abs(hole)} {'tighter' if hole > 0 else 'looser'}"


def module_lines(answer: ModuleAnswer) -> list[str]:
    """The module's part of a plan's text."""
    band = "neck strap" if answer.band == "neck" else "cap"
    whole = "hook to hook" if answer.band == "neck" else "hook to cap"
    wanted = ", ".join(f"{s} {answer.wanted_n[s]:.2f} N" for s in SIDES)
    lines = [
        f"  module of the {band}: {wanted} wanted, given by {answer.slack_wanted_mm:.0f} mm of strap at rest ({whole})"
    ]
    if not answer.relative:
        lines.append(
            f"        nearest: hole {answer.best_hole}; the plan stands on hole {answer.hole}"
            f"{'' if answer.hole == answer.best_hole else ' as the case says'}"
        )
    lines += [f"        {text}" for h in _holes(answer) for text in _hole_lines(answer, h)]
    lines += [f"        {text}" for text in answer.assumptions]
    return lines


def _holes(answer: ModuleAnswer) -> list[int]:
    return list(dict.fromkeys(r.hole for r in answer.rows))


def _hole_lines(answer: ModuleAnswer, hole: int) -> list[str]:
    straight = answer.row(hole)
    name = f"{hole_name(answer, hole):10s}"
    if straight is None or straight.sides is None:
        return [f"{name} {'' if straight is None else straight.refused}"]
    told = "; ".join(f"{s} {side_words(straight.sides[s])}" for s in SIDES)
    spans = [e for s in SIDES if (e := answer.envelope(hole, s)) is not None]
    return [
        f"{name} straight: {told}",
        *([f"{'':10s} all postures: {_spans(spans)}"] if spans else []),
        *_held_lines(answer, hole),
    ]


def _held_lines(answer: ModuleAnswer, hole: int) -> list[str]:
    """What one hole does with the strap held by the skin, where it is shown free first."""
    first = answer.row(hole)
    return [
        f"{'':10s} {r.posture.name}, strap held: {'; '.join(f'{s} {side_words(r.sides[s])}' for s in SIDES)}"
        for r in answer.rows
        if r.hole == hole and r.sides is not None and first is not None and r.grip != first.grip
    ]


def side_words(side: ModuleSide) -> str:
    """One side of a row in words: force, line and offset, or what keeps them from being known."""
    if side.state in ("beyond the table", "releases"):
        return f"{side.state} ({side.extension_mm:.0f} mm)"
    if side.angle_deg is None or side.offset_mm is None:
        return "slack"
    way = "up" if side.angle_deg >= 0.0 else "down"
    return (
        f"{side.tension_n:.2f} N ({side.tension_n / N_PER_GF:.0f} gf), line {abs(side.angle_deg):.0f} deg {way}, "
        f"{side.offset_mm:+.1f} mm"
    )


def _spans(spans: list[Envelope]) -> str:
    return "; ".join(
        f"{e.side} {e.tension_n[0]:.1f}-{e.tension_n[1]:.1f} N, line {e.angle_deg[0]:+.0f} to {e.angle_deg[1]:+.0f} "
        f"deg, {e.offset_mm[0]:+.1f} to {e.offset_mm[1]:+.1f} mm{'' if e.known else ' (as far as known)'}"
        for e in spans
    )


def module_table(answer: ModuleAnswer, side: Side) -> tuple[list[str], list[tuple[str, list[str]]]]:
    """Heads and rows of the table of one side: a column a hole, a row a posture and grip."""
    holes = _holes(answer)
    keys = list(dict.fromkeys((r.posture.name, r.grip) for r in answer.rows))
    rows = []
    for posture, grip in keys:
        found = [answer.row(h, posture, grip) for h in holes]
        label = f"{posture}, strap held" if grip == "held" and answer.band == "neck" else posture
        rows.append((label, [_cell(r, side) for r in found]))
    return [hole_name(answer, h) for h in holes], rows


def _cell(row: ModuleRow | None, side: Side) -> str:
    if row is None:
        return ""
    if row.sides is None:
        return row.refused or "no equilibrium"
    return side_words(row.sides[side]) + (" (bow yields)" if row.yields else "")
