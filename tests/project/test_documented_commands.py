"""Every command line in README and documents: understood by the program, and run, here or where its own tests are."""

import re
import shlex
import shutil
from pathlib import Path

import pytest

from demo_meshes.files import read_stl, write_stl
from viewer.cli import main, parser

ROOT = Path(__file__).resolve().parents[2]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]
ELSEWHERE = {
    "page": "served and driven in tests/viewer/test_page_in_browser.py",
    "check": "run in tests/viewer/test_months_commands.py",
    "visit": "run in tests/viewer/test_months_commands.py",
    "moved": "run in tests/viewer/test_months_commands.py",
    "bow": "run on a scan made from a bow in tests/casework/test_bow_scan.py",
}
NOT_AS_WRITTEN = {
    "bowtrue plan case-used.toml --out again": "tests/casework/test_case_copy.py",
    "bowtrue register arch.stl molar_16.stl --landmarks pairs.toml --out arch_laid.stl --json laid.json "
    "--picture laid.png": "tests/viewer/test_register_command.py",
    'bowtrue study meshes --pattern "{id}_{tooth}.stl" --axes LPS --out study': "tests/viewer/test_study_command.py",
}


ALONE = ("bowtrue demo", "bowtrue selftest")


def documented() -> list[str]:
    """Command lines with real words only: no dots, brackets or capitals that stand for something else."""
    found = []
    for page in PAGES:
        text = page.read_text("utf-8")
        lines = re.findall(r"^(?: {4})?(bowtrue [a-z]+(?: .*)?)$", text, re.MULTILINE)
        inline = re.findall(r"`(bowtrue [a-z]+(?: [^`]+)?)`", text)
        for line in [*lines, *(" ".join(i.split()) for i in inline)]:
            words = line.split("  #")[0].split(" # ")[0].strip()
            if not re.search(r"\.\.\.|[\[|<…]| [A-Z]+\b(?!=)", words.replace(" LSA", "").replace(" LPS", "")):
                found.append(words)
    return list(dict.fromkeys(found))


def test_the_documents_hold_command_lines():
    assert len(documented()) > 30


@pytest.mark.parametrize(
    "line", [w for w in documented() if "--help" not in w and (w.count(" ") > 1 or w in ALONE)]
)
def test_every_documented_line_is_understood(line):
    words = shlex.split(line)[1:]
    parsed = parser(words).parse_args(words)
    assert parsed.command == words[0]


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    """A folder with the files that the documents speak of."""
    folder = tmp_path_factory.mktemp("desk")
    demo = ROOT / "demo_meshes"
    for file in (*demo.glob("*.stl"), demo / "case.toml"):
        shutil.copy(file, folder / file.name)
    write_stl(folder / "molar.stl", *read_stl(demo / "molar_26.stl"), axes="LSA")
    shutil.copy(demo / "face.stl", folder / "head.stl")
    points, faces = read_stl(demo / "molar_26.stl")
    for k in range(3):
        write_stl(folder / f"t{k}.stl", points * (1.0 + 0.02 * k), faces)
    rows = "".join(f"t{k}.stl,26,LPS,mm,{9 + k}\n" for k in range(3))
    (folder / "teeth.csv").write_text("mesh,tooth,axes,unit,age\n" + rows, "utf-8")
    return folder


def runnable() -> list[str]:
    return [w for w in documented() if shlex.split(w)[1] not in ELSEWHERE and w not in NOT_AS_WRITTEN
            and (len(shlex.split(w)) > 2 or shlex.split(w)[1] in ("demo", "selftest"))]  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("line", runnable())
def test_every_documented_line_runs(line, desk, monkeypatch, capsys):
    monkeypatch.chdir(desk)
    words = shlex.split(line)[1:]
    if "--help" in words:
        with pytest.raises(SystemExit) as left:
            main(words)
        assert left.value.code == 0
        return
    code = main(words)
    assert code == 0, capsys.readouterr().err
