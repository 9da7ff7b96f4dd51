"""Every output that a plan can be read from carries the cautions; a command that is not listed here fails the test.

Each command is run for real and everything it prints and writes is looked at. Tables (CSV), shapes (STL, PLY, glTF)
and single pictures without a plan's numbers hold data alone: what is written beside them carries the cautions.
"""

from __future__ import annotations

import html
import json
import re
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from casework.cautions import CAUTIONS, SHORT_CAUTION
from demo_meshes import demo_folder
from viewer.cli import COMMANDS, main
from viewer.cli import SHORT_CAUTION as HELP_CAUTION

DEMO = demo_folder()
CASE = str(DEMO / "case.toml")
MOLAR = ["--tooth", "26", "--axes", "LPS", "--method", "elastic_foundation"]
DATA_ALONE = {".csv", ".parquet", ".stl", ".ply", ".vtp", ".glb", ".gltf", ".png", ".bin", ".toml"}
# They measure a scan and give no plan: their help carries the short caution, as that of every command does.
NO_PLAN = {
    "look": "says what a mesh is",
    "bow": "measures a wire",
    "register": "lays one scan on another",
    "find": "proposes landmarks that a person confirms",
}
# The page's own test drives it in a browser: tests/viewer/test_page_in_browser.py counts the cautions beside the plan.
IN_BROWSER = {"page"}
QUICK: Mapping[str, Callable[[Path], list[str]]] = {
    "demo": lambda out: ["demo", "--no-pictures", "--out", str(out)],
    "centre": lambda _: ["centre", str(DEMO / "molar_26.stl"), *MOLAR],
    "visit": lambda out: ["visit", _own_case(out), "--date", "2026-11-25", "--told", "12"],
    "selftest": lambda _: ["selftest"],
    "prescribe": lambda _: ["prescribe", "--class-ii", "4", "--age", "11"],
}
LONG: Mapping[str, Callable[[Path], list[str]]] = {
    "demo, pictures": lambda out: ["demo", "--out", str(out)],
    "plan": lambda out: ["plan", CASE, "--no-pictures", "--out", str(out)],
    "centre, folder": lambda out: ["centre", str(DEMO / "molar_26.stl"), *MOLAR, "--out", str(out)],
    "check": lambda _: ["check", CASE, "--right-hook=-2.5,24", "--right-angle=-10"],
    "pulls": lambda out: ["pulls", CASE, "--out", str(out)],
    "sheets": lambda out: ["sheets", CASE, "--out", str(out)],
    "study": lambda out: ["study", _table(out), "--workers", "1", "--out", str(out)],
    "moved": lambda _: [
        "moved", CASE, *(str(DEMO / "arch.stl"),) * 2, "--earlier-axes", "LSA", "--later-axes", "LSA"
    ],
    "visit, chart": lambda out: ["visit", _own_case(out), "--date", "2026-11-25", "--told", "12", "--right-relation",
                                 "3", "--chart", str(out / "chart.html")],
}  # fmt: skip
JSON: Mapping[str, list[str]] = {
    "centre": ["centre", str(DEMO / "molar_26.stl"), *MOLAR, "--json", "-"],
    "prescribe": ["prescribe", "--class-ii", "4", "--age", "11", "--json"],
}


def _own_case(out: Path) -> str:
    """The demo's case file in a folder of its own, for what is kept beside it."""
    out.mkdir(exist_ok=True)
    (out / "case.toml").write_text((DEMO / "case.toml").read_text("utf-8"), "utf-8")
    return str(out / "case.toml")


def _table(out: Path) -> str:
    path = out.with_suffix(".csv")
    path.write_text(f"mesh,tooth,axes\n{DEMO / 'molar_26.stl'},26,LPS\n{DEMO / 'molar_16.stl'},16,RAS\n")
    return str(path)


def plain(text: str) -> str:
    """Words with one space between them, whatever markup and line ends there were."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


def letters(text: str) -> str:
    """The letters alone: lines of a sheet break anywhere, and page numbers stand between them."""
    return re.sub(r"[^A-Za-z]", "", plain(text))


def carries_all(text: str) -> bool:
    return all(c.text in plain(text) for c in CAUTIONS)


def text_of_pdf(path: Path) -> str:
    pdfplumber = pytest.importorskip("pdfplumber")
    with pdfplumber.open(path) as pdf:
        return "\n".join(page.extract_text() or "" for page in pdf.pages)


def text_of_dxf(path: Path) -> str:
    """The lines of text on the layer of the cautions, in the drawing's order."""
    ezdxf = pytest.importorskip("ezdxf")
    lines = ezdxf.readfile(path).modelspace().query('TEXT[layer=="CAUTION"]')
    return " ".join(line.dxf.text for line in lines)


def check_file(path: Path) -> None:
    """Raises AssertionError where a file that a person acts on lacks the cautions."""
    if path.suffix == ".json":
        text = path.read_text("utf-8")
        if path.name == "study.json":  # the settings of a run, no result
            return
        assert carries_all(" ".join(json.loads(text)["cautions"])), path.name
    elif path.suffix == ".pdf":
        assert letters(SHORT_CAUTION) in letters(text_of_pdf(path)), path.name
    elif path.suffix == ".dxf":
        assert letters(SHORT_CAUTION) in letters(text_of_dxf(path)), path.name
    elif path.suffix in (".html", ".svg", ".txt", ".md"):
        text = path.read_text("utf-8")
        assert letters(SHORT_CAUTION) in letters(text) or carries_all(text), path.name
    else:
        assert path.suffix in DATA_ALONE or path.name.endswith((".jsonl", ".lock", ".log")), (
            f"{path.name}: list its kind"
        )


def run_and_check(words: list[str], out: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(words) == 0, capsys.readouterr().err
    assert SHORT_CAUTION in plain(capsys.readouterr().out)
    if out.is_dir():
        for path in sorted(p for p in out.rglob("*") if p.is_file()):
            check_file(path)


def test_every_command_is_listed() -> None:
    listed = {name.split(",")[0] for name in (*QUICK, *LONG)} | set(NO_PLAN) | IN_BROWSER
    assert listed == set(COMMANDS), "a new command: list it with its check above"


@pytest.mark.parametrize("name", COMMANDS)
def test_every_help_carries_the_short_form(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main([name, "--help"])
    assert HELP_CAUTION in plain(capsys.readouterr().out)


@pytest.mark.parametrize("name", QUICK)
def test_quick_commands(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run_and_check(QUICK[name](tmp_path / "out"), tmp_path / "out", capsys)


@pytest.mark.parametrize("name", JSON)
def test_json_on_standard_output(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(JSON[name]) == 0
    tree = json.loads(capsys.readouterr().out)
    told = " ".join([*tree.get("cautions", []), *tree.get("reminders", [])])
    assert carries_all(told) or SHORT_CAUTION in told


@pytest.mark.slow
@pytest.mark.parametrize("name", LONG)
def test_long_commands(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run_and_check(LONG[name](tmp_path / "out"), tmp_path / "out", capsys)
