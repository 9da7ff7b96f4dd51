"""The frame of the page: bar, steps in the order of the work, panel, stage with the scene, numbers, a caution."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from nicegui import ui
from nicegui.element import Element

from casework.cautions import SHORT_CAUTION
from viewer.page.elements import Button, SceneView, Text
from viewer.page.numbers import Numbers
from viewer.page.stage import Stage
from viewer.page.step_bend import BendStep
from viewer.page.step_bow import BowStep
from viewer.page.step_centre import CentreStep
from viewer.page.step_check import CheckStep
from viewer.page.step_landmarks import LandmarksStep
from viewer.page.step_papers import PapersStep
from viewer.page.step_scans import ScansStep
from viewer.page.words import say

if TYPE_CHECKING:
    from viewer.page.tab import Tab

_STEPS: dict[str, type[Any]] = {
    "scans": ScansStep, "landmarks": LandmarksStep, "centre": CentreStep, "bow": BowStep, "bend": BendStep,
    "papers": PapersStep, "check": CheckStep,
}  # fmt: skip
_KEYS = {"1": "scans", "2": "landmarks", "3": "centre", "4": "bow", "5": "bend", "6": "papers", "7": "check"}


class Shell:
    """The page's frame in one tab."""

    def __init__(self, tab: Tab) -> None:
        self.tab = tab
        with Element("div").classes("bt-page"):
            self._bar()
            self._rail()
            self.panel = Element("section").classes("bt-panel")
            self.panel._props.update({"role": "tabpanel", "aria-label": say("panel"), "id": "bt-panel"})
            self.stage = Stage(tab)
            self.numbers = Numbers(tab)
            with Element("footer").classes("bt-foot"):
                Text(SHORT_CAUTION)
        self._steps: dict[str, Any] = {}
        self.show_step("scans")
        ui.keyboard(on_key=self._key, ignore=["input", "select", "textarea", "button"])
        tab.when_draft.append(self.refresh)
        tab.when_made.append(self.refresh)
        self.refresh()

    @property
    def scene(self) -> SceneView:
        """The scene in the middle."""
        return self.stage.view

    # ---- bar ------------------------------------------------------------------------------------------------------
    def _bar(self) -> None:
        with Element("header").classes("bt-bar"):
            Text("bowtrue", "strong", style="bt-name")
            self.case = Text("", "span", style="bt-case")
            self.saved = Text("", "span", style="bt-saved")
            self.saved._props["role"] = "status"
            self._conflict()
            self.undo = Button(say("undo"), self.tab.undo, title=say("undo_key"))
            self.redo = Button(say("redo"), self.tab.redo, title=say("redo_key"))
            Button(say("dark"), self._dark, title=say("dark_title"))
            Button(say("keys"), self._help)
            if not self.tab.house.fixed:
                Button(say("other_case"), self.tab.house.close)
        self._mode = ui.dark_mode(None)

    def _conflict(self) -> None:
        self.conflict = Element("span").classes("bt-row")
        with self.conflict:
            Button(say("reread"), self._reread, style="bt-main")
        self.conflict.set_visibility(False)

    def _reread(self) -> None:
        self.tab._guarded(lambda: self.tab.room.reread(by=self.tab))

    async def _dark(self) -> None:
        dark = self._mode.value
        if dark is None:
            dark = bool(
                await ui.run_javascript("document.body.classList.contains('body--dark')", timeout=5.0)
            )
        self._mode.set_value(not dark)

    def _help(self) -> None:
        with ui.dialog() as dialog, Element("div").classes("bt-dialog"):
            Text(say("keys_title"), "h2")
            with Element("table").classes("bt-table"):
                for line in say("keys_list").splitlines():
                    key, _, what = line.partition(": ")
                    with Element("tr"):
                        Text(key, "th")
                        Text(what, "td")
            Button(say("close"), dialog.close, style="bt-main")
        dialog.open()

    # ---- steps ------------------------------------------------------------------------------------------------------
    def _rail(self) -> None:
        self.rail: dict[str, tuple[Button, Text]] = {}
        with Element("nav").classes("bt-steps") as rail:
            rail._props.update(
                {"role": "tablist", "aria-label": say("steps"), "aria-orientation": "vertical"}
            )
            for number, name in enumerate(_STEPS, start=1):
                button = Button("", lambda _, n=name: self.show_step(n), title=f"Alt+{number}")
                button._props.update({"role": "tab", "aria-controls": "bt-panel", "data-step": name})
                with button:
                    Text(str(number), style="bt-digit")
                    Text(say(f"step_{name}"))
                    state = Text("", style="bt-state")
                self.rail[name] = (button, state)

    def show_step(self, name: str) -> None:
        """Show the panel of step ``name``; the scene and the numbers stay."""
        old = self._steps.pop(self.tab.step, None)
        if old is not None:
            old.leave()
        self.tab.step = name
        for step, (button, _) in self.rail.items():
            button._props["aria-selected"] = "true" if step == name else "false"
            button.update()
        self.panel.clear()
        with self.panel:
            Text(say(f"title_{name}"), "h2")
            self._steps[name] = _STEPS[name](self.tab)

    def _key(self, event: Any) -> None:
        if not event.action.keydown or event.action.repeat:
            return
        key, held = str(event.key), event.modifiers
        if held.alt and key in _KEYS:
            self.show_step(_KEYS[key])
        elif (held.ctrl or held.meta) and key.lower() == "z":
            (self.tab.redo if held.shift else self.tab.undo)()
        elif (held.ctrl or held.meta) and key.lower() == "y":
            self.tab.redo()
        elif not (held.ctrl or held.meta or held.alt):
            self.stage.key(key.lower())

    # ---- what changes -----
    def busy(self, text: str) -> None:
        """Say what is being worked on, or nothing."""
        self.stage.say_busy(text)

    def refresh(self) -> None:
        """Show the draft's state in bar and steps."""
        tab, draft = self.tab, self.tab.room.draft
        self.case.say(str(draft.value("case_id") or ""))
        self.saved.say(tab.room.trouble or say("saved"))
        self.saved.classes(
            add="bt-bad" if tab.room.trouble else "", remove="" if tab.room.trouble else "bt-bad"
        )
        self.conflict.set_visibility(tab.room.taken_over)
        self.undo.enable(bool(draft.past))
        self.redo.enable(bool(draft.future))
        for name, (_, state) in self.rail.items():
            state.say(self._state(name))

    def _state(self, name: str) -> str:
        made = self.tab.made
        if made is None:
            return ""
        if name == "scans":
            count = len(made.readings.scans)
            return say("state_refused") if made.readings.refused else say("state_scans", count=count)
        if name == "landmarks":
            from casework.desk.landmarks import missing

            left = len(missing(self.tab.room.draft))
            return say("state_missing", count=left) if left else say("state_done")
        return say("state_ready") if made.ready else say("state_waits")
