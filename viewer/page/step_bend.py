"""Fifth step, the bend: move it by hand, or have it solved; the curve shows where the line meets the target."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from nicegui import run, ui
from nicegui.element import Element

from casework.desk.handles import Handles, handles_of, ranges
from casework.desk.live import Live
from casework.desk.solving import OffsetCurve, offset_curve, trued
from mesh_tools.errors import BowtrueError
from viewer.page.elements import Button, Text
from viewer.page.latest import Latest
from viewer.page.plot import plot_svg
from viewer.page.step_bow import HandleFields
from viewer.page.step_centre import what_is_missing
from viewer.page.words import say

if TYPE_CHECKING:
    from viewer.page.tab import Tab

_POINTS = 13


class BendStep:
    """The panel of the fifth step in one tab."""

    def __init__(self, tab: Tab) -> None:
        self.tab, self.curve = tab, None
        self.key: Any = None
        self._here = True
        Text(say("bend_text"), "p", style="bt-note")
        self.missing = Element("div")
        self.handles = HandleFields(tab, ("bend_deg", "place_mm", "rise_mm"), keep=None)
        with Element("div").classes("bt-row"):
            self.solve = Button(say("solve"), self._solve, style="bt-main")
            self.reset = Button(say("as_it_is"), self._reset)
        self.keep = Button(say("keep_place"), tab.keep_handles, title=say("keep_place_title"))
        self.said = Text("", "p")
        self.said._props["role"] = "status"
        Text(say("curve"), "h3")
        self.plot = ui.html("", sanitize=False)
        self.plot_text = Text("", "p", style="bt-note")
        self.curves = Latest(self._draw)
        tab.when_live.append(self.refresh)
        tab.when_made.append(self.refresh)
        self.refresh()

    curve: OffsetCurve | None

    def leave(self) -> None:
        """The panel goes."""
        self._here = False
        self.handles.leave()
        self.tab.when_live.remove(self.refresh)
        self.tab.when_made.remove(self.refresh)

    def refresh(self) -> None:
        """Show whether it can be solved, and the curve with the bend as it is."""
        bench = self.tab.bench
        for button in (self.solve, self.reset, self.keep):
            button.enable(bench is not None)
        self.missing.clear()
        if bench is None:
            with self.missing:
                what_is_missing(self.tab)
            return
        handles, live = self.tab.handles, self.tab.live
        if handles is None or live is None or live.rigid:
            return
        key = curve_key(id(bench), handles, self.tab.side)
        if key != self.key:
            self.key = key
            self.curves.ask((handles, live))
        else:
            self._show()

    async def _draw(self, question: tuple[Handles, Live]) -> None:
        bench, side = self.tab.bench, self.tab.side
        handles, live = question
        if bench is None:
            return
        low, high = ranges(bench, handles)[side]["bend_deg"]
        bends = np.linspace(max(low, -30.0), min(high, 40.0), _POINTS)
        found = await run.io_bound(offset_curve, bench, handles, side, bends.tolist(), near=live)
        if self._here and found is not None:
            self.curve = found
            self._show()

    def _show(self) -> None:
        handles, curve = self.tab.handles, self.curve
        if curve is None or handles is None or not self._here:
            return
        live = self.tab.live
        here = None if live is None else live.sides[curve.side].offset_mm
        with self.tab.client:
            self.plot.set_content(plot_svg(curve, now_deg=handles.side(curve.side).bend_deg, now_mm=here))
            meets = curve.flexed_meets_deg
            words = say("curve_never") if meets is None else say("curve_meets", deg=f"{meets:+.1f}")
            self.plot_text.say(words)

    async def _solve(self) -> None:
        bench, handles = self.tab.bench, self.tab.handles
        if bench is None or handles is None:
            return
        self.said.say(say("solving"))
        self.solve.enable(False)
        try:
            ends, live = await run.io_bound(trued, bench, handles)
        except BowtrueError as err:
            self.said.say("")
            self.tab.tell(str(err), bad=True)
            return
        finally:
            self.solve.enable(True)
        if not self._here:
            return
        self.tab.set_handles(ends)
        wanted = bench.case.choices.wanted_offset_mm
        far = max(abs(one.offset_mm - wanted) for one in live.sides.values())
        right, left = ends.right.bend_deg, ends.left.bend_deg
        self.said.say(say("solved" if far < 0.05 else "solved_nearest", right=f"{right:+.1f}", left=f"{left:+.1f}",
                          far=f"{far:.1f}"))  # fmt: skip

    def _reset(self) -> None:
        if self.tab.bench is not None:
            self.tab.set_handles(handles_of(self.tab.bench))
            self.said.say("")


def curve_key(bench: int, handles: Handles, side: str) -> tuple[Any, ...]:
    """What the curve depends on: everything but the bend of the side that it runs along."""
    arms = []
    for name in ("right", "left"):
        arm = handles.right if name == "right" else handles.left
        own = name == side or handles.linked
        arms.append((None if own else arm.bend_deg, arm.place_mm, arm.arm_mm, arm.rise_mm, arm.force_n, arm.strap_up_mm,
                     arm.strap_back_mm))  # fmt: skip
    return (bench, side, handles.linked, *arms)
