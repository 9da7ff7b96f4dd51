"""Short messages to the person: shown for some seconds in a corner and read aloud; refusals stay until dismissed."""

from __future__ import annotations

from nicegui import context, ui
from nicegui.element import Element

from viewer.page.words import say

_SECONDS = 6.0


class SaidBox(Element):  # type: ignore[misc]
    """The corner where messages stand, one a page."""

    def __init__(self) -> None:
        super().__init__("div")
        self.classes("bt-said")
        self._props["aria-live"] = "polite"


def tell(text: str, *, bad: bool = False, box: SaidBox | None = None) -> None:
    """Show ``text`` in this tab; a refusal (``bad``) stays until it is clicked away or twice as long."""
    where = box or _box()
    if where is None:
        return
    with where:
        note = Element("div").classes("bad" if bad else "")
        note._props["role"] = "alert" if bad else "status"
        with note:
            line = Element("span")
            line._text = text
            if bad:
                close = Element("button")
                close._text = say("dismiss")
                close._props.update({"type": "button", "class": "bt-quiet"})
                close.on("click", lambda: _gone(note))
        ui.timer((4 if bad else 1) * _SECONDS, lambda: _gone(note), once=True)


def _gone(note: Element) -> None:
    if not note.is_deleted:
        note.delete()


def _box() -> SaidBox | None:
    found = [e for e in context.client.elements.values() if isinstance(e, SaidBox)]
    return found[0] if found else None
