"""Fourth step, the bow: kind of pull, force, arms, straps and wires; what a case file holds is kept as one lets go."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from nicegui.element import Element

from casework.desk.draft import Draft, with_value, without_value
from casework.desk.handles import ranges
from mechanics.sides import SIDES
from viewer.page.elements import Field, Text
from viewer.page.step_centre import what_is_missing
from viewer.page.words import say

if TYPE_CHECKING:
    from viewer.page.tab import Tab

_STEP = {
    "force_n": 0.1,
    "arm_mm": 0.5,
    "strap_up_mm": 0.5,
    "strap_back_mm": 0.5,
    "bend_deg": 0.1,
    "place_mm": 0.5,
    "rise_mm": 0.1,
}
_UNIT = {"force_n": "N", "bend_deg": "°"}
_WIRES = (
    ("inner_diameter_mm", 0.31, 2.99, 0.001), ("outer_diameter_mm", 0.31, 3.99, 0.001),
    ("tube_bore_mm", 0.31, 2.99, 0.01),
    ("anterior_clearance_mm", 0.0, 30.0, 0.5), ("cheek_clearance_mm", 0.0, 40.0, 0.5),
    ("joint_length_mm", 1.0, 60.0, 0.5),
    ("e_gpa", 21.0, 299.0, 1.0), ("proof_mpa", 101.0, 2999.0, 10.0),
)  # fmt: skip
_DEFAULT_N = 4.0


class HandleFields:
    """Sliders for handles of the bench, with the choice of the side they move."""

    def __init__(self, tab: Tab, names: tuple[str, ...], *, keep: Callable[[], None] | None) -> None:
        self.tab, self.names, self.keep = tab, names, keep
        options = [[w, say(f"which_{w}")] for w in ("both", "right", "left")]
        self.which = Field("choice", say("which"), tab.choose_which, value=tab.which, options=options)
        self.fields = {n: self._field(n) for n in names}
        self.bounds: dict[str, tuple[float, float]] = {}
        tab.when_live.append(self.refresh)
        self.refresh()

    def leave(self) -> None:
        """The panel goes."""
        self.tab.when_live.remove(self.refresh)

    def _field(self, name: str) -> Field:
        def moved(value: Any) -> None:
            if value is not None:
                self.tab.move(**{name: float(value)})

        def settled(value: Any) -> None:
            moved(value)
            if self.keep is not None and value is not None:
                self.keep()

        return Field("slider", say(f"handle_{name}"), settled, moved=moved, value=0.0, min=0.0, max=1.0,
                     step=_STEP[name], unit=_UNIT.get(name, "mm"))  # fmt: skip

    def refresh(self) -> None:
        """Show the handles of the chosen side within their bounds."""
        bench, handles = self.tab.bench, self.tab.handles
        for name, field in self.fields.items():
            field.enable(bench is not None)
            if bench is None or handles is None:
                continue
            low, high = ranges(bench, handles)[self.tab.side][name]
            step = _STEP[name]
            bounds = (round(low / step) * step, round(high / step) * step)
            if self.bounds.get(name) != bounds:
                self.bounds[name] = bounds
                field._props.update({"min": round(bounds[0], 3), "max": round(bounds[1], 3)})
                field.update()
            field.show(round(float(getattr(handles.side(self.tab.side), name)), 2))


class BowStep:
    """The panel of the fourth step in one tab."""

    def __init__(self, tab: Tab) -> None:
        self.tab = tab
        Text(say("bow_text"), "p", style="bt-note")
        self.missing = Element("div")
        self.pull = Element("div")
        Text(say("bow_handles"), "h3")
        self.handles = HandleFields(
            tab, ("force_n", "arm_mm", "strap_up_mm", "strap_back_mm"), keep=tab.keep_handles
        )
        Text(say("bow_wires"), "h3")
        self.wires = {key: self._wire(key, low, high, step) for key, low, high, step in _WIRES}
        tab.when_made.append(self.refresh)
        tab.when_draft.append(self.refresh)
        self.refresh()

    def leave(self) -> None:
        """The panel goes."""
        self.handles.leave()
        self.tab.when_made.remove(self.refresh)
        self.tab.when_draft.remove(self.refresh)

    def _wire(self, key: str, low: float, high: float, step: float) -> Field:
        def settled(value: Any) -> None:
            path = f"bow.{key}"
            if value is None:
                self.tab.change(lambda d: without_value(d, path))
            else:
                self.tab.change(lambda d: with_value(d, path, float(value)))

        return Field("number", say(f"bow_{key}"), settled, value=None, min=low, max=high, step=step,
                     unit=say(f"unit_{key.rsplit('_', 1)[1]}"))  # fmt: skip

    def refresh(self) -> None:
        """Show the pull, and the wires as the case or its defaults give them."""
        from casework.case_file import BowModel

        draft, tab = self.tab.room.draft, self.tab
        for key, field in self.wires.items():
            given = draft.value(f"bow.{key}")
            field.show(BowModel.model_fields[key].default if given is None else given)
        self.missing.clear()
        with self.missing:
            if tab.bench is None:
                what_is_missing(tab)
        self.pull.clear()
        with self.pull:
            self._pull(draft)

    def _pull(self, draft: Draft) -> None:
        kind = draft.value("pull.kind") or "cervical"
        Text(say("pull"), "h3")
        Field("choice", say("pull_kind"), self._kind, value=kind,
              options=[[k, say(f"pull_{k}")] for k in ("cervical", "high_pull", "combination")])  # fmt: skip
        for side in SIDES:
            given = draft.value(f"pull.{side}.force_n")
            gf = draft.value(f"pull.{side}.force_gf")
            if gf is None:
                Field("number", say(f"force_given_{side}"), lambda v, s=side: self._force(s, v), value=given, min=0.1,
                      max=30.0, step=0.1, unit="N")  # fmt: skip
            if draft.value(f"landmarks.strap_{side}_mm") is None and kind != "combination":
                Field("number", say(f"angle_given_{side}"), lambda v, s=side: self._angle(s, v),
                      value=draft.value(f"pull.{side}.angle_deg"), min=-89, max=89, step=1, unit="°")  # fmt: skip

    def _force(self, side: str, value: Any) -> None:
        if value is not None:
            self.tab.change(lambda d: with_value(d, f"pull.{side}.force_n", float(value)))

    def _angle(self, side: str, value: Any) -> None:
        path = f"pull.{side}.angle_deg"
        if value is None:
            self.tab.change(lambda d: without_value(d, path))
        else:
            self.tab.change(lambda d: with_value(d, path, float(value)))

    def _kind(self, kind: str) -> None:
        self.tab.change(lambda draft: with_pull(draft, kind))


def with_pull(draft: Draft, kind: str) -> Draft:
    """``draft`` pulled by ``kind``, as one step: a head cap's strap comes and goes with the combination."""
    from dataclasses import replace

    now = with_value(draft, "pull.kind", kind)
    for side in SIDES:
        if now.value(f"pull.{side}.force_n") is None and now.value(f"pull.{side}.force_gf") is None:
            now = with_value(now, f"pull.{side}.force_n", _DEFAULT_N)
        if kind == "combination" and now.value(f"pull.{side}.high") is None:
            now = with_value(now, f"pull.{side}.high", {"force_n": _DEFAULT_N, "angle_deg": 40.0})
        elif kind != "combination":
            now = without_value(now, f"pull.{side}.high")
    return draft if now.values == draft.values else replace(now, past=(*draft.past, draft.values), future=())
