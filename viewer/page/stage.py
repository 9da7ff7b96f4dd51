"""The stage: the scene with its views, measuring, what is shown and how strongly, and the picture to take away."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np
from nicegui.element import Element

from casework.cautions import SHORT_CAUTION
from viewer.load_items import REGION
from viewer.page.elements import Button, SceneView, Text
from viewer.page.scenes import BONE, STRESS
from viewer.page.words import say
from viewer.scene_of_plan import (
    AFTER,
    ARCH,
    BEFORE,
    BENCH,
    ESTIMATES,
    FACE,
    FORCE,
    LINE_AFTER,
    LINE_BEFORE,
    MOLARS,
    OFFSETS,
    RULE,
    STRAP,
)

if TYPE_CHECKING:
    from viewer.page.tab import Tab

VIEWS = ("right", "left", "front", "above")
_PARTS = {
    MOLARS: "molars", ARCH: "arch", FACE: "face", BONE: "bone", ESTIMATES: "estimates", RULE: "rule", REGION: "region",
    AFTER: "bow_worn", BENCH: "bow_bench", BEFORE: "bow_before", STRESS: "stress", LINE_AFTER: "line_after",
    LINE_BEFORE: "line_before", OFFSETS: "offsets", STRAP: "strap", FORCE: "force",
}  # fmt: skip
_HIDDEN_AT_FIRST = {BENCH, STRESS}


class Stage:
    """The middle of the page in one tab."""

    def __init__(self, tab: Tab) -> None:
        self.tab = tab
        self.hidden = set(_HIDDEN_AT_FIRST)
        self.measuring = False
        self.place_mode: tuple[str, list[str]] = ("turn", [])
        self.placer: Callable[[str, dict[str, Any]], None] | None = None
        with Element("main").classes("bt-stage"):
            with Element("div").classes("bt-tools") as tools:
                tools._props.update({"role": "toolbar", "aria-label": say("tools")})
                self._tools()
            with Element("div").classes("bt-scene-box"):
                self.view = SceneView(say("scene_label"))
                self.parts = Element("div").classes("bt-parts")
                with self.parts:
                    self._parts()
                self.parts.set_visibility(False)
            self.told = Text("", "div", style="bt-told")
            self.told._props.update({"role": "status", "aria-live": "polite"})
        self.view.on("measured", lambda e: self._measured(e.args))
        self.view.on("failed", lambda e: self._failed(e.args))
        for event in ("picked", "dragged", "handle"):
            self.view.on(event, lambda e, name=event: self._to_placer(name, e.args))
        self.view.on("missed", lambda: self.hint(say("missed")))
        self._hint = say("hint_turn")
        self._busy = ""
        self.hint(self._hint)

    def _tools(self) -> None:
        self.views = {}
        for where in VIEWS:
            self.views[where] = Button(say(f"view_{where}"), lambda _, w=where: self.look(w),
                                       name=say(f"view_{where}_long"), title=say(f"view_{where}_key"))  # fmt: skip
        self.near = Button(say("near"), self._near, title=say("near_key"))
        Element("span").classes("bt-gap")
        self.measure = Button(say("measure"), self._measure, pressed=False, title=say("measure_key"))
        self.parts_button = Button(say("parts"), self._show_parts, pressed=False, title=say("parts_key"))
        Button(say("picture_short"), self.picture, name=say("picture"), title=say("picture_title"))

    def look(self, where: str) -> None:
        """Look from ``where``."""
        self.view.call("look", where)

    def _near(self) -> None:
        """Close up on the molar of the side that is looked at."""
        bench = self.tab.bench
        if bench is None:
            self.hint(say("near_waits"))
            return
        points = {side: self.tab.in_scene(centre.target_mm) for side, centre in bench.centres.items()}
        self.view.call("lookNear", points, self.tab.side)

    def key(self, key: str) -> None:
        """A key pressed while no field has the focus."""
        for where in VIEWS:
            if key == say(f"view_{where}_key").lower()[-1]:
                self.look(where)
        if key == "m":
            self._measure()
        elif key == "n":
            self._near()
        elif key == "p":
            self._show_parts()
        elif key == "escape" and self.measuring:
            self._measure()

    # ---- measuring ------------------------------------------------------------------------------------------------
    def _measure(self) -> None:
        self.measuring = not self.measuring
        self.measure.press(self.measuring)
        if self.measuring:
            self.view.call("setMode", "measure", [])
            self.hint(say("hint_measure"))
        else:
            self.view.call("setMode", *self.place_mode)
            self.hint(self._hint)

    def _measured(self, ends: dict[str, Any]) -> None:
        a, b = (np.asarray(ends[k], dtype=np.float64) for k in ("a", "b"))
        text = say("mm", mm=f"{np.linalg.norm(b - a):.1f}")
        x, y, z = np.abs(b - a)
        self.view.call("setMeasureText", text)
        self.told.say(say("measured", mm=text, across=f"{x:.1f}", back=f"{y:.1f}", up=f"{z:.1f}"))

    # ---- placing --------------------------------------------------------------------------------------------------
    def _to_placer(self, event: str, found: dict[str, Any]) -> None:
        if self.placer is not None and not self.measuring:
            self.placer(event, found)

    def mode(self, mode: str, roles: list[str], hint: str) -> None:
        """Turn only, or place a point on surfaces of ``roles``."""
        self.place_mode, self._hint = (mode, roles), hint
        if not self.measuring:
            self.view.call("setMode", mode, roles)
            self.hint(hint)

    def hint(self, text: str) -> None:
        """The line under the scene."""
        self.told.say(text)

    def say_busy(self, text: str) -> None:
        """Say what is being worked on in the line under the scene; nothing brings the hint back."""
        self._busy = text
        self.told.say(text or self._hint)

    # ---- parts ----------------------------------------------------------------------------------------------------
    def _show_parts(self) -> None:
        shown = not self.parts.visible
        self.parts.set_visibility(shown)
        self.parts_button.press(shown)

    def _parts(self) -> None:
        Text(say("parts_title"), "h3")
        Text(say("parts_fade"), "p", style="bt-note")
        for group, key in _PARTS.items():
            name = say(f"part_{key}")
            with Element("div").classes("bt-part"):
                button = Button(say("shown") if group not in self.hidden else say("hidden"), lambda: None,
                                name=say("show_part", part=name), pressed=group not in self.hidden)  # fmt: skip
                button.on("click", lambda _, g=group, b=button: self._switch(g, b))
                Text(name)
                fade = Element("input")
                fade._props.update({"type": "range", "min": 0.1, "max": 1, "step": 0.05, "value": 1,
                                    "aria-label": say("fade_part", part=name)})  # fmt: skip
                fade.on("input", lambda e, g=group: self.view.call("setFade", g, float(e.args)),
                        js_handler="(e) => emit(Number(e.target.value))", throttle=0.05)  # fmt: skip

    def _switch(self, group: str, button: Button) -> None:
        off = group not in self.hidden
        (self.hidden.add if off else self.hidden.discard)(group)
        button.press(not off)
        button.say(say("hidden") if off else say("shown"))
        self.view.call("setHidden", group, off)

    # ---- taking away -----------------------------------------------------------------------------------------------
    def picture(self) -> None:
        """Save what is seen as a picture, with the case's name and the caution below."""
        case = str(self.tab.room.draft.value("case_id") or "case")
        lines = [say("picture_line", case=case), *_broken(SHORT_CAUTION)]
        self.view.call("savePicture", f"{case.replace(' ', '_')}-{say('picture_file')}.png", lines)

    def _failed(self, what: dict[str, Any]) -> None:
        self.tab.tell(say("scene_failed", text=what.get("text", "")), bad=True)


def _broken(text: str) -> list[str]:
    """The caution in its sentences, so that each fits a line of the picture."""
    return [part.strip() for part in text.replace(": ", ":\n").replace(". ", ".\n").splitlines()]
