"""After the papers, the check at the chair: what was measured with the bow in, and where the line really runs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from nicegui import run
from nicegui.element import Element

from casework.check.checked import checked
from casework.check.context import check_context
from casework.check.file import measured_from
from casework.check.result import CheckResult, SideCheck
from casework.check.spread import Spread
from casework.desk.solving import solved
from mechanics.sides import SIDES, Side
from mesh_tools.errors import BowtrueError
from viewer.page.elements import Button, Field, Text
from viewer.page.step_centre import what_is_missing
from viewer.page.words import say
from viewer.words import offset_words, signed

if TYPE_CHECKING:
    from casework.desk.bench import Workbench
    from viewer.page.tab import Tab

Readings = dict[str, dict[str, Any]]
_FIELDS = (
    ("hook_up_mm", -200.0, 200.0, 0.5, "mm"), ("hook_back_mm", -200.0, 200.0, 0.5, "mm"),
    ("strap_angle_deg", -75.0, 75.0, 1.0, "°"), ("force_n", 0.1, 30.0, 0.1, "N"),
)  # fmt: skip
_HIGH = ("strap_angle_deg", "force_n")


class CheckStep:
    """The panel of the check in one tab."""

    def __init__(self, tab: Tab) -> None:
        self.tab = tab
        self._here = True
        Text(say("check_text"), "p", style="bt-note")
        self.missing = Element("div")
        self.form = Element("div")
        self.compare = Button(say("check_compare"), self._compare, style="bt-main")
        self.said = Text("", "p")
        self.said._props["role"] = "status"
        self.answer = Element("div")
        self.answer._props["aria-live"] = "polite"
        tab.when_made.append(self.refresh)
        self.refresh()

    def leave(self) -> None:
        """The panel goes; what was typed is kept for the next look at it."""
        self._here = False
        self.tab.when_made.remove(self.refresh)

    @property
    def readings(self) -> Readings:
        """What was typed, by side and key; of the open case, for every tab."""
        return self.tab.room.measured

    def refresh(self) -> None:
        """Show the fields that belong to the pull."""
        bench = self.tab.bench
        self.compare.enable(bench is not None)
        self.answer.clear()
        self.missing.clear()
        self.form.clear()
        if bench is None:
            with self.missing:
                what_is_missing(self.tab)
            return
        with self.form:
            for side in SIDES:
                self._side(side, two=len(bench.ready.straps[side].straps) > 1)

    def _side(self, side: Side, *, two: bool) -> None:
        Text(say("check_side", side=say(f"side_{side}")), "h3")
        with Element("div").classes("bt-pairs"):
            for key, low, high, step, unit in _FIELDS:
                self._field((side,), key, low, high, step, unit)
            for key, low, high, step, unit in _FIELDS if two else ():
                if key in _HIGH:
                    self._field((side, "high"), key, low, high, step, unit)

    def _field(
        self, where: tuple[str, ...], key: str, low: float, high: float, step: float, unit: str
    ) -> None:
        which = "_".join((*where[1:], key))
        table = self._table(where)
        field = Field("number", say(f"check_{which}"), lambda v: self._typed(where, key, v), value=table.get(key),
                      min=low, max=high, step=step, unit=unit)  # fmt: skip
        field._props["data-reading"] = ".".join((*where, key))

    def _table(self, where: tuple[str, ...]) -> dict[str, Any]:
        here: dict[str, Any] = self.readings
        for part in where:
            here = here.get(part, {})
        return here

    def _typed(self, where: tuple[str, ...], key: str, value: Any) -> None:
        here: dict[str, Any] = self.readings
        for part in where:
            here = here.setdefault(part, {})
        if value is None:
            here.pop(key, None)
        else:
            here[key] = float(value)
        self.answer.clear()

    async def _compare(self) -> None:
        bench = self.tab.bench
        if bench is None:
            return
        self.answer.clear()
        self.said.say(say("check_working"))
        self.compare.enable(False)
        try:
            result = await run.io_bound(line_checked, bench, self.readings)
        except BowtrueError as err:
            self.tab.tell(str(err), bad=True)
            return
        finally:
            self.said.say("")
            self.compare.enable(True)
        if self._here and result is not None and bench is self.tab.bench:
            self._show(result)

    def _show(self, result: CheckResult) -> None:
        self.answer.clear()
        with self.answer:
            for side in result.sides.values():
                _told(side)
            for note in result.notes:
                Text(note, "div", style="bt-box-warn")
            errors = result.measured.errors
            Text(say("check_scatter", mm=f"{errors.ruler_mm:g}", deg=f"{errors.protractor_deg:g}",
                     share=f"{100.0 * errors.gauge_share:g}"), "p", style="bt-note")  # fmt: skip


def line_checked(bench: Workbench, readings: Readings) -> CheckResult:
    """``readings`` (as the tables of a readings file; empty ones left out) against the plan of the bench's case.

    Raises BowtrueError in one line.
    """
    tables = {side: {k: v for k, v in table.items() if v != {}} for side, table in readings.items()}
    measured = measured_from({side: table for side, table in tables.items() if table})
    _, plan = solved(bench)
    return checked(check_context(bench.case, plan), measured)


def _told(side: SideCheck) -> None:
    with Element("div").classes("bt-card") as card:
        card._props["data-checked"] = side.side
        Text(say(f"side_{side.side}"), "div", style="bt-title")
        Text(order_words(side), "p", style="bt-order")
        with Element("table").classes("bt-table"):
            _row(
                "check_line",
                say("offset_words", words=offset_words(side.offset_mm)).replace(" of it", ""),
                side.offset,
            )
            _row(
                "check_moment",
                f"{signed(side.moment_n_mm, digits=0)}\N{NO-BREAK SPACE}N\N{NO-BREAK SPACE}mm",
                side.moment,
            )
            if side.correction is not None and side.correction_deg is not None:
                _row("check_bend", f"{signed(side.correction_deg, digits=1)}°", side.correction)
        Text(_seen(side), "p", style="bt-note")
        for note in side.notes:
            Text(note, "div", style="bt-box-warn")


def _row(key: str, text: str, band: Spread) -> None:
    with Element("tr"):
        Text(say(key), "th")
        Text(text, "td")
        Text(say("check_band", low=signed(band.low, digits=1), high=signed(band.high, digits=1)), "td")


def _seen(side: SideCheck) -> str:
    seen, plan = side.seen, side.planned
    return say("check_seen", up=signed(seen.hook_up_mm, digits=1), back=signed(seen.hook_back_mm, digits=1),
               deg=signed(seen.angle_deg, digits=0), n=f"{seen.force_n:.2f}", plan_up=signed(plan.hook_up_mm, digits=1),
               plan_back=signed(plan.hook_back_mm, digits=1), plan_deg=signed(plan.angle_deg, digits=0),
               plan_n=f"{plan.force_n:.2f}")  # fmt: skip


def order_words(side: SideCheck) -> str:
    """What to do about one side, in a line."""
    if side.verdict == "measure again":
        return say("check_again")
    if side.correction_deg is None or side.correction is None:
        return say("check_no_bend")
    way = say("check_way_up" if side.correction_deg > 0.0 else "check_way_down")
    return say(
        f"check_order_{side.verdict.replace(' ', '_')}", deg=f"{abs(side.correction_deg):.1f}", way=way
    )
