"""Landmarks in their scan's own frame: they come home with it, and one that lies off its scan is refused."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from casework.case_file import CaseError, parsed_case
from casework.desk.bench import workbench
from casework.desk.draft import Draft, opened, problems
from casework.landmark_frames import LandmarkOffScanError, distances_mm, located_case
from casework.scans import Scan, read_scans
from demo_meshes import demo_folder
from demo_meshes.scattered import moves, write_scattered
from mechanics.sides import SIDES
from mesh_tools.surface import Surface
from tests.casework.moving import demo_values

ON_ARCH = (
    "tube_right_mesial_mm", "tube_right_distal_mm", "tube_left_mesial_mm", "tube_left_distal_mm",
    "incisor_contact_mm", "occlusal_plane_mm",
)  # fmt: skip
ON_FACE = ("mouth_corner_right_mm", "mouth_corner_left_mm", "strap_right_mm", "strap_left_mm")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("own_frames")
    write_scattered(demo_folder(), target)
    return target


def own_frame_values(folder: Path) -> dict[str, Any]:
    """The scattered demo with every landmark in its scan's own frame; arch and face laid by exact pairs alone."""
    values = demo_values()
    record = json.loads((folder / "moves.json").read_text("utf-8"))
    done = moves()
    for name, scan in values["scans"].items():
        scan["axes"] = "LPS"
        pairs = list(record[name]["landmarks"].values())
        if pairs:
            moving, fixed = ([p[k] for p in pairs] for k in ("own_mm", "lps_mm"))
            scan["register"] = {"moving_mm": moving, "fixed_mm": fixed}
    marks = values.pop("landmarks")
    values["landmarks_in"] = {
        name: {k: _own(marks[k], name, done) for k in keys}
        for name, keys in (("arch", ON_ARCH), ("face", ON_FACE))
    }
    return values


def _own(points: Any, name: str, done: Any) -> Any:
    rows = done[name].applied(np.atleast_2d(np.array(points, dtype=float))).tolist()
    return rows if np.ndim(points) == 2 else rows[0]


@pytest.fixture(scope="module")
def scans(folder: Path) -> dict[str, Scan]:
    return read_scans(parsed_case(own_frame_values(folder)), folder)


def test_landmarks_come_home_with_their_scan(folder: Path, scans: dict[str, Scan]) -> None:
    located = located_case(parsed_case(own_frame_values(folder)), scans)
    for key, known in demo_values()["landmarks"].items():
        np.testing.assert_allclose(getattr(located.case.landmarks, key), known, atol=1e-6)
    assert located.case.landmarks_in.arch is None
    assert [f.split(":")[0] for f in located.findings] == ["landmarks_in.arch", "landmarks_in.face"]
    assert located_case(located.case, scans).case is located.case


def test_a_scan_that_sets_the_frame_leaves_its_landmarks(scans: dict[str, Scan]) -> None:
    values = demo_values()
    place = scans["right_molar"].surface.points_mm[0]
    values["landmarks_in"] = {"right_molar": {"nape_mm": place.tolist()}}
    located = located_case(parsed_case(values), scans)
    assert located.case.landmarks.nape_mm == place.tolist()
    assert located.case.landmarks.tube_left_distal_mm == values["landmarks"]["tube_left_distal_mm"]


@pytest.mark.parametrize(
    ("scan", "key", "off", "text"),
    [
        ("arch", "incisor_contact_mm", 4.0, r"^landmarks_in\.arch\.incisor_contact_mm: \(.*arch\.stl.* 3 mm"),
        ("arch", "tube_left_distal_mm", 7.0, r"^landmarks_in\.arch\.tube_left_distal_mm: .* 5 mm"),
        (
            "face",
            "mouth_corner_left_mm",
            5.0,
            r"^landmarks_in\.face\.mouth_corner_left_mm: .*face\.stl.* 3 mm",
        ),
        ("face", "strap_right_mm", 14.0, r"^landmarks_in\.face\.strap_right_mm: .* 10 mm"),
    ],
)
def test_a_landmark_off_its_scan_is_named(
    folder: Path, scans: dict[str, Scan], scan: str, key: str, off: float, text: str
) -> None:
    values = own_frame_values(folder)
    side = np.sign(demo_values()["landmarks"][key][0])
    forward = key in ("incisor_contact_mm", "mouth_corner_left_mm")
    out = moves()[scan].rotation @ np.array([0.0, -1.0, 0.0] if forward else [side, 0.0, 0.0])
    values["landmarks_in"][scan][key] = (np.array(values["landmarks_in"][scan][key]) + off * out).tolist()
    with pytest.raises(LandmarkOffScanError, match=text) as caught:
        located_case(parsed_case(values), scans)
    assert "\n" not in str(caught.value)


