"""The corpus of bad inputs: for every door one function a file, with the words of the one line it must get.

A row is (door, name of the file, what makes its bytes, words of the refusal). A fault that is found anywhere becomes a
row here. More of single formats: tests/mesh_tools/bad_stl_files.py, test_read_other.py.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from fuzz.seeds import CASE, FACES, MEASURED, POINTS, TABLE, VISIT, seeds

MOST_LIED = 4_294_967_295


@dataclass(frozen=True)
class Bad:
    """One bad input: the door, a word for the fault, its bytes (made when asked for) and words of its one line."""

    door: str
    fault: str
    data: Callable[[], bytes]
    words: str

    def __str__(self) -> str:
        return f"{self.door}: {self.fault}"


def bad_files() -> list[Bad]:
    """The whole corpus of single files."""
    return [*_stl(), *_ply(), *_obj(), *_grids(), *_cases(), *_tables(), *_journals(), *_measured(), *_wear()]


def _changed(door: str, number: int, old: bytes, new: bytes) -> Callable[[], bytes]:
    """The seed ``number`` of ``door`` with ``old``, which must be there, replaced."""

    def made() -> bytes:
        good = seeds(door)[number]
        assert old in good, (door, old)
        return good.replace(old, new)

    return made


def _corners(value: float) -> bytes:
    """Binary STL with one coordinate spoiled."""
    rows = [[0.0] * 3 + [x for k in face for x in POINTS[k]] for face in FACES]
    rows[2][4] = value
    body = b"".join(struct.pack("<12fH", *row, 0) for row in rows)
    return b"\0" * 80 + struct.pack("<I", len(rows)) + body


def _tiny(scale: float) -> bytes:
    """Binary STL of the seed, scaled."""
    rows = [[0.0] * 3 + [x * scale for k in face for x in POINTS[k]] for face in FACES]
    body = b"".join(struct.pack("<12fH", *row, 0) for row in rows)
    return b"\0" * 80 + struct.pack("<I", len(rows)) + body


def _tiny_obj(scale: float) -> bytes:
    rows = "".join(f"v {x * scale} {y * scale} {z * scale}\n" for x, y, z in POINTS)
    return (rows + "".join(f"f {a + 1} {b + 1} {c + 1}\n" for a, b, c in FACES)).encode()


def _signalling() -> bytes:
    """A NaN that makes the processor speak when it is converted."""
    good = bytearray(_corners(0.0))
    good[84 + 12 : 84 + 16] = b"\x01\x00\x80\x7f"
    return bytes(good)


def _stl() -> Iterator[Bad]:
    lied = struct.pack("<I", MOST_LIED)
    yield Bad("stl", "empty", lambda: b"", "the file is empty")
    yield Bad("stl", "count lies", lambda: b"\0" * 80 + lied + b"\0" * 500, f"says {MOST_LIED} faces")
    yield Bad(
        "stl",
        "solid, count lies",
        lambda: b"solid a".ljust(80) + lied + b"\0" * 99,
        f"says {MOST_LIED} faces",
    )
    yield Bad("stl", "cut", lambda: seeds("stl")[0][:-7], "the size has room for 5.86")
    yield Bad("stl", "NaN", lambda: _corners(float("nan")), "not finite")
    yield Bad("stl", "signalling NaN", _signalling, "not finite")
    yield Bad("stl", "infinite", lambda: _corners(float("inf")), "not finite")
    yield Bad("stl", "beyond any scan", lambda: _corners(1e30), "no scan's")
    yield Bad("stl", "denormal", lambda: _tiny(1e-42), "across, no scan's size")
    yield Bad("obj", "smaller than any scan", lambda: _tiny_obj(1e-9), "across, no scan's size")
    yield Bad("stl", "text cut", lambda: seeds("stl")[2][:-60], "truncated")
    yield Bad("stl", "text infinite", _changed("stl", 2, b"19.0", b"inf"), "not finite")
    yield Bad("stl", "decimal comma", _changed("stl", 2, b"19.0", b"19,0"), "decimal point")
    yield Bad("stl", "a picture", lambda: b"\x89PNG\r\n\x1a\n" + b"\0" * 300, "is not STL")


def _ply() -> Iterator[Bad]:
    yield Bad("ply", "points lie", _changed("ply", 2, b"vertex 5", b"vertex 4000000000"), "states 4000000000")
    yield Bad("ply", "faces lie", _changed("ply", 2, b"face 6", b"face 2000000000"), "and 2000000000 faces")
    yield Bad("ply", "negative", _changed("ply", 0, b"vertex 5", b"vertex -5"), "must be a count")
    yield Bad("ply", "NaN", _changed("ply", 0, b"9.0 0.5", b"nan 0.5"), "not finite")
    yield Bad("ply", "infinite", _changed("ply", 0, b"9.0 0.5", b"-inf 0.5"), "not finite")
    yield Bad("ply", "index beyond", _changed("ply", 0, b"3 0 1 3", b"3 0 1 7"), "a face names point")
    yield Bad("ply", "index negative", _changed("ply", 0, b"3 0 1 3", b"3 0 -1 3"), "a face names point")
    yield Bad("ply", "cut", lambda: seeds("ply")[2][:-20], "PLY file")
    yield Bad(
        "ply", "short row", _changed("ply", 1, b"0.0 0.0 0.0 255 0 0", b"0 0"), "is not a readable PLY file"
    )
    yield Bad("ply", "no surface", _changed("ply", 0, b"face 6", b"face 0"), "holds no faces")
    yield Bad("ply", "renamed", lambda: b"solid a\n", "is not PLY")


def _obj() -> Iterator[Bad]:
    yield Bad("obj", "NaN", _changed("obj", 0, b"v 9.0", b"v nan"), "not finite")
    yield Bad("obj", "infinite", _changed("obj", 0, b"v 9.0", b"v 1e999"), "not finite")
    yield Bad("obj", "index beyond", _changed("obj", 0, b"f 1/1", b"f 99999999999/1"), "of 5")
    yield Bad("obj", "index zero", _changed("obj", 0, b"f 1/1", b"f 0/1"), "which is none")
    yield Bad("obj", "zero bytes", lambda: seeds("obj")[0] + b"\0", "zero bytes")
    yield Bad("obj", "a page", lambda: b"<html>not found</html>", "holds no faces")


def _grids() -> Iterator[Bad]:
    yield Bad("vtk", "points lie", _changed("vtk", 0, b"POINTS 5", b"POINTS 4200000000"), "POINTS states 42")
    yield Bad("vtk", "cells lie", _changed("vtk", 0, b"CELLS 6 24", b"CELLS 6000000000 24"), "CELLS states 6")
    yield Bad("vtk", "NaN", _changed("vtk", 0, b"9.0 0.5", b"nan 0.5"), "not finite")
    yield Bad("vtk", "index beyond", _changed("vtk", 0, b"3 0 1 3", b"3 0 1 9"), "a face names point")
    yield Bad("vtk", "cut", lambda: seeds("vtk")[0][:150], "VTK file")
    yield Bad(
        "vtu", "points lie", _changed("vtu", 0, b'Points="5"', b'Points="5000000000"'), "NumberOfPoints"
    )
    yield Bad("vtu", "cut", lambda: seeds("vtu")[1][:200], "VTU file")
    yield Bad("vtu", "entities", lambda: _LAUGHS, "VTU file")
    yield Bad("msh", "no format", lambda: b"$Nodes\n", "is not MSH")
    yield Bad("msh", "cut", lambda: seeds("msh")[0][:-40], "cut short")
    yield Bad("msh", "node lies", _changed("msh", 2, b"$Nodes\n5", b"$Nodes\n5000000000"), "damaged")


# Entities that grow to gigabytes when they are expanded.
_LAUGHS = (
    b'<?xml version="1.0"?><!DOCTYPE VTKFile [<!ENTITY a "'
    + b"ha" * 50
    + b'">'
    + b"".join(b'<!ENTITY %c "%s">' % (98 + k, b"&%c;" % (97 + k) * 20) for k in range(9))
    + b']><VTKFile type="UnstructuredGrid">&j;</VTKFile>'
)


def _cases() -> Iterator[Bad]:
    def with_(old: bytes, new: bytes) -> Callable[[], bytes]:
        assert old in CASE, old
        return lambda: CASE.replace(old, new)

    yield Bad("case", "not TOML", lambda: b"schema = = 1", "is not valid TOML")
    yield Bad("case", "not UTF-8", lambda: b"case_id = '\xff'", "is not UTF-8")
    yield Bad("case", "nested deep", lambda: b"a = " + b"[" * 60_000, "is not valid TOML")
    yield Bad("case", "NaN", with_(b"-28.5", b"nan"), "landmarks.tube_right_mesial_mm.0")
    yield Bad("case", "infinite", with_(b"force_n = 4.0", b"force_n = inf"), "pull.right.force_n")
    yield Bad(
        "case", "misspelt", with_(b"[pull.right]\nforce_n", b"[pull.right]\nforze_n"), "did you mean force_n"
    )
    yield Bad("case", "two forces", with_(b"force_n = 4.0", b"force_n = 4.0\nforce_gf = 1"), "force once")
    yield Bad("case", "escape in a key", with_(b"schema = 1", b'"\\u001b[2J" = 1'), r"\x1b[2J: unknown key")
    yield Bad("case", "line end in a key", with_(b"schema = 1", b'"a\\nb" = 1'), r"a\nb: unknown key")
    yield Bad("case", "long key", with_(b"schema = 1", b"a" * 5000 + b" = 1"), "unknown key")
    yield Bad("case", "other schema", with_(b"schema = 1", b"schema = 2"), "schema: must be 1")
    yield Bad("case", "name leads out", with_(b'"a"', b'"../a"'), "case_id")
    yield Bad(
        "case", "endless number", with_(b"schema = 1", b"schema = 1" + b"0" * 6000), "is not valid TOML"
    )
    yield Bad(
        "case", "huge coordinate", with_(b"-28.5", b"1" + b"0" * 400), "tube_right_mesial_mm.0: must be"
    )
    yield Bad(
        "case", "huge plane", with_(b"-25, 29", b"1" + b"0" * 400 + b", 29"), "occlusal_plane_mm.0.0: must"
    )
    yield Bad(
        "case", "huge number", with_(b"force_n = 4.0", b"force_n = 1" + b"0" * 400), "pull.right.force_n"
    )
    yield Bad("case", "no tubes", lambda: CASE, "landmarks.")


def _tables() -> Iterator[Bad]:
    yield Bad("table", "no column", lambda: TABLE.replace(b"tooth", b"zahn"), "column 'tooth' is missing")
    yield Bad("table", "twice", lambda: TABLE.replace(b"unit", b"tooth"), "column 'tooth' stands there twice")
    yield Bad("table", "escape in a name", lambda: b"\x1b[2Jmesh,a,axes\n", r"\x1b[2Jmesh")
    yield Bad("table", "open quote", lambda: TABLE + b'"a,b\n', "is not a table")
    yield Bad("table", "empty", lambda: b"", "got nothing")


def _journals() -> Iterator[Bad]:
    yield Bad("journal", "changed", lambda: VISIT + b',"sha256":"0"}\n', "line 1 does not match its checksum")
    yield Bad("journal", "zeros", lambda: b"\0" * 512 + b"\n", "line 1 does not match")


def _measured() -> Iterator[Bad]:
    def with_(old: bytes, new: bytes) -> Callable[[], bytes]:
        assert old in MEASURED, old
        return lambda: MEASURED.replace(old, new)

    yield Bad("measured", "not TOML", lambda: b"[right", "is not a TOML file")
    yield Bad("measured", "NaN", with_(b"-3.5", b"nan"), "right.hook_up_mm: must be a finite number")
    yield Bad(
        "measured", "two forces", with_(b"force_gf = 400", b"force_gf = 400\nforce_n = 4"), "force once"
    )
    yield Bad("measured", "escape in a key", with_(b"[errors]", b'["\\u001b[2J"]'), r"\x1b[2J: unknown key")
    yield Bad("measured", "endless number", with_(b"-3.5", b"1" * 6000), "is not a TOML file")
    yield Bad("measured", "huge number", with_(b"-3.5", b"1" * 400), "right.hook_up_mm")
    yield Bad("measured", "nothing", lambda: b"", "nothing was measured")


def _wear() -> Iterator[Bad]:
    yield Bad("wear", "25 hours", lambda: b"2026-01-01;25\n", "between 0 and 24")
    yield Bad("wear", "NaN", lambda: b"2026-01-01;nan\n", "between 0 and 24")
    yield Bad("wear", "no such day", lambda: b"2026-02-30;5\n", "row 1: the date")
    yield Bad("wear", "not text", lambda: b"\xfe\xff\xd8", "is not UTF-8")
    yield Bad("wear", "escape in a name", lambda: b"\x1b[2J,b,c\n", r"\x1b[2J")
    yield Bad("wear", "empty", lambda: b"", "holds no rows")
