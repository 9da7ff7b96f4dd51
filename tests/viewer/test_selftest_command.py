"""``bowtrue selftest``: every figure comes out, each with a source; a figure that does not is said and fails."""

import json

import pytest

from casework.selftest import selftest
from casework.selftest.figure import Figure
from viewer.cli import main


def test_every_figure_comes_out_and_names_its_source(capsys):
    assert main(["selftest", "--json"]) == 0
    tree = json.loads(capsys.readouterr().out)
    assert tree["sound"]
    assert len(tree["figures"]) >= 30
    for figure in tree["figures"]:
        assert figure["source"], figure["name"]
        assert figure["tolerance"] <= 0.05 * max(abs(figure["wanted"]), 0.1), figure["name"]


def test_a_figure_that_does_not_come_out_fails_the_command(monkeypatch, capsys):
    broken = Figure("a broken figure", "a source", "mm", 1.0, 1.2, 0.1)
    monkeypatch.setattr(selftest, "GROUPS", {"broken": lambda: iter([broken])})
    assert main(["selftest"]) == 1
    told = capsys.readouterr().out
    assert "FAIL a broken figure" in told
    assert "DO NOT USE this installation" in told
    assert "not a medical device" in told


@pytest.mark.parametrize(
    ("found", "sound"),
    [(1.0, True), (1.1, True), (1.11, False), (float("nan"), False), (float("inf"), False)],
)
def test_a_figure_is_sound_within_its_tolerance_only(found, sound):
    assert Figure("x", "y", "", 1.0, found, 0.1000001).sound is sound
