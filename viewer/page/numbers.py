"""The numbers at the right: both sides next to each other, as the handles stand."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from nicegui.element import Element

from casework.desk.live import Live, LiveSide
from mechanics.sides import SIDES, Side
from viewer.page.elements import Text
from viewer.page.words import say
from viewer.words import (
    MOVEMENT_WORDS,
    bend_words,
    offset_words,
    signed,
)

if TYPE_CHECKING:
    from viewer.page.tab import Tab

_ROWS = (
    "bend", "passes", "tipping", "tip", "strap_force", "distal", "vertical", "lateral", "travel", "skin", "rule",
)  # fmt: skip


class Numbers:
    """The right column in one tab."""

    def __init__(self, tab: Tab) -> None:
        self.tab = tab
        with Element("aside").classes("bt-numbers") as column:
            column._props["aria-label"] = say("numbers_label")
            Text(say("numbers"), "h2")
            self.state = Text("", "p", style="bt-note")
            self.state._props["data-state"] = "waiting"
            with Element("table").classes("bt-table") as table:
                table._props["aria-label"] = say("numbers_label")
                with Element("tr"):
                    Text("", "th")
                    for side in SIDES:
                        Text(say(f"side_{side}"), "th", style="bt-right")
                self.rows = {row: self._row(row) for row in _ROWS}
            self.does = Text("", "p")
            self.stress = Text("", "p", style="bt-note")
            self.trouble = Text("", "div", style="bt-box-bad")
            self.trouble._props["role"] = "alert"
            self.trouble.set_visibility(False)
            self.notes = Text("", "p", style="bt-warn")
        tab.when_live.append(self.refresh)
        self.refresh()

    def _row(self, row: str) -> dict[Side, Text]:
        with Element("tr"):
            Text(say(f"number_{row}"), "th")
            cells: dict[Side, Text] = {}
            for side in SIDES:
                cells[side] = Text("", "td")
                cells[side]._props["data-number"] = f"{row}-{side}"
        return cells

    def refresh(self) -> None:
        """Show the last answer, or why there is none."""
        tab = self.tab
        live, trouble = tab.live, tab.trouble or (tab.made.refused if tab.made else "")
        self.trouble.say(trouble)
        self.trouble.set_visibility(bool(trouble))
        if live is None or tab.bench is None:
            self._blank()
            return
        state = "rigid" if live.rigid else "flexed"
        self.state.say(say(f"answer_{state}"))
        self.state._props["data-state"] = state
        self.state.update()
        for side in SIDES:
            for row, text in self._texts(live, live.sides[side], side).items():
                self.rows[row][side].say(_whole(text))
        self.does.say(_does(live))
        self.stress.say(
            ""
            if live.rigid
            else say("stress", mpa=f"{live.max_stress_mpa:.0f}", proof=f"{live.proof_mpa:.0f}")
        )
        self.notes.say("\n".join(live.notes))

    def _blank(self) -> None:
        self.state.say(say("numbers_wait"))
        for cells in self.rows.values():
            for cell in cells.values():
                cell.say("–")
        for text in (self.does, self.stress, self.notes):
            text.say("")

    def _texts(self, live: Live, one: LiveSide, side: Side) -> dict[str, str]:
        travel = float(((one.hook_mm - one.hook_bench_mm) ** 2).sum() ** 0.5)
        return {
            "bend": bend_words(live.handles.side(side).bend_deg),
            "passes": say("offset_words", words=offset_words(one.offset_mm)).replace(" of it", ""),
            "tipping": f"{signed(one.tipping_moment_n_mm, digits=0)} N mm",
            "tip": f"{signed(one.tip_n_mm, digits=0)} N mm",
            "strap_force": f"{one.strap_force_n:.2f} N",
            "distal": f"{signed(one.distal_n, digits=2)} N",
            "vertical": f"{signed(one.vertical_n, digits=2)} N",
            "lateral": f"{signed(one.lateral_n, digits=2)} N",
            "travel": f"{travel:.1f} mm",
            "skin": "–" if one.skin_mm is None else f"{one.skin_mm:.1f} mm",
            "rule": self._from_rule(side),
        }

    def _from_rule(self, side: Side) -> str:
        bench = self.tab.bench
        assert bench is not None
        rule = bench.reports[side].methods.get("rule_of_thumb")
        if rule is None:
            return "–"
        return f"{float(((bench.centres[side].target_mm - rule.point_mm) ** 2).sum() ** 0.5):.1f} mm"


def _whole(text: str) -> str:
    """``text`` with each number kept on the line of its unit."""
    return re.sub(r"(?<=[0-9N]) (?=N|mm|°)", "\N{NO-BREAK SPACE}", text)


def _does(live: Live) -> str:
    """What the molars do, in one line a side."""
    told = []
    for side in SIDES:
        movement = live.sides[side].movement
        if movement is not None:
            told.append(
                say("does", side=say(f"side_{side}"), what=MOVEMENT_WORDS.get(movement.kind, movement.kind))
            )
    return "\n".join(told)
