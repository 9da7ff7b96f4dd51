"""Small good files of every door, made by code, for mutation to begin with."""

from __future__ import annotations

import struct
import tempfile
from pathlib import Path

POINTS = ((0.0, 0.0, 0.0), (9.0, 0.5, 0.0), (4.0, 8.0, 0.5), (4.5, 3.0, 19.0), (5.0, 2.5, -1.0))
FACES = ((0, 1, 3), (1, 2, 3), (2, 0, 3), (1, 0, 4), (2, 1, 4), (0, 2, 4))


def seeds(door: str) -> list[bytes]:
    """Good inputs of ``door``, each as small as shows all that its reader knows."""
    if door in ("stl", "ply", "obj", "vtk", "vtu", "msh"):
        return {"stl": _stl, "ply": _ply, "obj": _obj, "vtk": _vtk, "vtu": _vtu, "msh": _msh}[door]()
    return {
        "case": [CASE, CASE_WHOLE],
        "table": [TABLE, TABLE.replace(b",", b";"), b"sep=;\n" + TABLE.replace(b",", b";")],
        "journal": [b"\x00" + VISIT + b"\n" + VISIT, b"\x01" + VISIT],
        "measured": [MEASURED, PHOTO],
        "wear": [
            b"date,hours\n2026-01-01,5.5\n2026-01-02,12\n",
            b"25.11.2026;5:30\n26.11.2026;7,25\n",
            "date\thours\n2026/1/3\t8\n".encode("utf-16"),
        ],
    }[door]


def _stl() -> list[bytes]:
    triangles = b"".join(
        struct.pack("<12fH", 0, 0, 0, *(x for k in face for x in POINTS[k]), 0) for face in FACES
    )
    facets = "".join(
        "facet normal 0 0 0\nouter loop\n"
        + "".join(f"vertex {POINTS[k][0]} {POINTS[k][1]} {POINTS[k][2]}\n" for k in face)
        + "endloop\nendfacet\n"
        for face in FACES
    )
    count = struct.pack("<I", len(FACES))
    text = f"solid a\n{facets}endsolid a\n".encode()
    return [b"solid".ljust(80) + count + triangles, b"\0" * 80 + count + triangles, text]


def _ply() -> list[bytes]:
    def head(kind: str, extra: str = "") -> bytes:
        return (
            f"ply\nformat {kind} 1.0\ncomment a\nelement vertex {len(POINTS)}\nproperty float x\nproperty float y\n"
            f"property float z\n{extra}element face {len(FACES)}\nproperty list uchar int vertex_indices\nend_header\n"
        ).encode()

    rows = "".join(f"{x} {y} {z}\n" for x, y, z in POINTS)
    faces = "".join(f"3 {a} {b} {c}\n" for a, b, c in FACES)
    coloured = "".join(f"{x} {y} {z} 255 0 0\n" for x, y, z in POINTS)
    colour = "property uchar red\nproperty uchar green\nproperty uchar blue\n"
    out = [head("ascii") + (rows + faces).encode(), head("ascii", colour) + (coloured + faces).encode()]
    for kind, mark in (("binary_little_endian", "<"), ("binary_big_endian", ">")):
        body = b"".join(struct.pack(mark + "3f", *p) for p in POINTS)
        out.append(head(kind) + body + b"".join(struct.pack(mark + "B3i", 3, *f) for f in FACES))
    return out


def _obj() -> list[bytes]:
    rows = "".join(f"v {x} {y} {z}\n" for x, y, z in POINTS)
    faces = "".join(f"f {a + 1}/1 {b + 1}/1 {c + 1}/1\n" for a, b, c in FACES)
    return [
        f"# a\n{rows}vt 0 0\n{faces}".encode(),
        f"{rows}f 1 2 \\\n3 4\nf -5 -4 -2\nf 2//1 3//1 5//1\nf 1 3 5\n".encode(),
    ]


def _vtk() -> list[bytes]:
    rows = "".join(f"{x} {y} {z}\n" for x, y, z in POINTS)
    faces = "".join(f"3 {a} {b} {c}\n" for a, b, c in FACES)
    grid = (
        f"# vtk DataFile Version 4.2\na\nASCII\nDATASET UNSTRUCTURED_GRID\nPOINTS 5 double\n{rows}"
        f"CELLS 6 24\n{faces}CELL_TYPES 6\n" + "5\n" * 6
    )
    return [grid.encode(), *_written("vtk", ".vtk")]


def _vtu() -> list[bytes]:
    return _written("vtu", ".vtu")


def _msh() -> list[bytes]:
    return [*_written("gmsh", ".msh"), *_written("gmsh22", ".msh")]


def _written(kind: str, ending: str) -> list[bytes]:
    """Text and binary files as the general library writes them."""
    import meshio

    mesh = meshio.Mesh(POINTS, [("triangle", FACES)])
    out = []
    with tempfile.TemporaryDirectory() as folder:
        for binary in (False, True):
            path = Path(folder) / f"a{ending}"
            mesh.write(path, file_format=kind, binary=binary)
            out.append(path.read_bytes())
    return out


CASE = b"""schema = 1
case_id = "a"
[landmarks]
tube_right_mesial_mm = [-28.5, 28.6, 7.7]
occlusal_plane_mm = [[-25, 29, 3], [25, 29, 3], [0, 0.1, 0.3]]
[pull]
kind = "cervical"
[pull.right]
force_n = 4.0
[pull.left]
force_gf = 400
"""
CASE_WHOLE = b"""schema = 1
case_id = "b-1"
age_years = 10.5
[scans.right_molar]
file = "molar.stl"
tooth = 16
axes = "RAS"
unit = "mm"
[scans.right_molar.landmarks]
furcation = [1, 2, 3]
[scans.right_molar.register]
to = ["arch"]
moving_mm = [[0, 0, 0]]
fixed_mm = [[0, 0, 1]]
[landmarks]
mouth_corner_right_mm = [-20.3, -3.8, 1.9]
[bow]
arm_length_mm = 105.0
[bow.activation]
expansion_right_mm = 1.0
[pull]
kind = "combination"
strap = "taut"
[pull.right]
force_n = 4.0
angle_deg = -20
high = {force_n = 3.0, angle_deg = 30, midline_deg = 5}
[pull.left]
force_n = 4.0
high = {force_n = 3.0}
[head]
neck_circumference_mm = 300.0
[ligament]
nu = 0.45
[choices]
target = "thin_layer"
unknowns = ["bend_deg", "rise_mm"]
arm_limits_mm = [50.0, 160.0]
samples = 64
"""
TABLE = b"id,mesh,tooth,axes,unit,crest_below_cej_mm,age\na,a.csv,16,LPS,mm,0.75,9.5\nb,a.csv,26,RAS,,,\n"
VISIT = (
    b'{"day":"2026-01-02","right":{"relation_mm":2.5,"force_n":4.0},"told_hours":12.0,'
    b'"recorded_days":3,"release_checked":true,"bends":"","notes":"a"}'
)
MEASURED = b"""[right]
hook_up_mm = -3.5
hook_back_mm = 20.0
strap_angle_deg = -12.0
force_gf = 400
high = {strap_angle_deg = 30.0, force_n = 3.0}
[errors]
ruler_mm = 0.5
gauge_share = 0.1
"""
PHOTO = b"""[left]
force_n = 4.0
[left.photo]
scale_px = [[0, 0], [100, 0]]
scale_mm = 50
plane_px = [[0, 0], [300, 10]]
mark_px = [120, 200]
hook_px = [10, 220]
strap_px = [400, 300]
"""
