"""``bowtrue study`` as a researcher runs it: a table in, tables, pictures and a page out, an exit code that tells."""

import csv
import re

import pytest

from casework.study.study import StudyCount
from tests.casework.study_teeth import write_teeth
from viewer.cli import main
from viewer.cli.study_bar import bar_text

METHODS = ("--method", "rule_of_thumb", "--method", "furcation", "--method", "elastic_foundation")


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("study")
    table = write_teeth(folder, 4)
    table.write_text(table.read_text("utf-8") + "bad,<b>gone</b>.stl,16,LPS,mm,9\n", "utf-8")
    return folder, main(["study", str(table), "--out", str(folder / "out"), "--workers", "1", *METHODS])


def test_exit_code_one_says_that_some_failed_and_the_rest_is_there(study):
    folder, code = study
    assert code == 1
    out = folder / "out"
    for name in ("results.csv", "results.parquet", "dictionary.csv", "agreement.csv", "dependence.csv", "outliers.csv",
                 "mean_teeth.csv", "study.json", "study.html", "cloud.png", "differences.png"):  # fmt: skip
        assert (out / name).stat().st_size > 20, name
    rows = list(csv.DictReader((out / "results.csv").read_text("utf-8").splitlines()))
    assert sum(r["status"] == "failed" for r in rows) == 1


def test_the_page_stands_alone_carries_the_cautions_and_escapes_what_the_table_says(study):
    page = (study[0] / "out" / "study.html").read_text("utf-8")
    assert not re.search(r"(src|href)=\"(?!data:)", page)
    assert "<b>gone" not in page
    assert "&lt;b&gt;gone" in page
    assert "not a medical device" in page
    assert "can blind" in page


def test_a_folder_with_a_naming_pattern_and_bad_options(study, tmp_path, capsys):
    folder = study[0]
    assert main(["study", str(folder), "--out", str(tmp_path), "--unit", "mm", "--workers", "1", "--no-pictures",
                 "--method", "furcation"]) == 0  # fmt: skip
    capsys.readouterr()
    assert main(["study", str(folder), "--out", str(tmp_path), "--workers", "0"]) == 2
    assert main(["study", str(tmp_path / "no.csv"), "--out", str(tmp_path)]) == 2
    assert main(["study", str(folder), "--out", str(tmp_path), "--method", "guess"]) == 2
    told = capsys.readouterr().err
    assert [line.split(":")[0] for line in told.splitlines()] == ["bowtrue"] * 3


def test_the_bar_tells_rate_and_time_left():
    text = bar_text(StudyCount(teeth=100, answered=50, kept=10, failed=2), 60.0)
    assert "50 of 100 teeth, 2 failed, 40 a minute, 0:01:15 left" in text
    assert text.count("#") == 12
