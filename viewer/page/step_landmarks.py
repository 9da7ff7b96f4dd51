"""Second step, landmarks: click them on the surface, drag, type, mirror; each tells where it lies and if it can be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from nicegui.element import Element

from casework.desk.draft import with_landmark, without_landmark
from casework.desk.landmarks import LANDMARKS, LandmarkKind, kind_of, lies_on, mirrored, point_of
from casework.desk.plausible import plausibility
from mesh_tools.arrays import Array
from mesh_tools.errors import BowtrueError
from viewer.page.elements import Button, Field, Text
from viewer.page.words import say

if TYPE_CHECKING:
    from viewer.page.tab import Tab

_ROLES = {"right_molar": "molar", "left_molar": "molar", "arch": "arch", "face": "face"}
_STAND_OFF_MM = (
    1.5  # from the crown to the tube's axis: band, base and half a tube; our choice, to be typed over
)


@dataclass(frozen=True)
class Spot:
    """One point to place: a landmark, or one of the occlusal plane's points."""

    name: str
    index: int | None = None

    @property
    def id(self) -> str:
        """Its name for the browser."""
        return self.name if self.index is None else f"{self.name}#{self.index}"

    @property
    def words(self) -> str:
        """Its name for a person."""
        text = say(kind_of(self.name).label_key)
        return text if self.index is None else say("numbered", name=text, number=self.index + 1)


def spot_of(identity: str) -> Spot:
    """The spot of a name given by the browser; raises BadValueError for one that is unknown."""
    name, _, index = identity.partition("#")
    kind = kind_of(name)
    return Spot(kind.name, int(index) if index.isdecimal() and len(index) < 4 else None)


