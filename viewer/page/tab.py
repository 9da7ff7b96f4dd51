"""One tab: its own view of the open case (step, side, handles, target) and what it shows when something changes."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from typing import Any, Literal

import numpy as np
from nicegui import background_tasks, run, ui

from casework.desk.bench import Workbench, aimed
from casework.desk.handles import Handles, handled, handles_of, kept_handles
from casework.desk.live import Live, flexed_live, rigid_live
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array
from mesh_tools.errors import BowtrueError
from viewer.page.house import House
from viewer.page.latest import Latest
from viewer.page.room import Change, Made, Room
from viewer.page.scenes import before_scene, centres_scene, live_scene, scans_scene
from viewer.page.telling import SaidBox, tell
from viewer.page.words import say
from viewer.scene import Scene
from viewer.scene_gltf import scene_glb

Which = Literal["both", "right", "left"]
GLB = "model/gltf-binary"
PREVIEW_SECONDS = 0.14
STEPS = ("scans", "landmarks", "centre", "bow", "bend", "papers", "check")


class Tab:
    """The state of one tab. Every part of the page reads it and is refreshed by it; parts never talk to each other."""

    def __init__(self, house: House, room: Room) -> None:
        self.house, self.room = house, room
        self.made: Made | None = None
        self.bench: Workbench | None = None
        self.handles: Handles | None = None
        self.before: Live | None = None
        self.live: Live | None = None
        self.flexed: Live | None = None
        self.trouble = ""
        self.which: Which = "both"
        self.step = "scans"
        self.closed = False
        self._layers: dict[str, Any] = {}
        self._answers = Latest(self._answer_flexed)
        self._makes = Latest(self._make)
        self._asked_at = 0.0
        self.when_made: list[Callable[[], None]] = []
        self.when_live: list[Callable[[], None]] = []
        self.when_draft: list[Callable[[], None]] = []

    # ---- life -------------------------------------------------------------------------------------------------
    def build(self) -> None:
        """Put the page's elements into this tab."""
        from viewer.page.shell import Shell

        self.client = ui.context.client
        self.said = next(e for e in self.client.elements.values() if isinstance(e, SaidBox))
        self.shell = Shell(self)
        self.room.listeners.append(self.heard)

    def close(self) -> None:
        """The tab is gone for good."""
        self.closed = True
        if self.heard in self.room.listeners:
            self.room.listeners.remove(self.heard)

    async def begin(self) -> None:
        """First reading of the case, once the browser is there."""
        self._makes.ask(0)

    def tell(self, text: str, *, bad: bool = False) -> None:
        """A message in this tab."""
        if not self.closed:
            with self.client:
                tell(text, bad=bad, box=self.said)

    # ---- the draft --------------------------------------------------------------------------------------------
    def change(self, change: Change) -> bool:
        """Change the case, or say in one line why not."""
        return self._guarded(lambda: self.room.change(change, by=self))

    def undo(self) -> None:
        """One step back."""
        self._guarded(lambda: self.room.undo(by=self))

    def redo(self) -> None:
        """One step forward again."""
        self._guarded(lambda: self.room.redo(by=self))

    def _guarded(self, act: Callable[[], object]) -> bool:
        try:
            act()
        except BowtrueError as err:
            self.tell(str(err), bad=True)
            return False
        return True

    def heard(self, room: Room, by: object) -> None:
        """The case has changed, here or in another tab."""
        if self.closed:
            return
        if by is not self:
            self.tell(say("changed_elsewhere"))
        for line in room.draft.notes:
            self.tell(line)
        with self.client:
            for told in tuple(self.when_draft):
                told()
        self._makes.ask(0)

    # ---- what is made of it -------------------------------------------------------------------------------------
    async def _make(self, _: int) -> None:
        self.shell.busy(say("reading"))
        made = await run.io_bound(self.room.make)
        if self.closed or made is None:
            return
        self.made, old = made, self.bench
        target = None if old is None else old.case.choices.target
        self.bench = made.bench
        if self.bench is not None and target is not None and self._own_target:
            self._guarded(lambda: setattr(self, "bench", aimed(made.bench, target)))
        self._settle_handles(old)
        await self._show_scans(made)
        await self._show_bench()
        self.shell.busy("")
        self._told(self.when_made)
        self._told(self.when_live)

    _own_target = False

    def _settle_handles(self, old: Workbench | None) -> None:
        """Handles of a new bench: as the case gives them, with the bends a person had set before."""
        bench = self.bench
        if bench is None:
            self.handles = self.before = self.live = self.flexed = None
            return
        kept = self.handles or self.room.handles
        fresh = handles_of(bench, linked=self.which == "both")
        if kept is not None:
            for side in SIDES:
                arm = kept.side(side)
                fresh = _apart(fresh, side, bend_deg=arm.bend_deg, rise_mm=arm.rise_mm)
        self.handles = fresh
        self.flexed = None

    async def _show_scans(self, made: Made) -> None:
        key = (tuple((n, id(s.surface)) for n, s in made.readings.scans.items()), made.turn.tobytes())
        await self._show("scans", key, lambda: scans_scene(made.readings.surfaces, made.turn))

    async def _show_bench(self) -> None:
        bench = self.bench
        if bench is None:
            for layer in ("centres", "before", "live"):
                self._drop(layer)
            return
        await self._show("centres", id(bench), lambda: centres_scene(bench))
        try:
            self.before = await run.io_bound(flexed_live, bench, handles_of(bench))
            before = self.before
            await self._show("before", id(bench), lambda: before_scene(bench, before))
            self.trouble = ""
        except BowtrueError as err:
            self.before, self.trouble = None, str(err)
            self._drop("before")
        if self.handles is not None:
            await self._answer_flexed(self.handles)

    async def _show(self, layer: str, key: object, make: Callable[[], Scene]) -> None:
        if self._layers.get(layer) == key:
            return
        glb = await run.io_bound(lambda: scene_glb(make()))
        self._layers[layer] = key
        self._load(layer, glb)

    def _load(self, layer: str, glb: bytes) -> None:
        if not self.closed:
            tag = f"{time.monotonic():.3f}"
            self.shell.scene.call("load", layer, self.house.blobs.put(glb, GLB), tag)

    def _drop(self, layer: str) -> None:
        self._layers.pop(layer, None)
        self.shell.scene.call("drop", layer)

    # ---- the handles ------------------------------------------------------------------------------------------
    @property
    def side(self) -> Side:
        """The side whose numbers the handles show."""
        return "left" if self.which == "left" else "right"

    def choose_which(self, which: Which) -> None:
        """Move one side, the other, or both together."""
        self.which = which
        if self.handles is not None:
            self.handles = Handles(self.handles.right, self.handles.left, linked=which == "both")
        self._told(self.when_live)

    def move(self, **changes: float) -> None:
        """A hand moves: answer at once, rigid if the flexed answer is not there within the blink of an eye."""
        if self.bench is None or self.handles is None:
            return
        try:
            self.handles = handled(self.handles, self.side, **changes)
        except BowtrueError as err:
            self.tell(str(err), bad=True)
            return
        self.room.handles = self.handles
        self._ask()

    def set_handles(self, handles: Handles) -> None:
        """Take ``handles`` over, such as those of a solution."""
        self.handles = self.room.handles = Handles(handles.right, handles.left, linked=self.which == "both")
        self._ask()

    def _ask(self) -> None:
        self._asked_at = time.monotonic()
        self._answers.ask(self.handles)  # type: ignore[arg-type]
        background_tasks.create(self._preview(self.handles))  # type: ignore[arg-type]

    async def _preview(self, handles: Handles) -> None:
        await asyncio.sleep(PREVIEW_SECONDS)
        shown = self.live is not None and self.live.handles == handles
        if self.closed or shown or self.bench is None or handles != self.handles:
            return
        try:
            self._take_live(rigid_live(self.bench, handles))
        except BowtrueError as err:
            self._no_answer(str(err))

    async def _answer_flexed(self, handles: Handles) -> None:
        bench = self.bench
        if bench is None:
            return
        try:
            live = await run.io_bound(_live_and_glb, bench, handles, self.flexed)
        except BowtrueError as err:
            self.flexed = None
            if handles == self.handles and not self.closed:
                self._no_answer(str(err))
            return
        if self.closed or bench is not self.bench or live is None:
            return
        self.flexed = live[0]
        self._take_live(*live)

    def _take_live(self, live: Live, glb: bytes | None = None) -> None:
        assert self.bench is not None
        self.live, self.trouble = live, ""
        self._load("live", glb or scene_glb(live_scene(self.bench, live)))
        self._told(self.when_live)

    def _no_answer(self, text: str) -> None:
        self.trouble = text
        self._told(self.when_live)

    def keep_handles(self) -> None:
        """Write what a case file holds of the handles into the case: force, arm, place of the bend, strap points."""
        bench, handles = self.bench, self.handles
        if bench is None or handles is None:
            return
        self.change(lambda draft: kept_handles(draft, bench, handles))

    def aim(self, method: str) -> None:
        """Another method is the target, here at once and in the case."""
        from casework.desk.draft import with_value

        self.change(lambda draft: with_value(draft, "choices.target", method))

    def _told(self, whom: list[Callable[[], None]]) -> None:
        if self.closed:
            return
        with self.client:
            for told in tuple(whom):
                told()

    # ---- places -------------------------------------------------------------------------------------------------
    def lps(self, point: Any) -> Array:
        """A point (3,) of the scene in LPS mm."""
        turn = np.eye(3) if self.made is None else self.made.turn
        return np.asarray(point, dtype=np.float64) @ turn

    def in_scene(self, point: Any) -> list[float]:
        """A point (3,) of LPS mm in the scene."""
        turn = np.eye(3) if self.made is None else self.made.turn
        return [float(v) for v in turn @ np.asarray(point, dtype=np.float64)]


def _apart(handles: Handles, side: Side, **changes: float) -> Handles:
    apart = handled(Handles(handles.right, handles.left, linked=False), side, **changes)
    return Handles(apart.right, apart.left, linked=handles.linked)


def _live_and_glb(bench: Workbench, handles: Handles, near: Live | None) -> tuple[Live, bytes]:
    live = flexed_live(bench, handles, near=near)
    return live, scene_glb(live_scene(bench, live))
