"""Readings from a TOML table."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from casework.check.errors import CheckError
from casework.check.file import measured_from, read_measured
from casework.check.readings import PhotoReading, RulerReading
from mesh_tools.errors import BadFileError, BowtrueError, MissingFileError

PHOTO = {
    "scale_px": [[100, 900], [520, 900]], "scale_mm": 100.0, "plane_px": [[300, 500], [500, 510]],
    "mark_px": [400, 480], "hook_px": [500, 490], "strap_px": [700, 600],
}  # fmt: skip


def test_both_kinds_are_read(tmp_path: Path):
    path = tmp_path / "seen.toml"
    path.write_text(
        "\ufeff[right]\nhook_up_mm = -2\nhook_back_mm = 24.5\nstrap_angle_deg = -29\nforce_gf = 400\n"
        "[right.high]\nforce_n = 2.0\n[left.photo]\nscale_px = [[100, 900], [520, 900]]\nscale_mm = 100\n"
        "plane_px = [[300, 500], [500, 510]]\nmark_px = [400, 480]\nhook_px = [500, 490]\nstrap_px = [700, 600]\n"
        "[errors]\nruler_mm = 0.5\n",
        "utf-8",
    )
    measured = read_measured(path)
    right, left = measured.sides["right"], measured.sides["left"]
    assert isinstance(right, RulerReading)
    assert (right.up_mm, right.back_mm, len(right.straps)) == (-2.0, 24.5, 2)
    assert right.straps[0].force_n == pytest.approx(400 * 9.80665e-3)
    assert isinstance(left, PhotoReading)
    assert left.px_per_mm == pytest.approx(4.2)
    np.testing.assert_allclose(left.strap_px, [[700.0, 600.0]])
    assert measured.errors.ruler_mm == 0.5
    assert measured.errors.protractor_deg == 3.0


@pytest.mark.parametrize(
    ("values", "text"),
    [
        ({}, "nothing was measured"),
        ({"right": {}}, "right: give hook_up_mm and hook_back_mm, or a photo table"),
        ({"right": {"hook_up_mm": 1.0}}, "right: give hook_up_mm and hook_back_mm"),
        ({"right": {"hook_up_mm": 1.0, "hook_back_mm": 900.0}}, r"right\.hook_back_mm: must lie within 200 mm"),
        ({"left": {"hook_up_mm": 1, "hook_back_mm": 2, "strap_angle_deg": 120}}, r"left\.strap_angle_deg: must lie"),
        ({"left": {"hook_up_mm": 1, "hook_back_mm": 2, "force_n": 0}}, r"left\.force_n: must be above 0"),
        ({"left": {"hook_up_mm": 1, "hook_back_mm": 2, "force_n": 4, "force_gf": 400}}, "give the force once"),
        ({"left": {"hook_up": 1}}, r"left\.hook_up: unknown key"),
        ({"left": {"hook_up_mm": "high", "hook_back_mm": 2}}, r"left\.hook_up_mm: must be a valid number.*high"),
        ({"left": {"photo": {**PHOTO, "scale_mm": 0.0}}}, r"left\.photo\.scale_mm: .*above zero"),
        ({"left": {"photo": {**PHOTO, "hook_px": [700, 600]}}}, "left.photo: the hook and the strap point lie 0.0"),
        ({"left": {"photo": {**PHOTO, "mark_px": [1]}}}, r"left\.photo\.mark_px"),
        ({"left": {"photo": PHOTO, "hook_up_mm": 2.0}}, "by ruler or by photo, not both"),
        ({"errors": {"ruler_mm": 99}}, r"errors\.ruler_mm: must be a standard deviation"),
        ({"right": {"hook_up_mm": float("nan"), "hook_back_mm": 2}}, r"right\.hook_up_mm"),
    ],
)  # fmt: skip
def test_a_wrong_table_is_one_line(values: dict[str, object], text: str):
    with pytest.raises(CheckError, match=text) as told:
        measured_from(values)
    assert len(str(told.value).splitlines()) == 1


def test_files_that_are_none(tmp_path: Path):
    with pytest.raises(MissingFileError, match="no such file"):
        read_measured(tmp_path / "none.toml")
    (tmp_path / "half.toml").write_text("[right", "utf-8")
    with pytest.raises(BadFileError, match="is not a TOML file"):
        read_measured(tmp_path / "half.toml")
    (tmp_path / "wrong.toml").write_text("[right]\nhook_up_mm = 1\n", "utf-8")
    with pytest.raises(BowtrueError, match=r"wrong\.toml: right: give"):
        read_measured(tmp_path / "wrong.toml")