class LandmarksStep:
    """The panel of the second step in one tab."""

    def __init__(self, tab: Tab) -> None:
        self.tab = tab
        self.chosen = self._first_missing() or Spot("tube_right_mesial_mm")
        self.stand_off_mm = _STAND_OFF_MM
        Text(say("landmarks_text"), "p", style="bt-note")
        self.card = Element("div").classes("bt-card chosen")
        self.list = Element("div")
        self._listen()
        tab.when_made.append(self.refresh)
        tab.when_draft.append(self.refresh)
        self._choose(self.chosen)

    def leave(self) -> None:
        """The panel goes; the scene turns only."""
        self.tab.when_made.remove(self.refresh)
        self.tab.when_draft.remove(self.refresh)
        self.tab.shell.stage.placer = None
        self.tab.shell.stage.mode("turn", [], say("hint_turn"))
        self.tab.shell.scene.call("setHandles", [])
        self._here = False

    def _listen(self) -> None:
        self._here = True
        acts = {"picked": self._picked, "dragged": self._dragged, "handle": self._grabbed}
        self.tab.shell.stage.placer = lambda event, found: acts[event](found)

    # ---- choosing ---------------------------------------------------------------------------------------------------
    def _first_missing(self) -> Spot | None:
        from casework.desk.landmarks import missing

        left = missing(self.tab.room.draft)
        return self._next_of(kind_of(left[0])) if left else None

    def _next_of(self, kind: LandmarkKind) -> Spot:
        if not kind.many:
            return Spot(kind.name)
        points = point_of(self.tab.room.draft, kind.name)
        return Spot(kind.name, 0 if points is None else len(points))

    def _choose(self, spot: Spot) -> None:
        self.chosen = spot
        kind = kind_of(spot.name)
        roles = list(dict.fromkeys(_ROLES[s] for s in kind.scans))
        self.tab.shell.stage.mode("place", roles, say("hint_place", name=spot.words))
        self.refresh()

    # ---- placing --------------------------------------------------------------------------------------------------
    def _picked(self, found: dict[str, Any]) -> None:
        if self._here and self._place(self.chosen, self._on(self.chosen, found)):
            following = self._first_missing()
            if following is not None and point_of(self.tab.room.draft, self.chosen.name) is not None:
                self._choose(following)

    def _dragged(self, found: dict[str, Any]) -> None:
        if self._here:
            spot = spot_of(str(found["id"]))
            self._place(spot, self._on(spot, found))
            self._choose(spot)

    def _grabbed(self, found: dict[str, Any]) -> None:
        if self._here:
            self._choose(spot_of(str(found["id"])))

    def _on(self, spot: Spot, found: dict[str, Any]) -> Array:
        """The picked point in LPS mm, a tube's lifted off the surface by its stand-off."""
        point = np.asarray(found["point"], dtype=np.float64)
        if kind_of(spot.name).group == "tube":
            point = point + self.stand_off_mm * np.asarray(found["normal"], dtype=np.float64)
        return self.tab.lps(point)

    def _place(self, spot: Spot, point: Array) -> bool:
        return self.tab.change(lambda draft: with_landmark(draft, spot.name, point, index=spot.index))

    def _typed(self, axis: int, value: Any) -> None:
        old = self._point(self.chosen)
        if value is None:
            return
        point = np.zeros(3) if old is None else np.array(old)
        point[axis] = float(value)
        self._place(self.chosen, point)

    def _mirror(self) -> None:
        made = self.tab.made
        surfaces = {} if made is None else made.readings.surfaces
        try:
            found = mirrored(self.tab.room.draft, self.chosen.name, surfaces=surfaces)
        except BowtrueError as err:
            self.tab.tell(str(err), bad=True)
            return
        if self._place(self.chosen, found.point_mm):
            self.tab.tell("\n".join((say("mirrored", name=self.chosen.words), *found.told)))

    def _remove(self) -> None:
        spot = self.chosen
        self.tab.change(lambda draft: without_landmark(draft, spot.name, index=spot.index))

    # ---- showing ----------------------------------------------------------------------------------------------------
    def _point(self, spot: Spot) -> Array | None:
        points = point_of(self.tab.room.draft, spot.name)
        if points is None or spot.index is None:
            return points
        return points[spot.index] if spot.index < len(points) else None

    def _doubts(self, name: str) -> list[str]:
        made = self.tab.made
        if made is None:
            return []
        live = self.tab.live
        hooks = None if live is None else {s: live.sides[s].hook_mm for s in live.sides}
        return plausibility(self.tab.room.draft, made.readings.surfaces, name, hooks_mm=hooks)

    def refresh(self) -> None:
        """Show the chosen landmark, the list, and the handles in the scene."""
        if not self._here:
            return
        doubts = {kind.name: self._doubts(kind.name) for kind in LANDMARKS}
        self._card(doubts[self.chosen.name])
        handles: list[dict[str, Any]] = []
        self.list.clear()
        with self.list:
            for group in dict.fromkeys(kind.group for kind in LANDMARKS):
                Text(say(f"group_{group.replace(' ', '_')}"), "h3")
                for kind in (k for k in LANDMARKS if k.group == group):
                    for spot in self._spots(kind):
                        self._row(spot, kind, doubts[kind.name], handles)
        self.tab.shell.scene.call("setHandles", handles)

    def _spots(self, kind: LandmarkKind) -> list[Spot]:
        if not kind.many:
            return [Spot(kind.name)]
        points = point_of(self.tab.room.draft, kind.name)
        return [Spot(kind.name, k) for k in range(1 + (0 if points is None else len(points)))]

    def _row(self, spot: Spot, kind: LandmarkKind, doubts: list[str], handles: list[dict[str, Any]]) -> None:
        point = self._point(spot)
        state = "empty" if point is None else "doubtful" if doubts else "good"
        if point is not None:
            handles.append({"id": spot.id, "at": self.tab.in_scene(point), "state": state, "text": spot.words,
                            "chosen": spot == self.chosen, "roles": [_ROLES[s] for s in kind.scans]})  # fmt: skip
        button = Button("", lambda: self._choose(spot), style="bt-mark", pressed=spot == self.chosen)
        button._props["data-landmark"] = spot.id
        with button:
            Text(say(f"sign_{state}"), style=f"bt-sign bt-sign-{state}")
            Text(spot.words + ("" if kind.needed else say("optional")), style="bt-what")
            Text(say(f"mark_{state}"), style="bt-where")

    def _card(self, doubts: list[str]) -> None:
        spot, kind = self.chosen, kind_of(self.chosen.name)
        point = self._point(spot)
        self.card.clear()
        with self.card:
            Text(spot.words, "div", style="bt-title")
            Text(self._lies(spot, point), "p", style="bt-note")
            for line in doubts if point is not None else []:
                Text(line, "div", style="bt-box-warn")
            if point is not None and not doubts:
                Text(say("plausible"), "p", style="bt-good")
            with Element("div").classes("bt-row bt-xyz"):
                for axis, letter in enumerate("xyz"):
                    value = None if point is None else round(float(point[axis]), 2)
                    Field("number", say(f"coordinate_{letter}"), lambda v, a=axis: self._typed(a, v), value=value,
                          step=0.1, min=-500, max=500)  # fmt: skip
            if kind.group == "tube":
                Field(
                    "number",
                    say("stand_off"),
                    self._stand_off,
                    value=self.stand_off_mm,
                    step=0.1,
                    min=0,
                    max=5,
                    unit="mm",
                )
            with Element("div").classes("bt-row"):
                if kind.partner is not None:
                    Button(say("mirror"), self._mirror)
                if point is not None:
                    Button(say("remove"), self._remove)

    def _stand_off(self, value: Any) -> None:
        if value is not None:
            self.stand_off_mm = float(value)

    def _lies(self, spot: Spot, point: Array | None) -> str:
        made = self.tab.made
        if point is None:
            return say("place_it")
        on = None if made is None else lies_on(spot.name, point, made.readings.surfaces)
        if on is None:
            return say("lies_nowhere")
        where = say("outside") if on[1] >= 0 else say("inside")
        return say("lies_on", scan=say(f"scan_{on[0]}"), mm=f"{abs(on[1]):.1f}", where=where)
