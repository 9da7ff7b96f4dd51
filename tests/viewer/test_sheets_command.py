"""``bowtrue sheets``: its files read by other programs, its refusals one line with nothing written."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from demo_meshes import demo_folder
from viewer.cli import main
from viewer.scene import Scene
from viewer.scene_files import _ascii, write_scene_files

CASE = str(demo_folder() / "case.toml")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("sheets") / "papers"
    assert main(["sheets", CASE, "--out", str(out), "--paper", "Letter", "--hours", "12"]) == 0
    return out


def test_the_command_writes_papers_shapes_and_scene(folder: Path):
    names = {p.name for p in folder.iterdir()}
    assert {"sheets.pdf", "bow.stl", "jig.stl", "scene.glb", "scene.vtp"} <= names
    assert {p.stem for p in folder.glob("*.svg")} == {p.stem for p in folder.glob("*.dxf")}
    assert {"chairside-card.svg", "stencil-right.svg", "stencil-left.svg", "wearing-sheet.svg"} <= names


def test_the_printed_shapes_are_closed(folder: Path):
    import trimesh

    for name in ("bow.stl", "jig.stl"):
        mesh = trimesh.load_mesh(folder / name)
        assert mesh.is_watertight, name
        assert mesh.volume > 0.0


def test_names_in_vtk_keep_their_degrees_and_signs():
    assert _ascii("bend UP 12.5° × 2 \N{MINUS SIGN}1 mm’s é") == "bend UP 12.5 deg x 2 -1 mm's ?"


def test_gltf_and_vtk_hold_the_same_items(scene: Scene, tmp_path: Path):
    """Read by pygltflib and by VTK's own reader; the names of what has a shape agree with the scene."""
    pygltflib = pytest.importorskip("pygltflib")
    pv = pytest.importorskip("pyvista")
    write_scene_files(scene, tmp_path)
    gltf = pygltflib.GLTF2().load(str(tmp_path / "scene.glb"))
    assert gltf.asset.version == "2.0"
    read: Any = pv.read(tmp_path / "scene.vtp")
    names = [str(n) for n in read.field_data["item_name"]]
    shaped = [i.name for i in (*scene.surfaces, *scene.wires, *scene.lines)]
    assert set(shaped) <= {n.name for n in gltf.nodes}
    assert {n for n in shaped if n.isascii()} <= set(names)
    assert all(n.isascii() for n in names)
    assert int(read.cell_data["item"].max()) == len(names) - 1
    molar = next(i for i in scene.surfaces if i.role == "molar")
    faces = np.flatnonzero(read.cell_data["item"] == names.index(molar.name))
    assert len(faces) == len(molar.faces)
    kept = read.extract_cells(faces)
    assert np.asarray(kept.bounds) == pytest.approx(
        np.ravel(np.stack([molar.points_mm.min(axis=0), molar.points_mm.max(axis=0)], -1)), abs=1e-4
    )


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--paper", "a5"], "paper must be a4 or letter; got 'a5'"),
        (["--hours", "30"], "hours a day must be above 0"),
    ],
)
def test_bad_input_is_one_line_and_nothing_is_written(
    words: list[str], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    assert main(["sheets", CASE, "--out", str(tmp_path / "x"), *words]) == 2
    err = capsys.readouterr().err
    assert told in err
    assert err.count("\n") == 1
    assert not (tmp_path / "x").exists()
