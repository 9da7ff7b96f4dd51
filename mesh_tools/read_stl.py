"""Strict reading of STL, binary and text: what cannot be trusted is refused, nothing is dropped.

Size decides: a file of exactly 84 + 50 n bytes with n its own count is binary even when it begins with "solid".
Format: the STL specification of the stereolithography format as commonly published (80-byte header, uint32 count,
50 bytes a facet; text form "facet normal ... outer loop ... vertex ..."), from memory.
"""

from __future__ import annotations

import re

import numpy as np

from mesh_tools.arrays import Array, IntArray
from mesh_tools.errors import BadFileError
from mesh_tools.surface import Surface

_FACE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
_HEAD = 84
LARGEST = 1e9  # no scan in any unit has a coordinate beyond this
_NUMBER_LINE = re.compile(rb"^[ \t]*vertex\b(.*)$", re.IGNORECASE | re.MULTILINE)
_KEYWORDS = re.compile(rb"^[ \t]*(facet|outer|vertex|endloop|endfacet)\b", re.IGNORECASE | re.MULTILINE)
_OPENING = re.compile(rb"^\s*solid\b[^\n]*(\n|$)", re.IGNORECASE)
_ORDER = b"fovvvle"
_BOM = b"\xef\xbb\xbf"


def surface_from_stl(data: bytes, *, name: str) -> Surface:
    """Surface of the STL bytes ``data``; ``name`` begins every refusal.

    Raises BadFileError for anything truncated, padded, miscounted, empty, not finite or not STL.
    """
    if _is_binary(data):
        return welded(_binary_corners(data, name), name=name)
    text = data.removeprefix(_BOM)
    if _looks_text(text):
        return welded(_text_corners(text, name), name=name)
    raise BadFileError(_why_not_binary(data, name))


def welded(corners: Array, *, name: str) -> Surface:
    """Surface of face corners (m, 3, 3): equal corners become one point, in order of first appearance.

    Raises BadFileError when there are no faces or a corner is not finite or beyond ``LARGEST``.
    """
    if not len(corners):
        raise BadFileError(f"{name}: holds no faces; export the scan again.")
    flat = corners.reshape(-1, 3)
    check_coordinates(flat, name=name)
    points, back = _first_seen(flat + 0.0)  # + 0.0 makes -0 and 0 one number
    return Surface(points, back.reshape(-1, 3))


def check_coordinates(points: Array, *, name: str) -> None:
    """Refuse coordinates that are not finite or that no scan can have; raises BadFileError."""
    bad = ~np.isfinite(points).all(axis=1)
    if bad.any():
        raise BadFileError(
            f"{name}: {int(bad.sum())} corners are not finite (NaN or infinite); export the scan again."
        )
    reach = float(np.abs(points).max(initial=0.0))
    if reach > LARGEST:
        raise BadFileError(f"{name}: a coordinate of {reach:.3g} is no scan's; limit {LARGEST:g}.")


def _first_seen(flat: Array) -> tuple[Array, IntArray]:
    """Distinct rows of (k, 3) in order of first appearance, and the row each became."""
    order = np.lexsort(flat.T)
    ordered = flat[order]
    fresh = np.ones(len(flat), dtype=bool)
    fresh[1:] = (ordered[1:] != ordered[:-1]).any(axis=1)
    group = np.empty(len(flat), dtype=np.int64)
    group[order] = np.cumsum(fresh) - 1
    first = order[fresh]  # lexsort is stable: the first of each run appeared first
    rank = np.empty(len(first), dtype=np.int64)
    rank[np.argsort(first, kind="stable")] = np.arange(len(first))
    return flat[np.sort(first)], rank[group]


def _is_binary(data: bytes) -> bool:
    """Whether the size is exactly what the binary count says."""
    return len(data) >= _HEAD and len(data) == _HEAD + 50 * _count(data)


def _count(data: bytes) -> int:
    """Face count stated by a binary header."""
    return int.from_bytes(data[80:84], "little")


def _binary_corners(data: bytes, name: str) -> Array:
    """Corners (m, 3, 3) of a binary file whose size is right."""
    if _count(data) == 0:
        raise BadFileError(f"{name}: holds no faces; export the scan again.")
    with np.errstate(invalid="ignore"):  # a signalling NaN is refused with the others, in one line
        return np.frombuffer(data, dtype=_FACE, offset=_HEAD)["corners"].astype(np.float64)


def _looks_text(text: bytes) -> bool:
    """Whether the bytes open as a text STL does and hold no zero byte."""
    return _OPENING.match(text.replace(b"\r", b"\n", 1)[:4096]) is not None and b"\0" not in text


def _text_corners(text: bytes, name: str) -> Array:
    """Corners (m, 3, 3) of a text file; every facet must be complete."""
    lines = text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    words = _KEYWORDS.findall(lines)
    if not words:
        raise BadFileError(f"{name}: text STL without a facet; export the scan again.")
    _check_grammar(words, name)
    return _numbers(lines, name).reshape(-1, 3, 3)


def _check_grammar(words: list[bytes], name: str) -> None:
    """Refuse unless the keywords are whole triangles: facet, outer loop, three vertices, endloop, endfacet."""
    short = {b"facet": b"f", b"outer": b"o", b"vertex": b"v", b"endloop": b"l", b"endfacet": b"e"}
    said = b"".join(short[w.lower()] for w in words)
    if said == _ORDER * (len(said) // len(_ORDER)):
        return
    at = next(i for i in range(0, len(said), 7) if said[i : i + 7] != _ORDER)
    part = said[at : at + 7]
    if _ORDER.startswith(part):
        raise BadFileError(f"{name}: text STL ends inside facet {at // 7 + 1}; the file is truncated.")
    corners = len(part[2:]) - len(part[2:].lstrip(b"v"))
    raise BadFileError(
        f"{name}: facet {at // 7 + 1} is not a triangle of three vertex lines ({corners} found); export triangles."
    )


def _numbers(lines: bytes, name: str) -> Array:
    """Coordinates (k, 3) of the vertex lines."""
    rows = _NUMBER_LINE.findall(lines)
    joined = b" ".join(rows)
    if b"," in joined:
        raise BadFileError(
            f"{name}: comma in a vertex line; numbers must have a decimal point; export again."
        )
    values = joined.split()
    if len(values) != 3 * len(rows) or any(len(row.split()) != 3 for row in rows):
        raise BadFileError(f"{name}: a vertex line must hold three numbers; export the scan again.")
    if b"_" in joined:
        raise BadFileError(f"{name}: a vertex line holds something that is not a number.")
    try:
        return np.array([float(v) for v in values], dtype=np.float64).reshape(-1, 3)
    except ValueError as error:
        shown = str(error).split(": ")[-1]
        raise BadFileError(f"{name}: a vertex line holds {shown}, which is not a number.") from None


def _why_not_binary(data: bytes, name: str) -> str:
    """The line that refuses bytes that are neither binary nor text STL."""
    if len(data) < _HEAD:
        return f"{name}: {len(data)} bytes are too few for STL (a binary one has at least {_HEAD}); export again."
    held = (len(data) - _HEAD) / 50
    return (
        f"{name}: is not STL: the header says {_count(data)} faces, the size has room for {held:.2f}; "
        "the file is truncated, padded or no STL; export the scan again."
    )
