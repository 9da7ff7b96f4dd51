"""The command line as its user meets it: help, tables, files, and one clear line with exit code 2 for bad input."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from demo_meshes import demo_folder
from mesh_tools.arrays import Array
from mesh_tools.read import read_surface
from mesh_tools.write import write_ply, write_stl
from viewer.cli import COMMANDS, main

MOLAR = demo_folder() / "molar_26.stl"
CENTRE = ["centre", str(MOLAR), "--tooth", "26", "--axes", "LPS"]


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("plan") / "out"
    assert main(["demo", "--no-pictures", "--out", str(out)]) == 0
    return out


def test_help_names_every_command_and_loads_nothing_heavy():
    code = "import sys; from viewer.cli import main; main(['--help']); print(sorted(sys.modules), file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert all(name in done.stdout for name in COMMANDS)
    assert not any(
        f"'{name}'" in done.stderr for name in ("numpy", "scipy", "pyvista", "matplotlib", "pydantic")
    )


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_the_caution(name: str, capsys: pytest.CaptureFixture[str]):
    with pytest.raises(SystemExit) as stop:
        main([name, "--help"])
    assert stop.value.code == 0
    assert "licensed practitioners" in capsys.readouterr().out


def test_centre_prints_every_method_and_writes_json_csv_and_root(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    files = {name: tmp_path / name for name in ("c.json", "c.csv", "r.ply")}
    options = [
        "--json",
        str(files["c.json"]),
        "--csv",
        str(files["c.csv"]),
        "--export-root",
        str(files["r.ply"]),
    ]
    assert main([*CENTRE, *options]) == 0
    tree = json.loads(files["c.json"].read_text())
    rows = list(csv.DictReader(files["c.csv"].read_text().splitlines()))
    assert [r["method"] for r in rows] == list(tree["methods"])
    out = capsys.readouterr().out
    for name in ("rule_of_thumb", "furcation", "root_fraction", "root_centroid", "elastic_foundation"):
        assert name in out
        assert len(tree["methods"][name]["point_mm"]) == 3
    assert np.array(tree["methods"]["elastic_foundation"]["stiffness"]).shape == (6, 6)
    assert tree["anatomy"]["separate_roots"] == 3


def test_exported_facets_give_the_same_stiffness_by_a_plain_loop(tmp_path: Path):
    # Second route: springs summed one facet at a time on the exported facets, 1e-6 relative.
    assert main([*CENTRE, "--json", str(tmp_path / "c.json"), "--export-root", str(tmp_path / "r.ply")]) == 0
    tree = json.loads((tmp_path / "c.json").read_text())
    e, nu, t = (tree["ligament"][k] for k in ("e_mpa", "nu", "thickness_mm"))
    k_n, k_t = e * (1 - nu) / ((1 + nu) * (1 - 2 * nu) * t), e / (2 * (1 + nu) * t)
    root, total = read_surface(tmp_path / "r.ply"), np.zeros((6, 6))
    for a, b, c in root.points_mm[root.faces]:
        normal = 0.5 * np.cross(b - a, c - a)
        area = np.linalg.norm(normal)
        n, (x, y, z) = normal / area, (a + b + c) / 3
        jacobian = np.hstack([np.eye(3), [[0, z, -y], [-z, 0, x], [y, -x, 0]]])
        total += jacobian.T @ (area * ((k_n - k_t) * np.outer(n, n) + k_t * np.eye(3))) @ jacobian
    given = np.array(tree["methods"]["elastic_foundation"]["stiffness"])
    assert np.abs(given - total).max() <= 1e-6 * np.abs(total).max()


def test_json_to_standard_output_is_nothing_but_json(capsys: pytest.CaptureFixture[str]):
    assert main([*CENTRE, "--json", "-"]) == 0
    assert json.loads(capsys.readouterr().out)["tooth"] == 26


def test_a_plan_folder_has_plan_and_bow(planned: Path):
    plan = json.loads((planned / "plan.json").read_text())
    assert set(plan["sides"]) == {"right", "left"}
    side = plan["sides"]["right"]
    assert side["solved"]
    assert abs(side["offset_after_mm"]) < 0.02
    assert {len(i["sha256"]) for i in plan["inputs"]} == {64}
    assert any("blind" in text for text in plan["cautions"])
    rows = list(csv.DictReader((planned / "bow.csv").read_text().splitlines()))
    assert {r["part"] for r in rows} == {"inner", "outer", "joint"}
    hook = next(r for r in rows if r["part"] == "outer" and r["side"] == "right")
    np.testing.assert_allclose([float(hook[f"worn_{c}_mm"]) for c in "xyz"], side["hook_mm"], atol=1e-5)
    np.testing.assert_allclose(
        [float(hook[f"bench_{c}_mm"]) for c in "xyz"], side["hook_bench_mm"], atol=1e-5
    )


def test_look_says_what_the_demo_molar_is(capsys: pytest.CaptureFixture[str]):
    assert main(["look", str(MOLAR)]) == 0
    out = capsys.readouterr().out
    assert "whole tooth" in out
    assert "looks like mm" in out


def _scaled(tmp_path: Path, factor: float) -> str:
    path = tmp_path / "scaled.stl"
    write_stl(path, read_surface(MOLAR).mapped(lambda p: p * factor))
    return str(path)


def _changed(tmp_path: Path, name: str, change: Callable[[Array], Array]) -> str:
    write_ply(tmp_path / name, read_surface(MOLAR).mapped(change))
    return str(tmp_path / name)


def _cut_ply(tmp_path: Path) -> str:
    """A text PLY whose last five faces are missing."""
    surface = read_surface(MOLAR)
    head = (
        f"ply\nformat ascii 1.0\nelement vertex {len(surface.points_mm)}\nproperty float x\nproperty float y\n"
        f"property float z\nelement face {len(surface.faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    rows = [" ".join(f"{v:.6f}" for v in p) for p in surface.points_mm]
    rows += ["3 " + " ".join(map(str, f)) for f in surface.faces[:-5]]
    (tmp_path / "cut.ply").write_text(head + "\n".join(rows) + "\n")
    return str(tmp_path / "cut.ply")


BAD = [
    (["centre", "MISSING", "--tooth", "26", "--axes", "LPS"], "no such file"),
    (["centre", "EMPTY", "--tooth", "26", "--axes", "LPS"], "empty"),
    (["centre", "SCALED", "--tooth", "26", "--axes", "LPS"], "looks like cm; pass --unit cm"),
    (["centre", "MOLAR", "--tooth", "26", "--axes", "LPX"], "axes"),
    (["centre", "MOLAR", "--tooth", "26", "--axes", "LPI"], "tooth 26"),
    (["centre", "MOLAR", "--tooth", "19", "--axes", "LPS"], "tooth 19 is not a permanent tooth"),
    (["centre", "MOLAR", "--tooth", "26", "--axes", "LPS", "--nu", "0.5"], "nu"),
    (["centre", "MOLAR", "--tooth", "26", "--axes", "LPS", "--e-mpa", "-1"], "E must be"),
    (["centre", "MOLAR", "--tooth", "26", "--axes", "LPS", "--crest-below-cej", "14"], "unsupported root"),
    (["centre", "MOLAR", "--tooth", "26", "--axes", "LPS", "--thickness", "nan"], "thickness"),
    (
        ["centre", "MOLAR", "--tooth", "26", "--axes", "LPS", "--samples", "64", "--seed", "-1"],
        "seed must be zero",
    ),
    (["centre", "MOLAR", "--tooth", "26", "--axes", "LPS", "--forces", "inf"], "forces must be above zero"),
    (
        ["centre", "MOLAR", "--tooth", "26", "--axes", "LPS", "--export-root", "NOWHERE"],
        "a folder that exists",
    ),
    (
        ["centre", "MOLAR", "--tooth", "26", "--axes", "LPS", "--tube", "0", "0", "0", "0", "4", "0"],
        "mm from its molar's scan",
    ),
    (["centre", "FAR", "--tooth", "26", "--axes", "LPS"], "from its origin"),
    (["centre", "CUT", "--tooth", "26", "--axes", "LPS"], "faces read"),
    (["centre", "FLAT", "--tooth", "26", "--axes", "LPS"], "one crown is 3-16 mm wide"),
    (["plan", "MISSING", "--out", "OUT"], "does not exist"),
    (["centre", "MOLAR"], "required"),
    (["nonsense"], "invalid choice"),
]


@pytest.mark.parametrize(("words", "text"), BAD, ids=[" ".join(b[0][:2]) + "-" + b[1][:14] for b in BAD])
def test_bad_input_gets_one_line_and_exit_code_2(
    words: list[str], text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    (tmp_path / "empty.stl").write_bytes(b"")
    places = {
        "MISSING": str(tmp_path / "none.stl"),
        "EMPTY": str(tmp_path / "empty.stl"),
        "SCALED": _scaled(tmp_path, 0.1),
        "MOLAR": str(MOLAR),
        "OUT": str(tmp_path / "out"),
        "NOWHERE": str(tmp_path / "none" / "root.ply"),
        "FAR": _changed(tmp_path, "far.ply", lambda p: p + 1e6),
        "FLAT": _changed(tmp_path, "flat.ply", lambda p: p * [1.0, 1.0, 0.0]),
        "CUT": _cut_ply(tmp_path),
    }
    before = sorted(p.name for p in tmp_path.iterdir())
    try:
        code = main([places.get(w, w) for w in words])
    except SystemExit as stop:
        code = stop.code
    seen = capsys.readouterr()
    assert code == 2
    assert seen.out == ""
    assert len(seen.err.strip().splitlines()) == 1
    assert text in seen.err
    assert sorted(p.name for p in tmp_path.iterdir()) == before


def test_the_json_has_the_promised_keys(tmp_path: Path):
    # The keys a program reads, as docs/plan-json.md promises them.
    assert main([*CENTRE, "--json", str(tmp_path / "c.json")]) == 0
    tree = json.loads((tmp_path / "c.json").read_text())
    assert {"tooth", "ligament", "crest_below_cej_mm", "anatomy", "methods"} <= set(tree)
    assert set(tree["ligament"]) == {"e_mpa", "nu", "thickness_mm"}
    anatomy = {
        "separate_roots",
        "trifurcation_mm",
        "apices_mm",
        "cervical_line_mm",
        "long_axis",
        "crown_height_mm",
    }
    assert anatomy <= set(tree["anatomy"])
    for name in ("elastic_foundation", "thin_layer"):
        assert {"point_mm", "elastic_centre_mm", "sagittal_centre_mm", "stiffness"} <= set(
            tree["methods"][name]
        )


def test_the_plan_has_the_promised_keys(planned: Path):
    plan = json.loads((planned / "plan.json").read_text())
    assert {"sides", "warnings", "inputs", "version"} <= set(plan)
    wanted = {
        "target_mm", "bend_deg", "hook_mm", "strap_direction", "strap_force_n", "offset_before_mm", "offset_after_mm",
        "wrench_at_centre",
    }  # fmt: skip
    for side in plan["sides"].values():
        assert wanted <= set(side)
        assert set(side["wrench_at_centre"]) == {"force_n", "moment_n_mm"}


def test_the_sampled_region_lies_about_the_given_crest(tmp_path: Path):
    # A crest above the cervical line too: the region is that of the given level, not of the usual one.
    options = ["--crest-below-cej", "-1", "--samples", "64", "--json", str(tmp_path / "c.json")]
    assert main([*CENTRE, *options]) == 0
    tree = json.loads((tmp_path / "c.json").read_text())
    apart = np.subtract(tree["uncertainty"]["mean_mm"], tree["methods"]["elastic_foundation"]["point_mm"])
    assert np.linalg.norm(apart) < 0.2


def test_the_rule_of_thumb_stands_on_the_given_tube(tmp_path: Path):
    # The rule itself (common practice, no source): 10 mm up from the mesial end, half a tube back.
    tube = ["28.2", "28.6", "7.0", "28.2", "32.6", "7.0"]
    assert main([*CENTRE, "--tube", *tube, "--json", str(tmp_path / "c.json")]) == 0
    rule = json.loads((tmp_path / "c.json").read_text())["methods"]["rule_of_thumb"]
    np.testing.assert_allclose(rule["point_mm"][1:], [30.6, 17.0], atol=1e-12)
    assert not rule["fallback"]
