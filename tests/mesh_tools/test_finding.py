"""What is found on arches and heads: against the demo's truth, on open scans, and moved, mirrored and roughened."""

from __future__ import annotations

import json
import tomllib
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from demo_meshes import demo_folder
from mesh_tools.arrays import Array
from mesh_tools.axes import to_lps
from mesh_tools.errors import BadValueError
from mesh_tools.finding.arch import arch_proposals
from mesh_tools.finding.crown_patch import patch_between
from mesh_tools.finding.head import head_proposals
from mesh_tools.finding.record import NotFoundError, Proposal
from mesh_tools.read import read_surface
from mesh_tools.repair import repaired
from mesh_tools.surface import Surface

OPEN = Path(__file__).resolve().parents[2].parent / "shared" / "meshes"
needs_open = pytest.mark.skipif(not OPEN.is_dir(), reason="the open meshes are not beside the project")
TURN = Rotation.from_rotvec(
    np.radians(40.0) * np.array([-0.79, 0.55, 0.27]) / np.linalg.norm([0.79, 0.55, 0.27])
)
SHIFT = np.array([10.0, 20.0, -30.0])


@cache
def scan(path: Path, axes: str) -> Surface:
    return repaired(to_lps(read_surface(path), axes)).surface


def demo_arch() -> Surface:
    return scan(demo_folder() / "arch.stl", "LSA")


def demo_face() -> Surface:
    return scan(demo_folder() / "face.stl", "LSA")


def landmarks() -> dict[str, list[float]]:
    return dict(tomllib.loads((demo_folder() / "case.toml").read_text("utf-8"))["landmarks"])


def named(found: tuple[Proposal, ...]) -> dict[str, Proposal]:
    return {p.name: p for p in found}


def angle_deg(a: Array | None, b: Array | None) -> float:
    assert a is not None
    assert b is not None
    return float(np.degrees(np.arccos(np.clip(a @ b, -1.0, 1.0))))


def far(p: Proposal, point: list[float] | Array) -> float:
    return float(np.linalg.norm(p.point_mm - np.asarray(point)))


def test_the_demo_arch_is_found_where_it_was_made():
    found, truth = named(arch_proposals(demo_arch())), landmarks()
    plane = np.array(truth["occlusal_plane_mm"])
    normal = np.linalg.svd(plane - plane.mean(axis=0))[2][2]
    assert angle_deg(found["occlusal_plane_mm"].normal, normal * np.sign(normal[2])) < 1.0
    assert far(found["incisor_contact_mm"], truth["incisor_contact_mm"]) < 0.5
    assert angle_deg(found["midline"].normal, np.array([1.0, 0.0, 0.0])) < 1.5
    for side in ("right", "left"):
        for end in ("mesial", "distal"):
            assert far(found[f"tube_{side}_{end}_mm"], truth[f"tube_{side}_{end}_mm"]) < 0.5
    cusps = json.loads((demo_folder() / "truth.json").read_text("utf-8"))["teeth"]
    for side, fdi in (("right", "16"), ("left", "26")):
        assert far(found[f"cusp_{side}_mm"], cusps[fdi]["cusp_tips_mm"][0]) < 0.5


def test_the_crown_patch_is_the_crown_that_the_tooth_scan_has():
    patch = named(arch_proposals(demo_arch()))["molar_left"]
    tooth = scan(demo_folder() / "molar_26.stl", "LPS")
    from scipy.spatial import cKDTree

    crown = demo_arch().face_centres_mm[patch.faces]
    away = cKDTree(tooth.points_mm).query(crown)[0]
    assert np.quantile(away, 0.7) < 0.5  # the rest is the tube on it
    line = np.array(
        json.loads((demo_folder() / "truth.json").read_text("utf-8"))["teeth"]["26"]["cervical_line_mm"]
    )
    assert crown[:, 2].max() < line[:, 2].max() + 1.5


@pytest.mark.parametrize("mirrored", [False, True])
def test_an_arch_is_found_alike_in_any_frame(mirrored: bool):
    """A mirror image exchanges right and left."""
    turn = TURN.as_matrix() @ np.diag([-1.0 if mirrored else 1.0, 1.0, 1.0])
    here, there = (named(arch_proposals(s)) for s in (demo_arch(), demo_arch().moved(turn, SHIFT)))
    swap = {"right": "left", "left": "right"} if mirrored else {"right": "right", "left": "left"}
    for name in ("incisor_contact_mm", "incisor_edge_mm"):
        assert far(here[name].moved(turn, SHIFT), there[name].point_mm) < 0.4
    for side, other in swap.items():
        assert far(here[f"molar_{side}"].moved(turn, SHIFT), there[f"molar_{other}"].point_mm) < 0.6
    normal = here["occlusal_plane_mm"].moved(turn).normal
    assert angle_deg(normal, there["occlusal_plane_mm"].normal) < 0.6


def test_noise_and_size_change_little():
    rough = demo_arch().mapped(
        lambda p: 1.04 * (p + np.random.default_rng(2).normal(scale=0.05, size=p.shape))
    )
    here, there = named(arch_proposals(demo_arch())), named(arch_proposals(rough))
    assert far(there["incisor_contact_mm"], 1.04 * here["incisor_contact_mm"].point_mm) < 0.6
    for side in ("right", "left"):
        assert far(there[f"molar_{side}"], 1.04 * here[f"molar_{side}"].point_mm) < 0.8


