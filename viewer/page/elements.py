"""Plain elements of the page: native buttons, fields, headings and the scene, each with a name that is read aloud."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Literal

from nicegui.element import Element

from viewer.page.words import say

Told = Callable[..., Any]


class Text(Element):  # type: ignore[misc]
    """An element that holds plain text; the browser shows it as text, whatever is in it."""

    def __init__(self, text: str = "", tag: str = "span", *, style: str = "") -> None:
        super().__init__(tag)
        self._text = text
        if style:
            self.classes(style)

    def say(self, text: str) -> None:
        """Show ``text`` instead."""
        if text != self._text:
            self._text = text
            self.update()


class Button(Element):  # type: ignore[misc]
    """A native button; ``pressed`` makes it a switch."""

    def __init__(
        self,
        text: str,
        told: Told,
        *,
        name: str = "",
        style: str = "",
        pressed: bool | None = None,
        title: str = "",
    ) -> None:
        super().__init__("button")
        self._text = text
        self._props["type"] = "button"
        if name:
            self._props["aria-label"] = name
        if title:
            self._props["title"] = title
        if style:
            self.classes(style)
        if pressed is not None:
            self.press(pressed)
        self.on("click", told)

    def press(self, pressed: bool) -> None:
        """Show the switch as on or off."""
        self._props["aria-pressed"] = "true" if pressed else "false"
        self.update()

    def enable(self, on: bool) -> None:
        """Let it be pressed, or grey it out."""
        if on:
            self._props.pop("disabled", None)
        else:
            self._props["disabled"] = True
        self.update()

    def say(self, text: str) -> None:
        """Another text."""
        self._text = text
        self.update()


FieldKind = Literal["slider", "number", "text", "choice"]


class Field(Element, component="field.js"):  # type: ignore[call-arg, misc]
    """A labelled slider, number, text or choice; ``settled`` is told the value when the person lets go."""

    def __init__(
        self, kind: FieldKind, label: str, settled: Told, *, moved: Told | None = None, **props: Any
    ) -> None:
        super().__init__()
        self._props.update(
            {"kind": kind, "label": label, **{k: v for k, v in props.items() if v is not None}}
        )
        self.on("settle", lambda e: self._settled(e.args, settled))
        self.on("unfit", lambda e: _refuse_number(label, e.args, props))
        if moved is not None:
            self.on("move", lambda e: moved(e.args))

    def _settled(self, value: Any, settled: Told) -> None:
        self._props["value"] = value  # what the browser shows already
        settled(value)

    def show(self, value: float | str | None) -> None:
        """Show ``value``; a slider that is being held keeps what the hand gives it."""
        if self._props.get("value") != value:
            self._props["value"] = value
            self.update()
            self.run_method("put", value)

    def offer(self, options: Sequence[tuple[str, str]]) -> None:
        """The options of a choice: value and text each."""
        self._props["options"] = [list(o) for o in options]
        self.update()

    def enable(self, on: bool) -> None:
        """Let it be changed, or grey it out."""
        self._props["off"] = not on
        self.update()


def _refuse_number(label: str, given: Any, props: dict[str, Any]) -> None:
    from viewer.page.telling import tell

    tell(
        say("number_unfit", label=label, given=given, low=props.get("min", ""), high=props.get("max", "")),
        bad=True,
    )


class Dropzone(Element, component="dropzone.js"):  # type: ignore[call-arg, misc]
    """Where scans are dropped or chosen; ``sent`` is told the server's answer to each, ``refused`` name and text."""

    def __init__(
        self, *, url: str, most_bytes: int, endings: Sequence[str], sent: Told, refused: Told
    ) -> None:
        super().__init__()
        self._props.update(
            {
                "label": say("drop_label"), "hint": say("drop_hint", endings=", ".join(endings)), "url": url,
                "accept": ",".join(endings), "mostBytes": most_bytes, "failed": say("upload_failed"),
                "tooLarge": say("upload_too_large", mb=most_bytes // 1_000_000),
            }
        )  # fmt: skip
        self.on("sent", lambda e: sent(e.args))
        self.on("refused", lambda e: refused(e.args))


class SceneView(Element, component="scene_view.js"):  # type: ignore[call-arg, misc]
    """The scene: layers of glTF by address, views, picking and handles. It needs the library's own scene bundle."""

    def __init__(self, label: str) -> None:
        super().__init__()
        from nicegui.elements.scene.scene import Scene as Bundled

        del Bundled  # importing it registers the bundle of three.js under its name
        self._props["label"] = label
        self._props["captions"] = {"no_webgl": say("no_webgl")}

    def call(self, method: str, *values: Any) -> None:
        """Run a method of the component in this tab's browser."""
        self.run_method(method, *values)
