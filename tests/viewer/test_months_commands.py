"""check, visit and moved as a person types them: every command line of docs/months.md, and one line for bad input."""

from __future__ import annotations

import json
import re
import shlex
import shutil
import tomllib
from pathlib import Path

import pytest

from casework.visits.journal import journal_path, read_journal
from demo_meshes import demo_folder
from mesh_tools.write import write_stl
from tests.casework.moved_arch import case_and_plan, motion_of, moved_arch
from viewer.cli import main

PAGE = Path(__file__).parents[2] / "docs" / "months.md"
NAMES = ("case.toml", "arch.stl", "face.stl", "molar_16.stl", "molar_26.stl")


def blocks(kind: str) -> list[str]:
    return re.findall(rf"```{kind}\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)


def lines_of(command: str) -> list[list[str]]:
    every = [shlex.split(line)[1:] for block in blocks("console") for line in block.strip().splitlines()]
    return [words for words in every if words[0] == command]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo case, an arch months later, a table of wear and the page's readings."""
    where = tmp_path_factory.mktemp("months")
    for name in NAMES:
        shutil.copy(demo_folder() / name, where / name)
    _, plan = case_and_plan()
    later = moved_arch(plan, {"right": motion_of(plan, "right", back=2.0, tip=4.0)}, noise_mm=0.02)
    write_stl(where / "later.stl", later)
    (where / "wear.csv").write_text(
        "\ufeffDate;Hours\n07.03.2026;8,5\n08.03.2026;9\n01.02.2026;24\n", "utf-8"
    )
    (where / "photo.toml").write_text(blocks("toml")[0], "utf-8")
    (where / "nothing.stl").write_bytes((demo_folder() / "face.stl").read_bytes())
    return where


@pytest.fixture
def inside(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(folder)
    return folder


def said(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    assert main(words) == 0, capsys.readouterr().err
    return capsys.readouterr().out


def refused(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    assert main(words) == 2
    told = capsys.readouterr()
    assert not told.out
    return told.err.strip()


def test_the_page_s_checks_run(inside: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first, second = lines_of("check")
    text = said(first, capsys)
    assert "deg down" in text
    assert "not a medical device" in text
    tree = json.loads(said(second, capsys))
    assert tree["sides"]["right"]["how"] == "photograph"
    assert tree["sides"]["left"]["how"] == "ruler"
    # The page's photograph shows the demo plan: its line within the error of measuring.
    assert all(abs(side["offset_mm"]) < 1.0 for side in tree["sides"].values())
    assert tree["errors_of_measuring"]["photo_point_mm"] == 0.5


def test_the_page_s_visits_run(inside: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first, second, third, fourth = lines_of("visit")
    assert "is written" in said(first, capsys)
    text = said(second, capsys)
    assert "recorded 8.8 h over 2 days" in text  # 8.75: only the days since the visit before
    assert "Kirjavainen" in text
    assert "the line of force runs 2.4 mm occlusal" in text
    assert "was there already" in said(second, capsys)
    said(third, capsys)
    assert (inside / "progress.png").read_bytes()[:4] == b"\x89PNG"
    tree = json.loads(said(fourth, capsys))
    assert len(tree["visits"]) == 2
    page = (inside / "progress.html").read_text("utf-8")
    for needed in ("no promise", "Kirjavainen", "common practice",
                   "What to look at next", "can blind", "strap washed"):  # fmt: skip
        assert needed in page
    assert "<script" not in page
    assert len(read_journal(journal_path(inside / "case.toml")).visits) == 2


def test_the_page_s_movements_run(inside: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first, second, third = lines_of("moved")
    assert "held still: everything but the molars" in said(first, capsys)
    tree = json.loads(said(second, capsys))
    right, left = tree["sides"]["right"], tree["sides"]["left"]
    assert right["turn_deg"]["tip"] == pytest.approx(4.0, abs=0.4)
    assert right["target_mm"]["distal"] == pytest.approx(2.0, abs=0.1)
    assert left["verdict"] == "nothing moved"
    assert "3 chosen places" in said(third, capsys)


def test_the_page_s_table_is_toml() -> None:
    assert set(tomllib.loads(blocks("toml")[0])) == {"right", "left", "errors"}


def test_a_visit_refused_leaves_the_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    case = str(shutil.copy(demo_folder() / "case.toml", tmp_path / "case.toml"))
    assert "no visit yet" in said(["visit", case], capsys)
    said(["visit", case, "--date", "2026-05-01", "--told", "12", "--release", "no"], capsys)
    path = journal_path(Path(case))
    before = path.read_bytes()
    wrong = [
        (["--date", "2026-04-30"], "lies before the last one, 2026-05-01"),
        (["--date", "2026-05-01"], "add --same-day"),
        (["--date", "1.5.2026"], "--date must look like 2026-11-25"),
        (["--told", "3"], "--date is missing"),
        (["--date", "2026-06-01", "--told", "33"], "--told: must be less than or equal to 24; got 33"),
        (["--date", "2026-06-01", "--right-relation", "90"], "--right-relation: must be"),
        (
            ["--date", "2026-06-01", "--left-force", "much"],
            "--left-force must be a force such as 4, 4N or 400gf",
        ),
        (["--date", "2026-06-01", "--left-force", "nan"], "--left-force must be"),
        (["--date", "2026-06-01", "--wear", "none.csv"], "none.csv: no such file"),
        (["--date", "2026-06-01", "--wear", "w.csv", "--recorded", "3"], "give the recorded hours once"),
        (["--chart", "chart.pdf"], "--chart must end in .png or .html"),
    ]
    for words, text in wrong:
        if "--chart" in words:
            assert main(["visit", case, *words]) == 2
            told = capsys.readouterr().err.strip()
        else:
            told = refused(["visit", case, *words], capsys)
        assert text in told
        assert len(told.splitlines()) == 1
        assert path.read_bytes() == before


def test_a_torn_line_is_told_and_set_aside(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    case = str(shutil.copy(demo_folder() / "case.toml", tmp_path / "case.toml"))
    said(["visit", case, "--date", "2026-05-01"], capsys)
    path = journal_path(Path(case))
    path.write_bytes(path.read_bytes() + b'{"before":"00')
    assert "ends in an unfinished line, 13 bytes" in said(["visit", case], capsys)
    assert "An unfinished last line was set aside in" in said(["visit", case, "--date", "2026-06-01"], capsys)
    assert [p.read_bytes() for p in tmp_path.glob("*.interrupted-*")] == [b'{"before":"00']
    assert len(read_journal(path).visits) == 2


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (["check", "case.toml"], "nothing was measured"),
        (["check", "case.toml", "--right-hook", "4"], "--right-hook must be two numbers"),
        (["check", "case.toml", "--right-angle=95", "--right-hook=1,2"], "must lie within 75 degrees"),
        (["check", "case.toml", "--right-hook=1,2", "--measured", "photo.toml"], "give the readings once"),
        (
            ["check", "case.toml", "--measured", "zero.toml"],
            "right.photo.scale_mm: must be the true distance",
        ),
        (["check", "none.toml", "--right-hook=1,2"], "case file none.toml does not exist"),
        (["moved", "case.toml", "arch.stl", "none.stl"], "none.stl: no such file"),
        (["moved", "case.toml", "arch.stl", "later.stl", "--months", "-1"], "--months must be above 0"),
        (["moved", "case.toml", "arch.stl", "later.stl", "--hold", "teeth"], "--seed goes with --hold teeth"),
        (["moved", "case.toml", "arch.stl", "later.stl", "--seed", "1,2"], "--seed must be three numbers"),
        (["moved", "case.toml", "arch.stl", "later.stl", "--box", "1,2,3"], "--box must be two corners"),
        pytest.param(
            ["moved", "case.toml", "arch.stl", "nothing.stl"],
            "the later scan does not fit the earlier one",
            marks=pytest.mark.slow,  # a face is looked for in the arch from everywhere
        ),
    ],
)
def test_bad_input_is_one_line(
    inside: Path, words: list[str], text: str, capsys: pytest.CaptureFixture[str]
) -> None:
    zero = blocks("toml")[0].replace("scale_mm = 100.0", "scale_mm = 0.0")
    (inside / "zero.toml").write_text(zero, "utf-8")
    told = refused(words, capsys)
    assert text in told
    assert len(told.splitlines()) == 1
