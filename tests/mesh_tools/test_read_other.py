"""PLY, OBJ, VTK, VTU and MSH: order kept, seams left closed, hostile files refused in one line."""

from __future__ import annotations

import contextlib
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


def _msh(path: Path, version: str, *, binary: bool) -> bytes:
    meshio = pytest.importorskip("meshio")
    several = [("line", FACES[:3, :2]), ("triangle", FACES[:50]), ("triangle", FACES[50:])]
    mesh = meshio.Mesh(POINTS, [("triangle", FACES)] if version == "4.1" else several)
    meshio.gmsh.write(path, mesh, fmt_version=version, binary=binary)
    return path.read_bytes()


@pytest.mark.parametrize("version", ["2.2", "4.0", "4.1"])
@pytest.mark.parametrize("binary", [False, True])
def test_msh_of_every_version(version: str, binary: bool, tmp_path: Path) -> None:
    _msh(tmp_path / "a.msh", version, binary=binary)
    seen = read_surface(tmp_path / "a.msh")
    assert np.allclose(seen.points_mm, POINTS, atol=1e-12)
    assert np.array_equal(seen.faces, FACES)


def test_msh_quads_labels_and_sparse_tags(tmp_path: Path) -> None:
    nodes = "".join(f"{tag} {x} {y} 0\n" for tag, x, y in [(7, 0, 0), (10**12, 1, 0), (3, 1, 1), (9, 0, 1)])
    text = f"$MeshFormat\n2.2 0 8\n$EndMeshFormat\n$Nodes\n4\n{nodes}$EndNodes\n$Elements\n4\n"
    text += f"1 15 2 1 1 7\n2 3 2 1 1 7 {10**12} 3 9\n3 2 0 7 {10**12} 3\n4 2 3 1 1 5 7 3 9\n$EndElements\n"
    (tmp_path / "a.msh").write_text(text)
    seen = read_surface(tmp_path / "a.msh")
    assert seen.faces.tolist() == [[0, 1, 2], [0, 2, 3], [0, 1, 2], [0, 2, 3]]


def test_msh_in_several_blocks_with_other_sections(tmp_path: Path) -> None:
    text = "$MeshFormat\n4.1 0 8\n$EndMeshFormat\n$Entities\n0 0 1 0\n1 0 0 0 1 1 0 0 0\n$EndEntities\n"
    text += "$Nodes\n2 4 1 40\n1 1 0 1\n40\n0 0 0\n2 1 0 3\n1\n2\n3\n1 0 0\n1 1 0\n0 1 0\n$EndNodes\n"
    text += "$Elements\n3 6 1 6\n1 1 1 1\n1 40 1\n2 1 2 4\n2 40 1 2\n3 40 2 3\n4 40 1 3\n5 1 2 3\n2 1 3 1\n6 40 1 2 3\n"
    (tmp_path / "a.msh").write_text(text + "$EndElements\n$NodeData\n99999999999\n")
    seen = read_surface(tmp_path / "a.msh")
    assert seen.points_mm.tolist() == [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]]
    assert seen.faces.tolist() == [[0, 1, 2], [0, 2, 3], [0, 1, 3], [1, 2, 3], [0, 1, 2], [0, 2, 3]]


@pytest.mark.parametrize("version", ["2.2", "4.0", "4.1"])
@pytest.mark.parametrize("binary", [False, True])
def test_msh_damaged_anywhere_is_refused_or_read_in_no_time(
    version: str, binary: bool, tmp_path: Path
) -> None:
    good = _msh(tmp_path / "a.msh", version, binary=binary)
    rng = np.random.default_rng(0)
    refused = 0
    for _ in range(60):
        bad = bytearray(good)
        at, size = int(rng.integers(0, len(bad))), int(rng.integers(1, 9))
        bad[at : at + size] = rng.choice(np.frombuffer(b"\xff9\x00", np.uint8), size).tobytes()
        (tmp_path / "b.msh").write_bytes(bytes(bad))
        with contextlib.suppress(BadFileError):  # anything else that is raised fails the test
            read_surface(tmp_path / "b.msh")
            refused -= 1
        refused += 1
    assert 5 < refused <= 60


LYING = {
    "vtk points": ("vtk", b"POINTS 42 ", b"POINTS 4200000000000 ", "POINTS states 4200000000000"),
    "vtk cells": ("vtk", b"CELLS 81 ", b"CELLS 8100000000 ", "CELLS states 8100000000"),
    "vtk types": ("vtk", b"CELL_TYPES 80", b"CELL_TYPES 80000000000", "CELL_TYPES states"),
    "vtk negative": ("vtk", b"POINTS 42 ", b"POINTS -42 ", "POINTS states -42"),
    "vtu points": ("vtu", b'NumberOfPoints="42"', b'NumberOfPoints="42000000000"', "NumberOfPoints states"),
    "msh elements": (
        "msh",
        b"$Elements\n1 80 1 80",
        b"$Elements\n999999999999 80 1 80",
        "999999999999 blocks",
    ),
    "msh block": ("msh", b"2 0 2 80", b"2 0 2 80000000000", "damaged"),
    "msh nodes": ("msh", b"$Nodes\n1 42 1 42", b"$Nodes\n77777777777 42 1 42", "states 77777777777 blocks"),
}


@pytest.mark.parametrize("name", LYING)
def test_lying_counts_are_refused_before_room_is_made(name: str, tmp_path: Path) -> None:
    meshio = pytest.importorskip("meshio")
    ending, old, new, words = LYING[name]
    path = tmp_path / f"a.{ending}"
    mesh = meshio.Mesh(POINTS, [("triangle", FACES)])
    if ending == "msh":
        meshio.gmsh.write(path, mesh, fmt_version="4.1", binary=False)
    else:
        mesh.write(path, file_format=ending, binary=False)
    good = path.read_bytes()
    assert old in good
    assert len(read_surface(path).faces) == 80
    _refused(path, good.replace(old, new, 1), words)


def test_dimensions_of_a_picture_are_no_surface(tmp_path: Path) -> None:
    text = b"# vtk DataFile Version 3.0\npicture\nASCII\nDATASET STRUCTURED_POINTS\nDIMENSIONS 999 999 999\n"
    text += b"ORIGIN 0 0 0\nSPACING 1 1 1\n" + b"POINT_DATA 10\n" + b" " * 2000
    _refused(tmp_path / "a.vtk", text, "DIMENSIONS states 997002999 where the file has")


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
