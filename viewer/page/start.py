"""The first thing a tab shows: the open case, or the choice of one."""

from __future__ import annotations

from nicegui import ui
from nicegui.element import Element

from casework.cautions import SHORT_CAUTION
from mesh_tools.errors import BowtrueError
from viewer.page.elements import Button, Field, Text
from viewer.page.house import House
from viewer.page.style import head
from viewer.page.tab import Tab
from viewer.page.telling import SaidBox, tell
from viewer.page.words import say


async def build_page(house: House) -> None:
    """Build this tab: the work when a case is open, else the start."""
    head()
    SaidBox()
    client = ui.context.client

    def moved() -> None:
        client.run_javascript("location.reload()")

    house.moved.append(moved)
    client.on_delete(lambda: house.moved.remove(moved) if moved in house.moved else None)
    if house.room is None:
        build_start(house)
        return
    tab = Tab(house, house.room)
    tab.build()
    client.on_delete(tab.close)
    ui.timer(0.05, tab.begin, once=True)


def build_start(house: House) -> None:
    """Open a case of the folder, begin one, or take the invented one."""
    asked = {"name": ""}

    def guarded(act: object, *values: object) -> None:
        try:
            act(*values)  # type: ignore[operator]
        except BowtrueError as err:
            tell(str(err), bad=True)

    with Element("main").classes("bt-start"):
        Text(say("start_title"), "h1")
        Text(say("start_text"), "p")
        cases = house.cases()
        if cases:
            Text(say("start_open"), "h2")
            with Element("ul").classes("bt-list"):
                for name in cases:
                    with Element("li"):
                        Button(name, lambda _, n=name: guarded(house.open, n))
        Text(say("start_new"), "h2")

        def begun(value: str) -> None:
            asked["name"] = value

        Field("text", say("start_name"), begun, hint=say("start_name_hint"), value="", max=80)
        with Element("div").classes("bt-row"):
            Button(say("start_begin"), lambda: guarded(house.start, asked["name"]), style="bt-main")
        Text(say("start_demo"), "h2")
        Text(say("start_demo_text"), "p", style="bt-note")
        with Element("div").classes("bt-row"):
            Button(say("start_demo_open"), lambda: guarded(house.open_demo))
        Text(say("start_folder", folder=str(house.root)), "p", style="bt-note")
        Text(SHORT_CAUTION, "p", style="bt-note")
