"""Forty-one STL files made by code, good and hostile, each with what a strict reader must say of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array, IntArray


@dataclass(frozen=True)
class StlCase:
    """Bytes, and either (points, faces) that must come out or the words of the refusal."""

    name: str
    data: bytes
    size: tuple[int, int] | None = None
    refusal: str = ""


def sphere(level: int = 2, radius: float = 5.0) -> tuple[Array, IntArray]:
    """Icosphere: the icosahedron's twelve points (golden ratio) with every face split in four ``level`` times."""
    g = (1 + 5**0.5) / 2
    p = [(-1, g, 0), (1, g, 0), (-1, -g, 0), (1, -g, 0), (0, -1, g), (0, 1, g), (0, -1, -g), (0, 1, -g),
         (g, 0, -1), (g, 0, 1), (-g, 0, -1), (-g, 0, 1)]  # fmt: skip
    f = [(0, 11, 5), (0, 5, 1), (0, 1, 7), (0, 7, 10), (0, 10, 11), (1, 5, 9), (5, 11, 4), (11, 10, 2),
         (10, 7, 6), (7, 1, 8), (3, 9, 4), (3, 4, 2), (3, 2, 6), (3, 6, 8), (3, 8, 9), (4, 9, 5), (2, 4, 11),
         (6, 2, 10), (8, 6, 7), (9, 8, 1)]  # fmt: skip
    points, faces = np.array(p, dtype=float), np.array(f)
    for _ in range(level):
        half = np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2)
        pairs, back = np.unique(np.sort(half, axis=1), axis=0, return_inverse=True)
        ab, bc, ca = (back.reshape(-1, 3) + len(points)).T
        a, b, c = faces.T
        points = np.concatenate([points, points[pairs].mean(axis=1)])
        faces = np.concatenate(
            [np.stack(t, axis=1) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))]
        )
    return radius * points / np.linalg.norm(points, axis=1)[:, None], faces


def binary(
    corners: Array, *, head: bytes = b"made by code", count: int | None = None, spare: int = 0
) -> bytes:
    """Binary STL of corners (m, 3, 3), with any count in its header."""
    rows = np.zeros(len(corners), dtype=[("n", "<f4", 3), ("c", "<f4", (3, 3)), ("s", "<u2")])
    rows["c"], rows["s"] = corners, spare
    stated = len(corners) if count is None else count
    return head.ljust(80, b"\0") + stated.to_bytes(4, "little") + rows.tobytes()


def text(corners: Array, *, name: str = "thing", end: bool = True) -> str:
    """Text STL of corners (m, 3, 3)."""
    lines = [f"solid {name}"]
    for face in corners:
        lines += ["facet normal 0 0 0", "outer loop"]
        lines += ["vertex " + " ".join(repr(float(np.float32(x))) for x in p) for p in face]
        lines += ["endloop", "endfacet"]
    return "\n".join([*lines, f"endsolid {name}" if end else ""]) + "\n"


def stl_cases() -> list[StlCase]:
    """The forty-one cases: the table's names, with what this reader must do."""
    points, faces = sphere()
    c, full = points[faces], (162, 320)
    return [*_binary_cases(c, full), *_wrong_bytes(c), *_text_cases(c, full), *_wrong_text(c)]


def _spoiled(c: Array, value: float) -> Array:
    out = c.astype(np.float32).astype(float)
    out[7, 1, 2] = value
    return out


def _binary_cases(c: Array, full: tuple[int, int]) -> list[StlCase]:
    flat = c.copy()
    flat[3, 1] = flat[3, 0]
    huge = StlCase("25_huge_coords", binary(c * 1e29), None, "no scan's")
    return [
        StlCase("00_good_bin", binary(c), full),
        StlCase("09_bin_starts_solid", binary(c, head=b"solid thing"), full),
        StlCase("09b_bin_solid_facet_hdr", binary(c, head=b"solid x\nfacet normal 0 0 1\nouter loop"), full),
        StlCase("15_bin_nonutf8", binary(c, head=b"\xff\xfe\xe9 scan"), full),
        StlCase("18_zero_area", binary(flat), full),
        StlCase("27_dup_faces", binary(np.concatenate([c, c])), (162, 640)),
        StlCase("28_metres", binary(c / 1000), full),
        StlCase("31_attr_bytes", binary(c, spare=65535), full),
        huge,
    ]


