"""``bowtrue pulls`` as its user meets it: text, JSON, a page that needs nothing else, one line for bad input."""

from __future__ import annotations

import json
from html.parser import HTMLParser
from pathlib import Path

import pytest

from casework.pull_words import KIND_WORDS
from demo_meshes import demo_folder
from viewer.cli import main


@pytest.fixture(scope="module")
def case_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo without scans: the rule of thumb is the target, and everything is quick."""
    text = (demo_folder() / "case.toml").read_text("utf-8")
    folder = tmp_path_factory.mktemp("case")
    kept = [part for part in text.split("\n\n") if not part.startswith("[scans")]
    (folder / "case.toml").write_text("\n\n".join(kept), "utf-8")
    return folder / "case.toml"


class _Seen(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.links: list[str] = []
        self.tags: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.links += [v or "" for k, v in attrs if k in ("src", "href") and v != "data:,"]


def test_it_writes_a_page_that_needs_nothing_else(
    case_path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    assert main(["pulls", str(case_path), "--out", str(tmp_path / "out"), "--both", "1.5", "2.5"]) == 0
    out = capsys.readouterr().out
    assert all(words in out for words in KIND_WORDS.values())
    assert "1.50 N + 2.50 N" in out
    page = (tmp_path / "out" / "pulls.html").read_text("utf-8")
    seen = _Seen()
    seen.feed(page)
    assert seen.links == []
    assert "script" not in seen.tags
    assert seen.tags.count("svg") == 6
    assert "can blind" in page
    assert "restraint" in page
    tree = json.loads((tmp_path / "out" / "pulls.json").read_text("utf-8"))
    assert tree["pulls"][2]["strap_forces_n"]["right"] == [1.5, 2.5]


def test_json_is_nothing_but_json(case_path: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["pulls", str(case_path), "--json"]) == 0
    seen = capsys.readouterr()
    assert json.loads(seen.out)["own_pull"] == "cervical"
    assert seen.err == ""


@pytest.mark.parametrize(
    ("words", "text"),
    [(["--neck", "-3"], "above 0 and up to 30 N"), (["--cap", "nan"], "above 0 and up to 30 N")],
)
def test_a_force_that_cannot_be_gets_one_line_and_writes_nothing(
    words: list[str], text: str, case_path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    assert main(["pulls", str(case_path), "--out", str(tmp_path / "out"), *words]) == 2
    seen = capsys.readouterr()
    assert seen.out == ""
    assert len(seen.err.strip().splitlines()) == 1
    assert text in seen.err
    assert not (tmp_path / "out").exists()


def test_a_missing_case_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["pulls", str(tmp_path / "none.toml")]) == 2
    assert "does not exist" in capsys.readouterr().err
