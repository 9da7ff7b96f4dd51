"""The strict STL reader against forty-one files, and against another library on good ones."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from bad_stl_files import StlCase, binary, sphere, stl_cases, text
from hypothesis import given, settings
from hypothesis import strategies as st

from mesh_tools.errors import BadFileError, MissingFileError
from mesh_tools.read import read_surface
from mesh_tools.read_stl import surface_from_stl
from mesh_tools.surface import Surface
from mesh_tools.write import write_ply, write_stl

CASES = stl_cases()


def test_forty_one_files() -> None:
    assert len({c.name for c in CASES}) == 41


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)
def test_each_file(case: StlCase, tmp_path: Path) -> None:
    path = tmp_path / f"{case.name}.stl"
    path.write_bytes(case.data)
    if case.size:
        seen = read_surface(path)
        assert (len(seen.points_mm), len(seen.faces)) == case.size
        return
    with pytest.raises(BadFileError) as caught:
        read_surface(path)
    line = str(caught.value)
    assert case.refusal in line
    assert line.startswith(str(path))
    assert "\n" not in line


def test_fortran_exponent_is_named() -> None:
    data = text(sphere(0)[0][sphere(0)[1]]).replace("vertex -", "vertex 1D5", 1).encode()
    with pytest.raises(BadFileError, match="is not a number"):
        surface_from_stl(data, name="x")


def test_lying_count_allocates_nothing() -> None:
    data = binary(sphere()[0][sphere()[1]], count=4294967295)
    tracemalloc.start()
    with pytest.raises(BadFileError, match="4294967295"):
        surface_from_stl(data, name="x")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 1_000_000


def test_same_as_another_library(tmp_path: Path) -> None:
    trimesh = pytest.importorskip("trimesh")
    points, faces = sphere(3)
    write_stl(tmp_path / "a.stl", Surface(points, faces))
    ours = read_surface(tmp_path / "a.stl")
    theirs = trimesh.load_mesh(tmp_path / "a.stl", process=False)
    assert np.array_equal(ours.corners_mm, theirs.triangles)


def test_points_numbered_as_they_first_appear() -> None:
    seen = surface_from_stl(binary(sphere()[0][sphere()[1]]), name="x")
    _, first = np.unique(seen.faces.ravel(), return_index=True)
    assert (np.diff(first) > 0).all()


def test_missing_folder_and_ending(tmp_path: Path) -> None:
    with pytest.raises(MissingFileError, match=r"no\.stl: no such file"):
        read_surface(tmp_path / "no.stl")
    with pytest.raises(BadFileError, match="is not a file"):
        read_surface(tmp_path)
    (tmp_path / "a.xyz").write_text("hello")
    with pytest.raises(BadFileError, match=r"ending must be one of \.stl"):
        read_surface(tmp_path / "a.xyz")


@settings(max_examples=150, deadline=None)
@given(at=st.integers(0, 4000), value=st.integers(0, 255), cut=st.integers(0, 200), as_text=st.booleans())
def test_spoiled_files_are_read_whole_or_refused(at: int, value: int, cut: int, as_text: bool) -> None:
    corners = sphere(1)[0][sphere(1)[1]]
    data = bytearray(text(corners).encode() if as_text else binary(corners))
    data[at % len(data)] = value
    try:
        seen = surface_from_stl(bytes(data[: len(data) - cut]), name="x")
    except BadFileError:
        return
    assert np.isfinite(seen.points_mm).all()
    assert len(seen.faces) == 80 or as_text


@settings(max_examples=30, deadline=None)
@given(scale=st.floats(1e-6, 1e6), shift=st.floats(-1e3, 1e3))
def test_round_trips(scale: float, shift: float, tmp_path_factory: pytest.TempPathFactory) -> None:
    folder = tmp_path_factory.mktemp("trip")
    points, faces = sphere(1)
    surface = Surface(points * scale + shift, faces)
    write_ply(folder / "a.ply", surface)
    back = read_surface(folder / "a.ply")
    assert np.array_equal(back.points_mm, surface.points_mm)
    assert np.array_equal(back.faces, surface.faces)