def _wrong_bytes(c: Array) -> list[StlCase]:
    whole = binary(c)
    noise = np.random.default_rng(7).integers(0, 256, 5000, dtype=np.uint8).tobytes()
    said = "header says 4294967295 faces, the size has room for 320.00"
    return [
        StlCase("02_empty", b"", None, "the file is empty"),
        StlCase("03_header_only80", b"x" * 80, None, "80 bytes are too few"),
        StlCase("04_zero_faces", binary(c[:0]), None, "holds no faces"),
        StlCase("06_trunc_bin", whole[:8000], None, "says 320 faces, the size has room for 158.32"),
        StlCase("07_trunc_bin_1byte", whole[:-1], None, "says 320 faces, the size has room for 319.98"),
        StlCase(
            "08_trailing_garbage", whole + b"garbage", None, "says 320 faces, the size has room for 320.14"
        ),
        StlCase("10_nan_bin", binary(_spoiled(c, np.nan)), None, "1 corners are not finite"),
        StlCase("11_inf_bin", binary(_spoiled(c, np.inf)), None, "1 corners are not finite"),
        StlCase("13_huge_count", binary(c, count=4294967295), None, said),
        StlCase("13b_count_100M", binary(c, count=100_000_000), None, "says 100000000 faces"),
        StlCase("13c_count_too_small", binary(c, count=10), None, "says 10 faces"),
        StlCase("24_random", noise, None, "is not STL"),
        StlCase("29_one_face", binary(c[:1]), None, "1 faces enclose nothing"),
    ]


def _text_cases(c: Array, full: tuple[int, int]) -> list[StlCase]:
    t = text(c)
    tiny = sphere(1)[0][sphere(1)[1]] + 20.0
    return [
        StlCase("01_good_ascii", t.encode(), full),
        StlCase("14_ascii_crlf", t.replace("\n", "\r\n").encode(), full),
        StlCase("14b_ascii_cr", t.replace("\n", "\r").encode(), full),
        StlCase("15b_ascii_nonutf8", text(c, name="d\xe9nt").encode("latin-1"), full),
        StlCase("15c_ascii_bom", b"\xef\xbb\xbf" + t.encode(), full),
        StlCase("16_multi_solid", (t + text(tiny, name="two")).encode(), (204, 400)),
        StlCase("16b_same_name", (t + text(tiny)).encode(), (204, 400)),
        StlCase("21_ascii_upper", t.upper().encode(), full),
        StlCase("22_leading_ws", ("\n  \n" + t).encode(), full),
        StlCase("30_ascii_no_endsolid", text(c, end=False).encode(), full),
        StlCase("32_ascii_name_endsolid", text(c, name="endsolid facet").encode(), full),
        StlCase("33_ascii_neg_indent_tabs", t.replace("vertex", "\t\t vertex\t").encode(), full),
    ]


def _wrong_text(c: Array) -> list[StlCase]:
    t = text(c)
    four = t.replace("endloop", "vertex 0 0 0\nendloop", 1)
    return [
        StlCase("05_ascii_no_facets", b"solid x\nendsolid x\n", None, "text STL without a facet"),
        StlCase("12_nan_ascii", text(_spoiled(c, np.nan)).encode(), None, "not finite"),
        StlCase("17_comma_decimals", t.replace(".", ",").encode(), None, "comma in a vertex line"),
        StlCase("19_ascii_trunc", t[: t.index("endloop", 9000)].encode(), None, "the file is truncated"),
        StlCase(
            "20_ascii_4verts",
            four.encode(),
            None,
            "facet 1 is not a triangle of three vertex lines (4 found)",
        ),
        StlCase("23_html", b"<!DOCTYPE html><html><body>Not found</body></html>" * 4, None, "is not STL"),
        StlCase("26_sci_D", t.replace("vertex ", "vertex 1D0 ", 1).encode(), None, "three numbers"),
    ]
