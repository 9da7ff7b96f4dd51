"""OBJ positions and faces, line by line: the file's own point order, no texture seams, polygons as fans."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from mesh_tools.arrays import Array, IntArray
from mesh_tools.errors import BadFileError


def surface_arrays(place: Path) -> tuple[Array, IntArray]:
    """Points (n, 3) and triangles (m, 3) of an OBJ file; raises BadFileError naming the line at fault."""
    data = place.read_bytes()
    if b"\0" in data:
        raise BadFileError(f"{place}: is not OBJ text (zero bytes inside).")
    text = data.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    lines = text.replace(b"\\\n", b" ").split(b"\n")
    points: list[bytes] = []
    corners: list[tuple[int, list[bytes], int]] = []
    for number, line in enumerate(lines, start=1):
        if line[:2] in (b"v ", b"v\t"):
            points.append(line[2:])
        elif line[:2] in (b"f ", b"f\t"):
            corners.append((number, line[2:].split(), len(points)))
    if not points or not corners:
        raise BadFileError(f"{place}: holds no faces; export the scan as a surface.")
    return _coordinates(points, place), _triangles(corners, place, len(points))


def _coordinates(rows: list[bytes], place: Path) -> Array:
    """Coordinates (n, 3): the first three numbers of each row (colours may follow)."""
    split = [row.split() for row in rows]
    if any(len(r) < 3 for r in split):
        raise BadFileError(f"{place}: a 'v' line has fewer than three numbers.")
    if any(b"," in row or b"_" in row for row in rows):
        raise BadFileError(f"{place}: comma in a 'v' line; numbers must have a decimal point; export again.")
    try:
        return np.array([[float(v) for v in r[:3]] for r in split], dtype=np.float64)
    except ValueError:
        raise BadFileError(f"{place}: a 'v' line holds something that is not a number.") from None


def _triangles(corners: list[tuple[int, list[bytes], int]], place: Path, count: int) -> IntArray:
    """Triangles (m, 3); polygons become fans about their first corner, negative indices count back."""
    faces: list[tuple[int, int, int]] = []
    for number, words, seen in corners:
        ring = [_index(w, seen, place, number) for w in words]
        if len(ring) < 3:
            raise BadFileError(f"{place}: line {number}: a face needs three corners; got {len(ring)}.")
        if max(ring) >= count:
            raise BadFileError(f"{place}: line {number}: a face names point {max(ring) + 1} of {count}.")
        faces.extend((ring[0], ring[i], ring[i + 1]) for i in range(1, len(ring) - 1))
    return np.array(faces, dtype=np.int64)


def _index(word: bytes, seen: int, place: Path, number: int) -> int:
    """Point index, from zero, of a corner word such as ``3``, ``3/1``, ``3//2`` or ``-1``."""
    try:
        value = int(word.split(b"/", 1)[0])
    except ValueError:
        raise BadFileError(f"{place}: line {number}: a face corner is not a number.") from None
    index = value - 1 if value > 0 else seen + value
    if value == 0 or index < 0:
        raise BadFileError(f"{place}: line {number}: a face names point {value}, which is none.")
    return index
