"""Estimates from whole, bone-given, cut and crossed scans: step named, effect told, bad scans refused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from casework.case_file import read_case
from casework.centre import CentreReport
from casework.estimating import estimate_centre, estimate_from_file
from casework.incomplete import fused_shift_mm, root_count_warnings
from casework.question import FAST_METHODS, CentreQuestion
from casework.scans import ScanError, read_scans, scan_from_file
from mechanics.ligament.springs import Ligament
from mesh_tools.anatomy import tooth_anatomy
from mesh_tools.axes import to_lps
from mesh_tools.cut import clipped
from mesh_tools.fdi import ToothNumber
from mesh_tools.read import read_surface
from mesh_tools.repair import repaired
from mesh_tools.self_crossing import SelfCrossingError, self_crossings
from mesh_tools.supported_root import supported_root
from mesh_tools.surface import Surface
from mesh_tools.topology import boundary_loops
from mesh_tools.units import UnitError
from mesh_tools.write import write_stl

DEMO = Path(__file__).parents[2] / "demo_meshes" / "molar_26.stl"
LEFT = ToothNumber(26)
QUICK = ("furcation", "root_fraction", "elastic_foundation")


@pytest.fixture(scope="module")
def molar() -> Surface:
    return repaired(to_lps(read_surface(DEMO), "LPS")).surface


@pytest.fixture(scope="module")
def whole(molar: Surface) -> CentreReport:
    return estimate_centre(molar, asked())


def asked(
    methods: tuple[str, ...] = QUICK, *, bone: Surface | None = None, crest_mm: float = 0.75
) -> CentreQuestion:
    return CentreQuestion(LEFT, Ligament(0.68, 0.45, 0.2), crest_mm, methods, bone=bone)


def socket(molar: Surface, *, below_mm: float, width_mm: float) -> Surface:
    """Bone ``width_mm`` off the root with its crest ``below_mm`` under the cervical line, and a ledge around it."""
    anatomy = tooth_anatomy(molar, LEFT)
    root = supported_root(molar, anatomy, crest_below_cej_mm=below_mm)
    normal = np.zeros_like(root.points_mm)
    for k in range(3):
        np.add.at(normal, root.faces[:, k], root.area_vectors_mm2)
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    wall = root.points_mm + width_mm * normal
    rim = boundary_loops(root)[0]
    out = normal[rim] - (normal[rim] @ anatomy.long_axis)[:, None] * anatomy.long_axis
    ledge = wall[rim] + 4.0 * out / np.linalg.norm(out, axis=1)[:, None] + anatomy.long_axis
    here, nxt = len(wall) + np.arange(len(rim)), np.roll(rim, -1)
    there = np.roll(here, -1)
    around = np.concatenate([np.stack([rim, nxt, here], axis=1), np.stack([nxt, there, here], axis=1)])
    return Surface(np.concatenate([wall, ledge]), np.concatenate([root.faces[:, ::-1], around]))


def test_bone_gives_the_crest_and_names_the_step(molar: Surface, whole: CentreReport) -> None:
    report = estimate_centre(molar, asked(bone=socket(molar, below_mm=3.0, width_mm=0.25)))
    assert report.step == report.as_dict()["information"] == "whole tooth with bone"
    assert whole.step == "whole tooth"
    assert report.crest_below_cej_mm == pytest.approx(3.0, abs=0.15)
    assert any("alveolar crest from the bone surface" in text for text in report.findings)
    known = estimate_centre(molar, asked(crest_mm=3.0))
    for name in QUICK:
        np.testing.assert_allclose(report.methods[name].point_mm, known.methods[name].point_mm, atol=0.1)


def test_lower_bone_moves_the_centre_apically_about_half_as_much(molar: Surface) -> None:
    # Half a millimetre per millimetre of bone: the project's rule of plausibility from Geramy 2000 and Choy 2000.
    high, low = (
        estimate_centre(molar, asked(bone=socket(molar, below_mm=b, width_mm=0.25))) for b in (1.0, 3.0)
    )
    drop = low.methods["elastic_foundation"].point_mm - high.methods["elastic_foundation"].point_mm
    assert 0.6 < drop[2] < 1.5


def test_the_finite_elements_take_their_thickness_from_the_socket(molar: Surface) -> None:
    bone = socket(molar, below_mm=1.0, width_mm=0.3)
    wide = estimate_centre(molar, asked(("finite_elements",), bone=bone)).methods["finite_elements"]
    assert "thickness from the bone socket" in wide.estimate.assumptions
    question = CentreQuestion(LEFT, Ligament(0.68, 0.45, 0.3), 1.0, ("finite_elements",))
    uniform = estimate_centre(molar, question).methods["finite_elements"]
    assert wide.ligament is not None
    assert uniform.ligament is not None
    ratio = np.trace(wide.ligament.stiffness[:3, :3]) / np.trace(uniform.ligament.stiffness[:3, :3])
    assert ratio == pytest.approx(1.0, abs=0.2)
    np.testing.assert_allclose(wide.point_mm, uniform.point_mm, atol=0.3)


def test_bone_by_file(molar: Surface, tmp_path: Path) -> None:
    write_stl(tmp_path / "bone.stl", socket(molar, below_mm=2.0, width_mm=0.25))
    report = estimate_from_file(DEMO, tooth=26, axes="LPS", methods=QUICK, bone=tmp_path / "bone.stl")
    assert report.step == "whole tooth with bone"
    assert report.as_dict()["bone"]["file"] == "bone.stl"
    assert len(report.as_dict()["bone"]["sha256"]) == 64


def test_bone_in_the_case_file(molar: Surface, tmp_path: Path) -> None:
    write_stl(tmp_path / "bone.stl", socket(molar, below_mm=2.0, width_mm=0.25))
    (tmp_path / "tooth.stl").write_bytes(DEMO.read_bytes())
    scans = '[scans.left_molar]\nfile = "tooth.stl"\ntooth = 26\n[scans.left_bone]\nfile = "bone.stl"\n'
    case = _case(tmp_path, scans)
    read = read_scans(case, tmp_path)
    assert read["left_molar"].bone is read["left_bone"].surface
    lone = _case(tmp_path, '[scans.left_bone]\nfile = "bone.stl"\n')
    with pytest.raises(
        ScanError, match=r"scans\.left_bone: needs the tooth it surrounds; give scans\.left_molar"
    ):
        read_scans(lone, tmp_path)


def _case(folder: Path, scans: str):  # type: ignore[no-untyped-def]
    text = (DEMO.parent / "case.toml").read_text()
    kept, skipping = [], False
    for line in text.splitlines():
        if line.startswith("["):
            skipping = line.startswith("[scans.")
        if not skipping:
            kept.append(line)
    (folder / "case.toml").write_text("\n".join(kept) + "\n" + scans)
    return read_case(folder / "case.toml")


@pytest.mark.parametrize("off_mm", [3.0, 5.0])
def test_a_cut_root_is_told_with_its_effect_about_right(
    molar: Surface, whole: CentreReport, off_mm: float
) -> None:
    level = molar.points_mm[:, 2].max() - off_mm
    cut = molar.mapped(lambda p: np.column_stack([p[:, :2], np.minimum(p[:, 2], level)]))
    report = estimate_centre(cut, asked())
    line = next(w for w in report.warnings if "complete root" in w)
    assert "the scan's field of view cuts the roots" in line
    told = float(line.split("move the centre about ")[1].split(" mm apically")[0])
    true = whole.methods["elastic_foundation"].point_mm - report.methods["elastic_foundation"].point_mm
    assert told == pytest.approx(true[2], abs=0.15)
    assert [end["kind"] for end in report.as_dict()["root_ends"]] == ["flat"] * 3


def test_a_whole_tooth_has_no_such_warning(whole: CentreReport) -> None:
    assert whole.as_dict()["root_ends"] == []
    assert whole.warnings == ()


def test_a_root_through_a_root_is_refused_but_a_crossing_on_the_crown_is_not(molar: Surface) -> None:
    anatomy = tooth_anatomy(molar, LEFT)
    crown = anatomy.below_line_mm(molar.points_mm) < -3.0
    at = molar.points_mm[crown][int((molar.points_mm[crown] @ anatomy.buccal_axis).argmax())]
    near = np.exp(-(((molar.points_mm - at) ** 2).sum(axis=1) / 0.2))
    dented = Surface(molar.points_mm - np.outer(near, 14.0 * anatomy.buccal_axis), molar.faces)
    assert self_crossings(dented).count > 0
    assert estimate_centre(dented, asked()).step == "whole tooth"
    apex = molar.points_mm[int(molar.points_mm[:, 2].argmax())]
    near = np.exp(-(((molar.points_mm - apex) ** 2).sum(axis=1) / 1.0))
    inward = 6.0 * np.sign(molar.points_mm[:, 0].mean() - apex[0])
    crossed = Surface(molar.points_mm + np.outer(near, [inward, 0.0, -3.0]), molar.faces)
    with pytest.raises(SelfCrossingError, match="tooth 26: the supported root must not pass through itself"):
        estimate_centre(crossed, asked())


def test_a_distant_flake_does_not_decide_the_unit(tmp_path: Path, molar: Surface) -> None:
    flake = np.array([[400.0, 0.0, 0.0], [400.2, 0.0, 0.0], [400.0, 0.2, 0.0]])
    n = len(molar.points_mm)
    both = Surface(
        np.concatenate([molar.points_mm, flake]), np.concatenate([molar.faces, [[n, n + 1, n + 2]]])
    )
    write_stl(tmp_path / "flaked.stl", both)
    scan = scan_from_file("mesh", tmp_path / "flaked.stl", kind="tooth", axes="LPS", unit=None, tooth=LEFT)
    assert any("flake removed" in text for text in scan.changes)
    assert len(scan.surface.faces) == len(molar.faces)


def test_a_crown_alone_passes_the_door(tmp_path: Path, molar: Surface) -> None:
    write_stl(tmp_path / "crown.stl", crown_of(molar))
    assert estimate_from_file(tmp_path / "crown.stl", tooth=26, axes="LPS").step == "crown only"
    write_stl(tmp_path / "cm.stl", crown_of(molar).mapped(lambda p: 0.1 * p))
    assert estimate_from_file(tmp_path / "cm.stl", tooth=26, axes="LPS", unit="cm").step == "crown only"
    with pytest.raises(UnitError):
        estimate_from_file(tmp_path / "cm.stl", tooth=26, axes="LPS")


@pytest.mark.parametrize(("scale", "unit"), [(0.1, "cm"), (0.001, "m"), (1000.0, "um")])
def test_a_wrong_unit_is_still_refused(tmp_path: Path, molar: Surface, scale: float, unit: str) -> None:
    write_stl(tmp_path / "scaled.stl", molar.mapped(lambda p: p * scale))
    with pytest.raises(UnitError, match=f"looks like {unit}"):
        scan_from_file("mesh", tmp_path / "scaled.stl", kind="tooth", axes="LPS", unit=None, tooth=LEFT)


def test_every_fast_method_is_still_there(molar: Surface) -> None:
    assert tuple(estimate_centre(molar, asked(FAST_METHODS)).methods) == FAST_METHODS


def crown_of(molar: Surface, *, hidden_mm: float = 0.0) -> Surface:
    """The crown that a scan of the mouth shows, ``hidden_mm`` of it under the gum."""
    anatomy = tooth_anatomy(molar, LEFT)
    return clipped(molar, anatomy.below_line_mm(molar.points_mm), -hidden_mm)


@pytest.mark.parametrize("hidden_mm", [0.0, 1.5])
def test_a_crown_alone_gives_guesses_with_the_population_scatter(
    molar: Surface, whole: CentreReport, hidden_mm: float
) -> None:
    report = estimate_centre(crown_of(molar, hidden_mm=hidden_mm), asked(FAST_METHODS))
    assert report.step == "crown only"
    assert list(report.methods) == ["rule_of_thumb", "elastic_foundation", "thin_layer", "average_anatomy"]
    for name in ("elastic_foundation", "thin_layer"):
        guess = report.methods[name]
        assert guess.estimate.fallback
        assert guess.estimate.scatter_mm == (2.70, 1.39, 1.66)  # Gandhi V et al. 2021 AJODO 160:442-450
        assert guess.estimate.assumptions.startswith("GUESSED ROOT")
        off = guess.point_mm - whole.methods["elastic_foundation"].point_mm
        assert np.abs(off).max() < 2 * 1.66
        assert guess.ligament is not None
    assert report.root is None
    assert "The roots are not seen" in report.warnings[0]


def test_a_crown_of_no_molar_size_still_gets_the_average_anatomy(molar: Surface) -> None:
    crown = crown_of(molar)
    narrow = crown.mapped(lambda p: (p - p.mean(axis=0)) * np.array([1.0, 0.6, 1.0]) + p.mean(axis=0))
    report = estimate_centre(narrow, asked(FAST_METHODS))
    assert list(report.methods) == ["rule_of_thumb", "average_anatomy"]
    assert any("No root is guessed: mesiodistal width" in text for text in report.warnings)


def test_bone_beside_a_crown_alone_is_said_to_be_unused(molar: Surface) -> None:
    bone = socket(molar, below_mm=1.0, width_mm=0.25)
    report = estimate_centre(crown_of(molar), asked(bone=bone))
    assert "The bone surface is not used: the scan shows no root." in report.warnings


@pytest.mark.parametrize(("roots", "words"), [(1, "1 separate root found"), (2, "2 separate roots found")])
def test_fused_roots_are_told_with_the_most_that_parting_them_would_do(
    molar: Surface, roots: int, words: str
) -> None:
    anatomy = tooth_anatomy(molar, LEFT)
    assert root_count_warnings(anatomy, asked()) == []
    (line,) = root_count_warnings(replace(anatomy, roots=anatomy.roots[:roots]), asked())
    assert f"{words} where 3 are usual" in line
    assert "further occlusally (an average molar with its roots apart" in line


def test_parting_the_hull_of_the_average_molar_moves_its_centre_towards_the_crown() -> None:
    shift = fused_shift_mm(asked())
    assert -1.2 < shift < -0.2
    assert fused_shift_mm(CentreQuestion(LEFT, Ligament(6.8, 0.45, 0.4))) == pytest.approx(shift, abs=1e-9)
