"""Finite elements of both molars as work in a child process, begun and cancelled on the third step."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nicegui import background_tasks, run, ui
from nicegui.element import Element

from casework.desk.bench import keep_reports
from casework.desk.draft import Draft, case_of, with_value
from casework.desk.jobs import begun
from casework.desk.tasks import estimated
from mesh_tools.errors import BowtrueError
from viewer.page.elements import Button, Text
from viewer.page.words import say

if TYPE_CHECKING:
    from viewer.page.tab import Tab

_METHOD = "finite_elements"
_POLL_SECONDS = 0.3
_MOST_SECONDS = 1800.0


class ElementsJob:
    """Begin, progress, cancel; when it is done its point becomes the target, as one step that can be undone."""

    def __init__(self, tab: Tab) -> None:
        self.tab = tab
        self.box = Element("div")
        with self.box:
            Text(say("elements_text"), "p", style="bt-note")
            with Element("div").classes("bt-row"):
                self.begin = Button(say("elements_begin"), self._begin)
                self.cancel = Button(say("cancel"), self._cancel)
            self.bar = Element("progress")
            self.bar._props["aria-label"] = say("elements_begin")
        self.said = Text("", "p")
        self.said._props["role"] = "status"
        self.timer = ui.timer(_POLL_SECONDS, self._poll)
        self.refresh()

    def leave(self) -> None:
        """The panel goes; work that has begun goes on."""
        self.timer.cancel()

    def refresh(self) -> None:
        """Offer it where it has not been solved yet."""
        bench, running = self.tab.bench, self.tab.room.elements_job is not None
        solved = bench is not None and any(_METHOD in r.methods for r in bench.reports.values())
        self.box.set_visibility(running or (bench is not None and not solved))
        self.begin.enable(bench is not None and not running)
        self.cancel.enable(running)
        self.bar.set_visibility(running)

    def _begin(self) -> None:
        room = self.tab.room
        if room.elements_job is not None:
            return
        try:
            case = case_of(_aimed(room.draft))
        except BowtrueError as err:
            self.tab.tell(str(err), bad=True)
            return
        room.elements_job = begun(estimated, case, room.folder, seconds=_MOST_SECONDS)
        self.said.say("")
        self.refresh()

    def _cancel(self) -> None:
        job = self.tab.room.elements_job
        if job is not None:
            self.said.say(say("cancelling"))
            background_tasks.create(run.io_bound(job.cancel))

    async def _poll(self) -> None:
        room = self.tab.room
        job = room.elements_job
        if job is None:
            self.refresh()  # begun or ended in another tab
            return
        if job.running:
            self.said.say(say("working", what=job.lines[-1].text if job.lines else say("starting")))
            self.refresh()
            return
        room.elements_job = None
        if job.state == "done":
            await self._take(job.result())
        else:
            self.said.say(say("elements_failed", why=job.error))
        self.refresh()

    async def _take(self, reports: object) -> None:
        room = self.tab.room
        try:
            await run.io_bound(keep_reports, _aimed(room.draft), reports, room.shelf, samples=None)
        except BowtrueError as err:
            self.said.say(say("elements_failed", why=str(err)))
            return
        self.said.say(say("elements_done"))
        self.tab.aim(_METHOD)


def _aimed(draft: Draft) -> Draft:
    return with_value(draft, "choices.target", _METHOD)
