"""``bowtrue register``: from two files to the moved scan, the numbers and the picture, and one line for bad input."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from casework.registering import (
    RegisterChoices,
    RegisteredFiles,
    ScanFile,
    read_pairs,
    register_files,
    registration_dict,
)
from demo_meshes import demo_folder
from demo_meshes.scattered import moves, write_scattered
from mesh_tools.errors import BadFileError
from mesh_tools.read import read_surface
from mesh_tools.write import write_stl
from tests.mesh_tools.registration_cases import demo_scan
from viewer.cli import main
from viewer.distance_map_png import FAR, distance_colours, write_distance_map

USED = ("cusp_16_0", "cusp_16_1", "cusp_26_0", "cusp_26_2", "incisor_contact_mm")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("scattered")
    write_scattered(demo_folder(), target)
    marks = json.loads((target / "moves.json").read_text("utf-8"))["arch"]["landmarks"]
    own, lps = ([marks[name][key] for name in USED] for key in ("own_mm", "lps_mm"))
    (target / "pairs.toml").write_text(f"moving_mm = {own}\nfixed_mm = {lps}\n", "utf-8")
    return target


@pytest.fixture(scope="module")
def laid(folder: Path) -> RegisteredFiles:
    files = ScanFile(folder / "arch.stl"), ScanFile(folder / "molar_16.stl")
    return register_files(*files, pairs=read_pairs(folder / "pairs.toml"), choices=RegisterChoices())


def test_the_command_brings_the_arch_home(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, numbers = tmp_path / "moved.stl", tmp_path / "numbers.json"
    words = ["register", str(folder / "arch.stl"), str(folder / "molar_16.stl"), "--landmarks",
             str(folder / "pairs.toml"), "--out", str(out), "--json", str(numbers)]  # fmt: skip
    assert main(words) == 0
    assert "arch.stl laid by 5 landmark pairs" in capsys.readouterr().out
    home = demo_scan("arch").points_mm
    found = json.loads(numbers.read_text("utf-8"))
    back = moves()["arch"].applied(home) @ np.array(found["rotation"]).T + found["shift_mm"]
    assert np.linalg.norm(back - home, axis=1).max() < 0.1
    assert found["overlap_share"] == pytest.approx(0.32, abs=0.05)
    assert len(found["distances_mm"]) == len(home)
    moved = read_surface(out).points_mm
    np.testing.assert_allclose(moved.min(axis=0), home.min(axis=0), atol=0.1)
    np.testing.assert_allclose(moved.max(axis=0), home.max(axis=0), atol=0.1)


def test_pairs_on_the_line_and_landmarks_only(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    marks = json.loads((folder / "moves.json").read_text("utf-8"))["face"]["landmarks"]
    pairs = [
        "--pair=" + ":".join(",".join(f"{v:.4f}" for v in p[key]) for key in ("own_mm", "lps_mm"))
        for p in marks.values()
    ]
    files = [str(folder / name) for name in ("face.stl", "arch.stl")]
    assert main(["register", *files, *pairs, "--landmarks-only", "--json", "-"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["start"] == "landmarks alone"
    np.testing.assert_allclose(np.array(found["rotation"]), moves()["face"].rotation.T, atol=1e-5)


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (["--landmarks-only"], "no landmark pairs are given"),
        (["--pair", "1,2:3,4,5"], "must look like 1,2,3:4,5,6"),
        (["--pair", "1,2,3"], "must be two points"),
        (["--pair", "1,2,3:4,5,6"], "must be three or more"),
        (["--moving-unit", "m"], "the moving scan is 5.533e+04 mm long"),
        (["--moving-axes", "XYZ"], "axes code must have"),
        (["--landmarks", "nowhere.toml"], "no such file"),
    ],
)
def test_bad_input_is_one_line(
    folder: Path, words: list[str], text: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["register", str(folder / "arch.stl"), str(folder / "molar_16.stl"), *words]) == 2
    told = capsys.readouterr().err.strip()
    assert text in told
    assert len(told.splitlines()) == 1


@pytest.mark.parametrize(
    ("content", "text"),
    [
        ("moving_mm = [[1, 2, 3]]", "must have the keys moving_mm and fixed_mm and no other; got moving_mm"),
        ("moving_mm = 3\nfixed_mm = 4", "must have shape"),
        ("moving_mm = [", "is not a TOML file"),
        ('moving_mm = ["a"]\nfixed_mm = ["b"]', "must be lists of points"),
    ],
)
def test_a_bad_pairs_file_is_one_line(tmp_path: Path, content: str, text: str) -> None:
    (tmp_path / "pairs.toml").write_text(content, "utf-8")
    with pytest.raises(BadFileError, match=text):
        read_pairs(tmp_path / "pairs.toml")


def test_the_picture_without_opengl(laid: RegisteredFiles, tmp_path: Path) -> None:
    from matplotlib.image import imread

    write_distance_map(laid, tmp_path / "map.png", window=None)
    pixels = imread(tmp_path / "map.png")[..., :3]
    assert pixels.shape[1] > 1500
    grey = np.ptp(pixels, axis=2) < 0.05
    assert (~grey).mean() > 0.0005  # the fringe of the crown, coloured
    assert (pixels < 0.7).all(axis=2).mean() > 0.05  # the arch beside it


def test_colours_of_distances() -> None:
    blue, white, red, far = distance_colours(np.array([-0.9, 0.0, 0.9, 1.1]), limit_mm=1.0)
    assert blue[2] > 0.4
    assert blue[2] > blue[0] + 0.2
    assert white.min() > 0.9
    assert red[0] > red[2] + 0.2
    assert tuple(far) == FAR


def test_numbers_are_plain_json(laid: RegisteredFiles) -> None:
    tree = registration_dict(laid)
    assert json.loads(json.dumps(tree, allow_nan=False)) == tree
    rotation = np.array(tree["rotation"])
    np.testing.assert_allclose(rotation @ rotation.T, np.eye(3), atol=1e-9)


@pytest.mark.slow
def test_a_mirrored_file_is_refused(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_stl(tmp_path / "tooth.stl", demo_scan("molar_16"))
    words = ["register", str(tmp_path / "tooth.stl"), str(folder / "molar_16.stl"), "--moving-axes", "RPS"]
    assert main(words) == 2
    assert "as its mirror image" in capsys.readouterr().err