def test_a_tube_is_never_sure():
    for p in arch_proposals(demo_arch()):
        assert not p.name.startswith("tube") or p.confidence < 0.6


@needs_open
@pytest.mark.parametrize("file", ["upper_open_scan_mm.stl", "upper_cast_mm.stl"])
def test_the_open_arch_tilted_closed_or_open(file: str):
    """Its occlusal plane is tilted 8 degrees about x by the scan's own README; molars are the sixth teeth."""
    found = named(arch_proposals(scan(OPEN / "arch" / file, "PRS")))
    normal = found["occlusal_plane_mm"].normal
    assert 5.0 < angle_deg(normal, np.array([0.0, 0.0, 1.0])) < 11.0
    right, left = found["molar_right"], found["molar_left"]
    assert right.point_mm[0] < -20.0
    assert left.point_mm[0] > 20.0
    assert min(right.confidence, left.confidence) > 0.6
    assert 40.0 < float(np.linalg.norm(left.point_mm - right.point_mm)) < 56.0


def test_the_demo_face_is_found_where_it_was_made():
    found = named(head_proposals(demo_face()))
    truth = json.loads((demo_folder() / "truth.json").read_text("utf-8"))["face_points"]
    assert far(found["nose_tip"], truth["nose_tip_mm"]) < 2.0
    assert far(found["chin"], truth["chin_mm"]) < 4.0
    for side in ("right", "left"):
        assert far(found[f"mouth_corner_{side}_mm"], landmarks()[f"mouth_corner_{side}_mm"]) < 1.5
        assert found[f"mouth_corner_{side}_mm"].confidence < 0.6
        assert far(found[f"ear_{side}"], truth[f"tragion_{side}_mm"]) < 25.0
    assert found["nape"].point_mm[1] > 100.0


def test_a_head_turned_by_forty_degrees_is_found_alike():
    turn = TURN.as_matrix()
    here, there = (named(head_proposals(s)) for s in (demo_face(), demo_face().moved(turn, SHIFT)))
    for name in ("nose_tip", "chin", "nape", "ear_left", "mouth_corner_right_mm"):
        assert far(here[name].moved(turn, SHIFT), there[name].point_mm) < 4.0, name


@needs_open
@pytest.mark.slow
@pytest.mark.parametrize("who", ["female_young", "male_young", "male_old"])
def test_open_heads_with_and_without_a_bottom_agree(who: str):
    both = [
        named(head_proposals(scan(OPEN / "head" / f"{who}_headneck_{how}_mm.stl", "LSA")))
        for how in ("capped", "open")
    ]
    for name, near in (("nose_tip", 2.5), ("chin", 4.0), ("nape", 8.0), ("ear_left", 2.0)):
        assert far(both[0][name], both[1][name].point_mm) < near, name
    assert abs(both[0]["symmetry_plane"].normal[0]) > 0.999  # type: ignore[index]


def ball(count: int = 4000) -> Surface:
    from scipy.spatial import ConvexHull

    p = np.random.default_rng(0).normal(size=(count, 3))
    p /= np.linalg.norm(p, axis=1, keepdims=True)
    faces = ConvexHull(p).simplices
    out = np.einsum(
        "ij,ij->i", np.cross(p[faces[:, 1]] - p[faces[:, 0]], p[faces[:, 2]] - p[faces[:, 0]]), p[faces[:, 0]]
    )
    return Surface(p, np.where((out < 0.0)[:, None], faces[:, ::-1], faces))


def test_a_ball_is_neither_arch_nor_head():
    with pytest.raises(NotFoundError, match=r"arch: .*by hand|arch: .*landmark"):
        arch_proposals(ball().mapped(lambda p: 30.0 * p))
    with pytest.raises(NotFoundError, match=r"face: no nose stands out"):
        head_proposals(ball().mapped(lambda p: 110.0 * p))


def test_two_balls_are_parted_at_their_waist():
    """The cheapest closed line between two sure places is the concave waist, wherever the sure places lie."""
    from mesh_tools.level_surface import level_surface

    grid = [np.arange(-a, a, 0.3) for a in (9.0, 5.5, 5.5)]
    x, y, z = np.meshgrid(*grid, indexing="ij")
    field = np.minimum(np.hypot(np.hypot(x - 3.5, y), z), np.hypot(np.hypot(x + 3.5, y), z)) - 4.5
    pair = level_surface(field, origin_mm=np.array([-9.0, -5.5, -5.5]), step_mm=0.3)
    along = pair.face_centres_mm[:, 0]
    patch = patch_between(pair, along > 6.5, along < -2.0)
    assert abs(along[patch.faces].min()) < 0.4
    assert patch.border_mm == pytest.approx(2.0 * np.pi * np.sqrt(4.5**2 - 3.5**2), rel=0.35)
    assert patch.in_valley > 0.9
    with pytest.raises(NotFoundError, match="no face of the scan lies at the seed"):
        patch_between(pair, along > 99.0, along < -2.0)


def test_a_confidence_beyond_one_is_refused():
    with pytest.raises(BadValueError, match=r"x: confidence must lie in 0 to 1; got 1\.2"):
        Proposal("x", np.zeros(3), 1.2, "no reason")
