"""Third step, centre of resistance: every method side by side, against the rule of thumb; choose the target."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from nicegui.element import Element

from mechanics.sides import SIDES, Side
from viewer.load_items import region_size
from viewer.page.elements import Button, Text
from viewer.page.elements_solved import ElementsJob
from viewer.page.words import say
from viewer.palette import METHOD_ROLES, look
from viewer.words import method_name

if TYPE_CHECKING:
    from casework.desk.bench import Workbench
    from viewer.page.tab import Tab

_SIGNS = {"sphere": "●", "cube": "■", "diamond": "◆", "cross": "✚", "ring": "◎", "up": "▲", "down": "▼"}


class CentreStep:
    """The panel of the third step in one tab."""

    def __init__(self, tab: Tab) -> None:
        self.tab = tab
        Text(say("centre_text"), "p", style="bt-note")
        self.body = Element("div")
        self.elements = ElementsJob(tab)
        tab.when_made.append(self.refresh)
        self.refresh()

    def leave(self) -> None:
        """The panel goes."""
        self.elements.leave()
        self.tab.when_made.remove(self.refresh)

    def refresh(self) -> None:
        """Show every estimate of both sides."""
        self.elements.refresh()
        self.body.clear()
        with self.body:
            bench = self.tab.bench
            if bench is None:
                what_is_missing(self.tab)
                return
            self._targets(bench)
            for side in SIDES:
                self._side(bench, side)

    def _targets(self, bench: Workbench) -> None:
        Text(say("target_choose"), "h3")
        names = dict.fromkeys(m for side in SIDES for m in bench.reports[side].methods)
        with Element("div").classes("bt-list") as group:
            group._props.update({"role": "group", "aria-label": say("target_choose")})
            for method in names:
                role = METHOD_ROLES.get(method, "estimate")
                button = Button("", lambda _, m=method: self.tab.aim(m), style="bt-mark",
                                pressed=method == bench.case.choices.target)  # fmt: skip
                button._props["data-method"] = method
                with button:
                    sign = Text(_SIGNS[look(role).glyph], style="bt-sign bt-method-sign")
                    sign.style(f"color: {look(role).colour}")
                    Text(method_name(method), style="bt-what")

    def _side(self, bench: Workbench, side: Side) -> None:
        report = bench.reports[side]
        rule = report.methods.get("rule_of_thumb")
        Text(say("centre_of", side=say(f"side_{side}"), tooth=report.tooth.fdi), "h3")
        with Element("table").classes("bt-table"):
            with Element("tr"):
                for head in ("method", "from_rule", "up_back"):
                    Text(say(f"head_{head}"), "th")
            for method, result in report.methods.items():
                away = np.zeros(3) if rule is None else bench.rotation @ (result.point_mm - rule.point_mm)
                with Element("tr"):
                    Text(method_name(method), "th")
                    Text("–" if rule is None else f"{np.linalg.norm(away):.1f} mm", "td")
                    Text(
                        "–" if rule is None else say("up_back", up=f"{away[2]:+.1f}", back=f"{away[1]:+.1f}"),
                        "td",
                    )
        if report.confidence is not None:
            size = region_size(report.confidence.uncertainty.region.half_axes_mm)
            Text(say("region_is", size=size), "p", style="bt-note")
        for line in (*report.warnings, *report.findings):
            Text(line, "p", style="bt-note")


def what_is_missing(tab: Tab) -> None:
    """Say what keeps the bow from being planned, each with what to do."""
    made = tab.made
    if made is None:
        Text(say("reading"), "p", style="bt-note")
        return
    lines = [*made.problems, *made.readings.refused.values(), *([made.refused] if made.refused else [])]
    Text(say("missing_for_plan"), "h3")
    with Element("ul").classes("bt-list"):
        for line in lines:
            Text(line, "li", style="bt-box-warn")
