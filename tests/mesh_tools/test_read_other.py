"""PLY, OBJ, VTK, VTU and MSH: order kept, seams left closed, hostile files refused in one line."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest
from bad_stl_files import sphere

from mesh_tools.errors import BadFileError, MissingFileError
from mesh_tools.read import read_surface, sha256_of
from mesh_tools.surface import Surface
from mesh_tools.topology import is_closed
from mesh_tools.write import (
    UnwritableError,
    write_bytes_atomically,
    write_ply,
    write_stl,
    write_text_atomically,
)

POINTS, FACES = sphere(1)
V = "".join(f"v {x!r} {y!r} {z!r}\n" for x, y, z in POINTS.tolist())


def test_obj_with_texture_seams_stays_closed(tmp_path: Path) -> None:
    corners = "".join("f " + " ".join(f"{p + 1}/{3 * i + k + 1}" for k, p in enumerate(f)) + "\n"
                      for i, f in enumerate(FACES.tolist()))  # fmt: skip
    path = tmp_path / "seams.obj"
    path.write_text(V + "vt 0 0\n" * (3 * len(FACES)) + corners)
    seen = read_surface(path)
    assert np.array_equal(seen.points_mm, POINTS)
    assert np.array_equal(seen.faces, FACES)
    assert is_closed(seen)


def test_obj_polygons_and_negative_indices(tmp_path: Path) -> None:
    path = tmp_path / "box.obj"
    path.write_text("v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nv 0 0 1\nf 1 2 3 4\nf -5 -4 -1\nf 2 3 5\n")
    assert read_surface(path).faces.tolist() == [[0, 1, 2], [0, 2, 3], [0, 1, 4], [1, 2, 4]]


BAD_OBJ = {
    "empty of faces": (V, "holds no faces"),
    "index beyond": (V + "f 1 2 9999\n", "names point 9999 of 42"),
    "index zero": (V + "f 0 1 2\n", "names point 0, which is none"),
    "index word": (V + "f a b c\n", "not a number"),
    "two corners": (V + "f 1 2\n", "needs three corners"),
    "nan": (V + "v nan 0 0\nf 1 2 3\nf 1 2 4\nf 1 3 4\nf 2 3 4\n", "not finite"),
    "comma": (V.replace(".", ",") + "f 1 2 3\n", "decimal point"),
    "short row": ("v 1 2\nf 1 1 1\n", "fewer than three"),
    "zero bytes": ("v 0 0\0 0\n", "zero bytes"),
    "zero area": ("v 0 0 0\nv 1 0 0\nv 2 0 0\n" + "f 1 2 3\n" * 4, "zero area"),
    "page": ("<html>no</html>", "holds no faces"),
}


@pytest.mark.parametrize("name", BAD_OBJ)
def test_bad_obj(name: str, tmp_path: Path) -> None:
    _refused(tmp_path / "bad.obj", BAD_OBJ[name][0].encode(), BAD_OBJ[name][1])


def _ply(points: int, faces: int, body: bytes, kind: str = "binary_little_endian") -> bytes:
    head = (
        f"ply\nformat {kind} 1.0\nelement vertex {points}\nproperty float x\nproperty float y\n"
        f"property float z\nelement face {faces}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    return head.encode() + body


def _body(points: np.ndarray, faces: np.ndarray) -> bytes:
    rows = np.empty(len(faces), dtype=[("n", "u1"), ("f", "<i4", 3)])
    rows["n"], rows["f"] = 3, faces
    return points.astype("<f4").tobytes() + rows.tobytes()


NAN = POINTS.copy()
NAN[3, 1] = np.nan
BODY = _body(POINTS, FACES)
BAD_PLY = {
    "no header": (b"ply of nothing", "is not PLY"),
    "lying points": (_ply(4_000_000_000, 80, BODY), "header states 4000000000 points"),
    "lying faces": (_ply(42, 2_000_000_000, BODY), "header states 42 points and 2000000000 faces"),
    "cut": (_ply(42, 80, BODY[:-200]), "PLY"),
    "no faces": (_ply(42, 0, POINTS.astype("<f4").tobytes()), "holds no faces"),
    "nan": (_ply(42, 80, _body(NAN, FACES)), "not finite"),
    "index beyond": (_ply(42, 80, _body(POINTS, FACES + 41)), "a face names point"),
    "negative index": (_ply(42, 80, _body(POINTS, FACES - 1)), "a face names point"),
    "count word": (_ply(42, 80, BODY).replace(b"vertex 42", b"vertex -42"), "must be a count"),
}


@pytest.mark.parametrize("name", BAD_PLY)
def test_bad_ply(name: str, tmp_path: Path) -> None:
    _refused(tmp_path / "bad.ply", *BAD_PLY[name])


def test_good_single_precision_ply(tmp_path: Path) -> None:
    path = tmp_path / "a.ply"
    path.write_bytes(_ply(42, 80, BODY))
    seen = read_surface(path)
    assert np.array_equal(seen.points_mm, POINTS.astype(np.float32))
    assert np.array_equal(seen.faces, FACES)


@pytest.mark.parametrize("ending", ["vtk", "vtu", "msh"])
def test_grids(ending: str, tmp_path: Path) -> None:
    meshio = pytest.importorskip("meshio")
    path = tmp_path / f"a.{ending}"
    kind = {"msh": "gmsh"}.get(ending, ending)
    meshio.Mesh(POINTS, [("triangle", FACES)]).write(path, file_format=kind)
    seen = read_surface(path)
    assert np.allclose(seen.points_mm, POINTS, atol=1e-12)
    assert np.array_equal(seen.faces, FACES)
    path.write_bytes(path.read_bytes()[:300])
    _refused(path, path.read_bytes(), ending.upper())
    meshio.Mesh(POINTS, [("tetra", FACES[:, [0, 1, 2, 0]])]).write(path, file_format=kind)
    _refused(path, path.read_bytes(), "holds tetra cells")


@pytest.mark.parametrize("ending", ["vtk", "vtu", "msh", "ply", "obj", "stl"])
@pytest.mark.parametrize(
    "data", [b"<html>no</html>", b"\x00" * 4000, b"$MeshFormat\n", b"# vtk DataFile Version 9\n"]
)
def test_garbage_everywhere(ending: str, data: bytes, tmp_path: Path) -> None:
    _refused(tmp_path / f"a.{ending}", data, "a.")


def _refused(path: Path, data: bytes, words: str) -> None:
    path.write_bytes(data)
    with pytest.raises(BadFileError) as caught:
        read_surface(path)
    line = str(caught.value)
    assert words in line
    assert "\n" not in line
    assert len(line) < 400 + len(str(path))


def test_writing_leaves_nothing_beside(tmp_path: Path) -> None:
    write_text_atomically(tmp_path / "a.txt", "één\n")
    assert (tmp_path / "a.txt").read_bytes() == "één\n".encode()
    with pytest.raises(UnwritableError, match="cannot be written"):
        write_bytes_atomically(tmp_path / "none" / "a.txt", b"x")
    (tmp_path / "folder").mkdir()
    with pytest.raises(UnwritableError, match="folder: cannot be written"):
        write_bytes_atomically(tmp_path / "folder", b"x")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.txt", "folder"]


def test_written_ply_is_read_by_another_library(tmp_path: Path) -> None:
    meshio = pytest.importorskip("meshio")
    write_ply(tmp_path / "a.ply", Surface(POINTS / 3.0, FACES))
    seen = meshio.read(tmp_path / "a.ply")
    assert np.array_equal(seen.points, POINTS / 3.0)
    with pytest.raises(BadFileError, match="single precision"):
        write_stl(tmp_path / "a.stl", Surface(POINTS * 1e40, FACES))


def test_fingerprint(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"abc")
    assert sha256_of(tmp_path / "a") == hashlib.sha256(b"abc").hexdigest()
    assert sha256_of(tmp_path / "a").startswith("ba7816bf")  # FIPS 180-4 example for "abc"
    with pytest.raises(MissingFileError, match="no such file"):
        sha256_of(tmp_path / "b")
