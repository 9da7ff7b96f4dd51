"""``bowtrue prescribe`` as its user meets it."""

from __future__ import annotations

import json

import pytest

from viewer.cli import main

GOOD = ["prescribe", "--class-ii", "5", "--age", "10.5"]


def test_it_prints_pull_force_hours_sources_and_the_reminder(capsys: pytest.CaptureFixture[str]):
    assert main([*GOOD, "--vertical", "open", "--roots", "complete"]) == 0
    out = capsys.readouterr().out
    for text in (
        "high pull",
        "400 gf (3.9 N) per side",
        "range 250-500 gf",
        "12 a day",
        "Firouz",
        "restraint of growth",
    ):
        assert text in out


def test_json_is_nothing_but_json(capsys: pytest.CaptureFixture[str]):
    assert main([*GOOD, "--json", "--pull", "cervical"]) == 0
    tree = json.loads(capsys.readouterr().out)
    assert tree["pull"] == "cervical"
    assert tree["force_n"]["low"] == pytest.approx(250 * 9.80665e-3)
    assert all(r["source"] for r in tree["reasons"])


@pytest.mark.parametrize("words", [["--class-ii", "30", "--age", "10"], ["--class-ii", "5", "--age", "45"]])
def test_outside_its_range_one_line_and_exit_code_2(words: list[str], capsys: pytest.CaptureFixture[str]):
    assert main(["prescribe", *words]) == 2
    seen = capsys.readouterr()
    assert seen.out == ""
    assert len(seen.err.strip().splitlines()) == 1
    assert "no suggestion is made" in seen.err