def test_a_landmark_in_the_wrong_frame_is_told_what_to_do(folder: Path, scans: dict[str, Scan]) -> None:
    values = own_frame_values(folder)
    values["landmarks_in"]["arch"]["occlusal_plane_mm"] = demo_values()["landmarks"]["occlusal_plane_mm"]
    with pytest.raises(
        LandmarkOffScanError, match=r"point \d of landmarks_in\.arch\.occlusal_plane_mm.*own frame"
    ):
        located_case(parsed_case(values), scans)


@pytest.mark.parametrize(
    ("tables", "text"),
    [
        ({"arch": {"nape_mm": [0, 0, 0], "tube_left_mesial_mm": [0, 0, 0]}}, r"landmarks_in\.arch\.tube_left_mesial_mm "
         r"is given in landmarks too"),
        ({"arch": {"nape_mm": [0, 0, 0]}, "face": {"nape_mm": [0, 0, 0]}}, r"landmarks_in\.face\.nape_mm is given in "
         r"landmarks_in\.arch too; keep one"),
        ({"arch": {"nap_mm": [0, 0, 0]}}, r"landmarks_in\.arch\.nap_mm: unknown key; did you mean nape_mm\?"),
        ({"bow": {}}, r"landmarks_in\.bow: unknown key"),
        ({"arch": {"nape_mm": [0, 0]}}, r"landmarks_in\.arch\.nape_mm: .*3 items"),
    ],
)  # fmt: skip
def test_bad_tables_are_refused_by_their_key(tables: dict[str, Any], text: str) -> None:
    values = demo_values()
    values["landmarks_in"] = tables
    with pytest.raises(CaseError, match=text) as caught:
        parsed_case(values)
    assert len(caught.value.problems) == 1


def test_a_table_needs_its_scan() -> None:
    values = demo_values()
    del values["scans"]["face"]
    values["landmarks_in"] = {"face": {"nape_mm": [0, 0, 0]}}
    with pytest.raises(CaseError, match=r"landmarks_in\.face needs the scan it lies on; add scans\.face"):
        parsed_case(values)


def test_distances_agree_with_a_reference_library() -> None:
    # trimesh's closest_point, another implementation (bounding boxes in a tree instead of spheres).
    ball = trimesh.creation.icosphere(subdivisions=2, radius=7.0)
    ball.apply_scale([1.0, 2.0, 0.4])
    points = np.random.default_rng(4).normal(size=(60, 3)) * 8.0
    own = distances_mm(points, Surface(np.array(ball.vertices), np.array(ball.faces)))
    known: Any = trimesh.proximity.closest_point
    np.testing.assert_allclose(own, known(ball, points)[1], atol=1e-9)


def test_the_desk_sees_landmarks_of_their_own_frames(folder: Path) -> None:
    draft = Draft(folder.resolve(), own_frame_values(folder) | {"landmarks": {}})
    assert not problems(draft)
    bench, home = workbench(draft, clear=False), workbench(opened(demo_folder() / "case.toml"), clear=False)
    for side in SIDES:
        np.testing.assert_allclose(bench.centres[side].target_mm, home.centres[side].target_mm, atol=1e-4)
        np.testing.assert_allclose(bench.bow.hook_mm[side], home.bow.hook_mm[side], atol=1e-3)
