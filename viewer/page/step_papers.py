"""Last step, papers: what is taken away, with the cautions where it is taken; long work tells how far it is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from nicegui import ui
from nicegui.element import Element

from casework.cautions import CAUTIONS
from casework.desk.draft import case_of
from casework.desk.jobs import Job, begun
from mesh_tools.errors import BowtrueError
from viewer.page.elements import Button, Field, Text
from viewer.page.papers_made import PAPERS_FOLDER, kinds_there, papers_made
from viewer.page.step_centre import what_is_missing
from viewer.page.words import say

if TYPE_CHECKING:
    from viewer.page.tab import Tab

_POLL_SECONDS = 0.25


class PapersStep:
    """The panel of the last step in one tab."""

    def __init__(self, tab: Tab) -> None:
        self.tab = tab
        self.job: Job[tuple[str, ...]] | None = tab.room.job
        self.paper = "A4"
        Text(say("papers_text"), "p", style="bt-note")
        self.missing = Element("div")
        with Element("div").classes("bt-box-warn bt-papers-cautions"):
            Text(say("cautions"), "h3")
            with Element("ul"):
                for caution in CAUTIONS:
                    Text(caution.text, "li")
        self.kinds = {kind.key: True for kind in kinds_there()}
        for key in self.kinds:
            self._tick(key)
        Field("choice", say("paper"), self._paper, value="A4", options=[["A4", "A4"], ["Letter", "Letter"]])
        with Element("div").classes("bt-row"):
            self.make = Button(say("make_papers"), self._begin, style="bt-main")
            self.cancel = Button(say("cancel"), self._cancel)
        self.busy = Text("", "p")
        self.busy._props["role"] = "status"
        self.bar = Element("progress")
        self.bar.set_visibility(False)
        self.files = Element("div")
        with Element("div").classes("bt-row"):
            Button(say("picture"), tab.shell.stage.picture)
            Button(say("print"), lambda: ui.run_javascript("window.print()"))
        self.timer = ui.timer(_POLL_SECONDS, self._poll)
        tab.when_made.append(self.refresh)
        self.refresh()

    def leave(self) -> None:
        """The panel goes; work that has begun goes on."""
        self.timer.cancel()
        self.tab.when_made.remove(self.refresh)

    def _tick(self, key: str) -> None:
        with Element("label").classes("bt-tick"):
            box = Element("input")
            box._props.update({"type": "checkbox", "checked": True, "data-paper": key})
            box.on("change", lambda e, k=key: self.kinds.update({k: bool(e.args)}),
                   js_handler="(e) => emit(e.target.checked)")  # fmt: skip
            Text(say(f"paper_{key}"))

    def _paper(self, value: str) -> None:
        self.paper = value

    def _begin(self) -> None:
        room = self.tab.room
        try:
            case = case_of(room.draft)
        except BowtrueError as err:
            self.tab.tell(str(err), bad=True)
            return
        keys = tuple(k for k, on in self.kinds.items() if on)
        room.job = self.job = begun(
            papers_made, case, room.folder, keys, self.paper, out=room.folder / PAPERS_FOLDER
        )
        self.refresh()

    def _cancel(self) -> None:
        if self.job is not None:
            from nicegui import background_tasks, run

            self.busy.say(say("cancelling"))
            background_tasks.create(run.io_bound(self.job.cancel))

    def _poll(self) -> None:
        job = self.job
        if job is None:
            return
        if job.running:
            line = job.lines[-1] if job.lines else None
            self.busy.say(say("working", what=line.text if line else say("starting")))
            return
        self.job = self.tab.room.job = None
        self.busy.say(say("papers_done") if job.state == "done" else say("papers_failed", why=job.error))
        self.refresh()

    def refresh(self) -> None:
        """Show what can be made, and the files that lie there."""
        running = self.job is not None
        self.make.enable(self.tab.bench is not None and not running)
        self.cancel.enable(running)
        self.bar.set_visibility(running)
        self.missing.clear()
        with self.missing:
            if self.tab.bench is None:
                what_is_missing(self.tab)
        self.files.clear()
        folder = self.tab.room.folder / PAPERS_FOLDER
        names = sorted(p.name for p in folder.iterdir() if p.is_file()) if folder.is_dir() else []
        with self.files:
            if names:
                Text(say("papers_there"), "h3")
                Text(say("papers_where", folder=str(folder)), "p", style="bt-note")
            with Element("ul").classes("bt-list"):
                for name in names:
                    with Element("li"):
                        self._link(name)

    def _link(self, name: str) -> None:
        from urllib.parse import quote

        link: Any = Text(name, "a")
        link._props.update({"href": f"/papers/{quote(name)}", "download": name})
