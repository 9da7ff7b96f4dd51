"""First step, scans: bring files in, say what each is and how its axes point, see what it is and what repair did."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from nicegui import run
from nicegui.element import Element

from casework.desk.draft import Draft, with_scan, without_scan
from casework.desk.uploads import MAX_BYTES
from casework.scans import Scan
from mesh_tools.look import look_at
from mesh_tools.read import FORMATS
from viewer.page.elements import Button, Dropzone, Field, Text
from viewer.page.words import say

if TYPE_CHECKING:
    from viewer.page.tab import Tab

NAMES = ("right_molar", "left_molar", "arch", "face", "right_bone", "left_bone", "bow")
_FIRST_AXES = ("LPS", "RAS", "LSA", "RSP")
_UNITS = ("", "mm", "cm", "dm", "m", "um", "in")
_GUESS = {"tooth": "right_molar", "arch": "arch", "head": "face", "face": "face", "bow": "bow"}


def axes_codes() -> list[str]:
    """Every right-handed axes code, the commonest first."""
    found = []
    for order in itertools.permutations(range(3)):
        for signs in itertools.product((0, 1), repeat=3):
            turn = np.zeros((3, 3))
            for row, (axis, minus) in enumerate(zip(order, signs, strict=True)):
                turn[row, axis] = -1.0 if minus else 1.0
            if np.linalg.det(turn) > 0.0:
                found.append(
                    "".join(
                        ("LPS", "RAI")[minus]["LPS".index("LPS"[axis])]
                        for axis, minus in zip(order, signs, strict=True)
                    )
                )
    return sorted(found, key=lambda code: (_FIRST_AXES.index(code) if code in _FIRST_AXES else 9, code))


class ScansStep:
    """The panel of the first step in one tab."""

    def __init__(self, tab: Tab) -> None:
        self.tab = tab
        self.file = ""
        self.choice: dict[str, Any] = {"name": "right_molar", "tooth": 16, "axes": "LPS", "unit": ""}
        Text(say("scans_text"), "p", style="bt-note")
        Dropzone(url="/upload", most_bytes=MAX_BYTES, endings=FORMATS, sent=self._sent, refused=self._refused)
        self.refusal = Text("", "div", style="bt-box-bad")
        self.refusal._props["role"] = "alert"
        self.refusal.set_visibility(False)
        self.form = Element("div").classes("bt-card")
        self.form.set_visibility(False)
        self.files = Element("div")
        self.list = Element("div")
        tab.when_made.append(self.refresh)
        self.refresh()

    def leave(self) -> None:
        """The panel goes."""
        self.tab.when_made.remove(self.refresh)

    # ---- coming in ------------------------------------------------------------------------------------------------
    def _sent(self, answer: dict[str, Any]) -> None:
        self.refusal.set_visibility(False)
        self._ask(answer["name"], answer["look"])

    def _refused(self, answer: dict[str, Any]) -> None:
        self.refusal.say(say("upload_refused", name=answer.get("name", ""), text=answer.get("text", "")))
        self.refusal.set_visibility(True)

    async def _look(self, file: str) -> None:
        from mesh_tools.errors import BowtrueError
        from mesh_tools.look import as_dict

        try:
            look = await run.io_bound(look_at, self.tab.room.folder / file)
            self._ask(file, as_dict(look))
        except BowtrueError as err:
            self._refused({"name": file, "text": str(err)})

    def _ask(self, file: str, look: dict[str, Any]) -> None:
        """Ask what ``file`` is: the form under the drop zone."""
        self.file = file
        guess = _GUESS.get(str(look["kind"]), "right_molar")
        taken = self.tab.room.draft.value("scans") or {}
        if guess == "right_molar" and "right_molar" in taken:
            guess = "left_molar"
        self.choice |= {"name": guess, "tooth": 26 if guess == "left_molar" else 16}
        self.form.clear()
        self.form.set_visibility(True)
        with self.form:
            Text(file, "div", style="bt-title")
            for line in told(look):
                Text(line, "p", style="bt-note")
            self._fields(look)

    def _fields(self, look: dict[str, Any]) -> None:
        def chosen(key: str) -> Any:
            return lambda value: self._chosen(key, value)

        Field("choice", say("what_is_it"), chosen("name"), value=self.choice["name"],
              options=[[n, say(f"scan_{n}")] for n in NAMES])  # fmt: skip
        self.tooth = Field("number", say("tooth_number"), chosen("tooth"), value=self.choice["tooth"], min=11, max=48,
                           step=1, hint=say("tooth_hint"))  # fmt: skip
        self.tooth.set_visibility(self.choice["name"].endswith("_molar"))
        Field("choice", say("axes"), chosen("axes"), value=self.choice["axes"], hint=say("axes_hint"),
              options=[[c, say("axes_are", code=c, words=axes_words(c))] for c in axes_codes()])  # fmt: skip
        seen = look.get("unit_guess") or "?"
        Field("choice", say("unit"), chosen("unit"), value="",
              options=[[u, u or say("unit_found", unit=seen)] for u in _UNITS])  # fmt: skip
        with Element("div").classes("bt-row"):
            Button(say("take_scan"), self._take, style="bt-main")
            Button(say("cancel"), lambda: self.form.set_visibility(False))

    def _chosen(self, key: str, value: Any) -> None:
        self.choice[key] = value
        if key == "name":
            molar = str(value).endswith("_molar")
            self.tooth.set_visibility(molar)
            if molar:
                self.choice["tooth"] = 26 if value == "left_molar" else 16
                self.tooth.show(self.choice["tooth"])

    def _take(self) -> None:
        c, file = self.choice, self.file
        tooth = int(c["tooth"]) if c["name"].endswith("_molar") and c["tooth"] else None

        def change(draft: Draft) -> Draft:
            return with_scan(draft, c["name"], file, tooth=tooth, axes=c["axes"], unit=c["unit"] or None)

        if self.tab.change(change):
            self.form.set_visibility(False)

    # ---- what there is ----------------------------------------------------------------------------------------------
    def refresh(self) -> None:
        """Show every scan of the case, and the files of the folder that are none yet."""
        made, draft = self.tab.made, self.tab.room.draft
        given = draft.value("scans") or {}
        self.list.clear()
        with self.list:
            Text(say("scans_have"), "h3")
            if not given:
                Text(say("scans_none"), "p", style="bt-note")
            for name in given:
                self._card(name, given[name], None if made is None else made.readings.scans.get(name),
                           "" if made is None else made.readings.refused.get(name, ""))  # fmt: skip
        used = {str(s.get("file")) for s in given.values() if isinstance(s, dict)}
        self._loose(sorted(set(meshes_in(self.tab.room.folder)) - used))

    def _loose(self, files: list[str]) -> None:
        self.files.clear()
        if not files:
            return
        with self.files:
            Text(say("files_loose"), "h3")
            for file in files[:20]:
                Button(file, lambda _, f=file: self._look(f))

    def _card(self, name: str, given: dict[str, Any], scan: Scan | None, refused: str) -> None:
        with Element("div").classes("bt-card"):
            tooth = f" {given['tooth']}" if given.get("tooth") else ""
            Text(say(f"scan_{name}") + tooth, "div", style="bt-title")
            Text(
                say("scan_file", file=given.get("file", "?"), axes=given.get("axes", "LPS")),
                "p",
                style="bt-note",
            )
            if refused:
                Text(refused, "div", style="bt-box-bad")
            if scan is not None:
                x, y, z = scan.surface.extent_mm
                Text(say("scan_size", faces=len(scan.surface.faces), x=f"{x:.0f}", y=f"{y:.0f}", z=f"{z:.0f}"), "p",
                     style="bt-note")  # fmt: skip
                Text(say("repair_did", what="; ".join(scan.changes)) if scan.changes else say("repair_nothing"), "p",
                     style="bt-note")  # fmt: skip
            with Element("div").classes("bt-row"):
                Button(say("scan_change"), lambda: self._look(str(given.get("file"))),
                       name=say("scan_change_name", name=say(f"scan_{name}")))  # fmt: skip
                Button(say("remove"), lambda: self.tab.change(lambda d: without_scan(d, name)),
                       name=say("remove_name", name=say(f"scan_{name}")))  # fmt: skip


def axes_words(code: str) -> str:
    """Where the file's x, y and z point, in words."""
    return ", ".join(say(f"way_{letter}") for letter in code)


def told(look: dict[str, Any]) -> list[str]:
    """What a mesh is and what repair would do, in lines."""
    x, y, z = look["extent"]
    lines = [
        say("look_size", points=look["points"], faces=look["faces"], x=f"{x:.4g}", y=f"{y:.4g}", z=f"{z:.4g}")
    ]
    lines.append(say("look_kind", kind=look["kind"], why="; ".join(look["kind_reasons"])))
    lines.append(say("look_closed") if look["closed"] else say("look_open", holes=look["holes"]))
    changes = "; ".join(look["repair_changes"])
    lines.append(say("repair_will", what=changes) if changes else say("repair_nothing"))
    return [*lines, *look["repair_notes"]]


def meshes_in(folder: Path) -> list[str]:
    """Mesh files that lie in the case's folder itself."""
    return [
        p.name for p in folder.iterdir() if p.suffix.lower() in FORMATS and p.is_file() and p.name[0] != "."
    ]
