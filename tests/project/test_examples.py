"""The example that makes a case of three open scans: from files to bends, and no other bends for a moved arch file."""

from __future__ import annotations

import importlib.util
import json
import math
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from scipy.spatial.transform import Rotation

from mesh_tools.axes import to_lps
from mesh_tools.read import read_surface
from mesh_tools.surface import Surface
from mesh_tools.write import write_ply
from viewer.cli import main

ROOT = Path(__file__).parents[2]
MESHES = ROOT.parent / "shared" / "meshes"
ARCH = MESHES / "arch" / "upper_cast_metres.obj"
HEAD = MESHES / "head" / "female_young_headneck_capped_mm.stl"
MOLAR = MESHES / "teeth" / "maxillary-first-molar_mm_12k.stl"
# Measured 0.002 degrees for a moved arch file: its single precision, and the search for the midline.
BEND_DEG = 0.05

open_meshes = pytest.mark.skipif(
    not MESHES.is_dir(), reason="the open meshes (../shared/meshes) are not here"
)


def example() -> ModuleType:
    spec = importlib.util.spec_from_file_location("open_case", ROOT / "examples" / "case_from_open_scans.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["open_case"] = module
    spec.loader.exec_module(module)
    return module


def planned(folder: Path, *options: str, arch: Path = ARCH, head: Path = HEAD) -> Any:
    """plan.json of the example's case."""
    assert example().main([str(arch), str(head), str(MOLAR), "--out", str(folder), *options]) == 0
    assert main(["plan", str(folder / "case.toml"), "--no-pictures", "--out", str(folder / "plan")]) == 0
    return json.loads((folder / "plan" / "plan.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Any:
    return planned(tmp_path_factory.mktemp("open"))


@pytest.mark.slow
@open_meshes
def test_from_files_to_bends(plan: Any) -> None:
    sides = plan["sides"]
    bends = [sides[s]["bend_deg"] for s in ("right", "left")]
    assert all(math.isfinite(b) for b in bends)
    # Cervical pull below the centre: up, and by less than a right angle's half (common practice, no source).
    assert all(3.0 < b < 45.0 for b in bends)
    # One tooth mirrored, an arch and a head that are nearly symmetric: the sides are nearly alike.
    assert abs(bends[0] - bends[1]) < 4.0
    told = "\n".join(plan["findings"])
    for name in ("right_molar", "left_molar", "face"):
        assert f"scans.{name}: laid by" in told
    assert "landmarks_in.arch: tube_right_mesial_mm" in told


@pytest.mark.slow
@open_meshes
@pytest.mark.parametrize("turn_deg", [(12.0, 0.0, 0.0), (9.0, -20.0, 140.0)])
def test_a_moved_arch_file_gives_the_same_bends(
    plan: Any, tmp_path: Path, turn_deg: tuple[float, ...]
) -> None:
    raw = to_lps(read_surface(ARCH), "PRS")
    turn = Rotation.from_euler("xyz", turn_deg, degrees=True).as_matrix()
    moved = Surface(raw.points_mm * 1000.0, raw.faces).moved(turn, [40.0, -25.0, 60.0])
    write_ply(tmp_path / "moved.ply", moved)
    options = ("--arch-axes", "LPS", "--arch-unit", "mm")
    again = planned(tmp_path / "case", *options, arch=tmp_path / "moved.ply")
    for side in ("right", "left"):
        assert again["sides"][side]["bend_deg"] == pytest.approx(
            plan["sides"][side]["bend_deg"], abs=BEND_DEG
        )


@pytest.mark.slow
@open_meshes
def test_a_head_for_an_arch_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code = example().main([str(HEAD), str(HEAD), str(MOLAR), "--arch-axes", "LSA", "--arch-unit", "mm",
                           "--out", str(tmp_path / "case")])  # fmt: skip
    assert code == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert not (tmp_path / "case").exists()
