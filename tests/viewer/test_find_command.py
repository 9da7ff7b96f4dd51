"""``bowtrue find``: text, JSON, picture and refusals."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from casework.cautions import SHORT_CAUTION
from demo_meshes import demo_folder
from viewer.cli import main


def test_find_prints_writes_and_draws(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("matplotlib", reason="pictures need the extra figures")
    out, tree = tmp_path / "found.png", tmp_path / "found.json"
    words = ["find", str(demo_folder() / "arch.stl"), "--kind", "arch", "--axes", "LSA"]
    assert main([*words, "--out", str(out), "--json", str(tree)]) == 0
    told = capsys.readouterr().out
    assert "occlusal_plane_mm" in told
    assert "? tube_right_mesial_mm" in told
    assert "to be verified" in told
    assert out.read_bytes().startswith(b"\x89PNG")
    assert out.stat().st_size > 50_000
    found = json.loads(tree.read_text("utf-8"))
    assert {p["name"] for p in found["proposals"]} >= {
        "midline",
        "arch_form",
        "molar_right",
        "incisor_contact_mm",
    }
    assert all(0.0 <= p["confidence"] <= 1.0 and p["why"] for p in found["proposals"])


def test_a_tooth_is_no_arch_and_nothing_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "found.json"
    assert main(["find", str(demo_folder() / "molar_26.stl"), "--kind", "arch", "--json", str(out)]) == 2
    told = capsys.readouterr().err
    assert told.startswith("bowtrue: error:")
    assert told.count("\n") == 1
    assert not out.exists()


@pytest.mark.parametrize(("axes", "facing_up"), [("LPS", False), ("RSP", False), ("LIP", True)])
def test_wrong_axes_are_told_with_those_that_fit_and_nothing_stays_sure(
    axes: str, facing_up: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    tree = tmp_path / "found.json"
    arch = str(demo_folder() / "arch.stl")  # its true axes are LSA (demo_meshes/README.md)
    assert main(["find", arch, "--kind", "arch", "--axes", axes, "--json", str(tree)]) == 0
    told = capsys.readouterr().out
    assert "These axes do not look right" in told
    assert "with --axes LSA the occlusal plane would be level" in told
    assert ("teeth facing up" in told) == facing_up
    assert SHORT_CAUTION in told
    assert max(p["confidence"] for p in json.loads(tree.read_text("utf-8"))["proposals"]) <= 0.3


def test_a_left_handed_code_is_told_and_no_mirrored_one_is_offered(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["find", str(demo_folder() / "arch.stl"), "--kind", "arch", "--axes", "LSP"]) == 0
    told = capsys.readouterr().out
    assert "give --axes; LSP is left-handed, so it mirrors the scan" in told
    assert "with --axes RSA" not in told


def test_right_axes_are_not_doubted(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["find", str(demo_folder() / "arch.stl"), "--kind", "arch", "--axes", "LSA"]) == 0
    told = capsys.readouterr().out
    assert "axes do not look right" not in told
    assert SHORT_CAUTION in told
