"""MSH of the mesh generator gmsh, versions 2, 4.0 and 4.1, text or binary: nodes and triangles, the rest skipped.

Every count is proven against what the file still holds before anything is made from it, and node numbers are looked up,
never used as sizes. Layout: gmsh reference manual, "MSH file format".
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from mesh_tools.arrays import Array, IntArray
from mesh_tools.errors import BadFileError

_SIZES = {15: 1, 1: 2, 2: 3, 3: 4}  # points, lines, triangles, quadrilaterals
_OTHER = {
    4: "tetra", 5: "hexahedron", 6: "wedge", 7: "pyramid", 8: "line3", 9: "triangle6", 10: "quad9", 11: "tetra10",
    16: "quad8",
}  # fmt: skip
_QUAD = ((0, 1, 2), (0, 2, 3))


@dataclass
class _Numbers:
    """A section's numbers, taken one after another: of a text (already parsed) or of binary little-endian bytes."""

    place: Path
    text: Array | None
    data: bytes
    at: int = 0
    left: int = field(init=False)

    def take(self, count: int, code: str) -> Array:
        """The next ``count`` numbers (count,) of numpy type ``code``; raises BadFileError beyond the end."""
        dtype = np.dtype(code)
        size = 1 if self.text is not None else dtype.itemsize
        room = (len(self.data) if self.text is None else len(self.text)) - self.at
        if count < 0 or count * size > room:
            raise BadFileError(
                f"{self.place}: states {count} numbers where {room // size} are left; the MSH file is damaged."
            )
        start, self.at = self.at, self.at + count * size
        if self.text is not None:
            return self.text[start : self.at]
        return np.frombuffer(self.data, dtype, count, start).astype(np.float64)

    def count(self, code: str = "<u8") -> int:
        """The next number, as a count."""
        return int(self.take(1, code)[0])

    def rows(self, count: int, first: str, rest: str, width: int) -> tuple[Array, Array]:
        """``count`` records of one number and ``width`` more: (count,) and (count, width)."""
        if self.text is not None:
            table = self.take(count * (1 + width), "f8").reshape(count, 1 + width)
            return table[:, 0], table[:, 1:]
        record = np.dtype([("first", first), ("rest", rest, (width,))])
        raw = self.take(count * record.itemsize, "u1").astype(np.uint8).tobytes()
        both = np.frombuffer(raw, record)
        return both["first"].astype(np.float64), both["rest"].astype(np.float64).reshape(count, width)


def msh_arrays(place: Path) -> tuple[Array, IntArray]:
    """Points (n, 3) and triangles (m, 3), quadrilaterals split, in the file's order; raises BadFileError."""
    data = place.read_bytes()
    version, binary = _format(data, place)
    nodes = _section(data, "Nodes", place, binary=binary)
    tags, points = _nodes(nodes, version)
    elements = _section(data, "Elements", place, binary=binary)
    blocks = _elements(elements, version, binary=binary)
    faces = [b for b in blocks if b.shape[1] == 3]
    faces += [b[:, part] for b in blocks if b.shape[1] == 4 for part in _QUAD]
    if not faces:
        raise BadFileError(f"{place}: holds no faces; export the surface as triangles.")
    return points, _looked_up(np.concatenate(faces), tags, place)


def _format(data: bytes, place: Path) -> tuple[str, bool]:
    """Version "2", "4.0" or "4.1" and whether binary."""
    at = data.find(b"$MeshFormat")
    words = data[at:].split(maxsplit=4)[1:4] if at >= 0 else []
    if len(words) < 3 or words[1] not in (b"0", b"1"):
        raise BadFileError(f"{place}: is not MSH (no $MeshFormat with version, type and size).")
    number = words[0].decode("ascii", "replace")
    version = "2" if number.split(".")[0] == "2" else {"4": "4.1", "4.1": "4.1", "4.0": "4.0"}.get(number)
    if version is None:
        raise BadFileError(f"{place}: MSH version {number[:20]!r} is not read; export version 2.2 or 4.1.")
    if words[1] == b"1":
        line_end = data.find(b"\n", data.find(b"\n", at) + 1) + 1
        if data[line_end : line_end + 4] != b"\x01\0\0\0" or words[2] != b"8":
            raise BadFileError(
                f"{place}: binary MSH must be little-endian with sizes of 8 bytes; export as text."
            )
    return version, words[1] == b"1"


def _section(data: bytes, name: str, place: Path, *, binary: bool) -> _Numbers:
    """The numbers of the section ``name``; of binary ones all bytes up to the file's end, in which to walk."""
    mark = b"$" + name.encode()
    start = data.find(b"\n" + mark)
    start = data.find(b"\n", start + 1) + 1 if start >= 0 else 0
    if start <= 0:
        raise BadFileError(f"{place}: holds no {mark.decode()}; export the surface again.")
    end = data.find(b"$End" + name.encode(), start)
    if end < 0:
        raise BadFileError(f"{place}: {mark.decode()} has no end; the MSH file is cut short.")
    if binary:
        return _Numbers(place, None, data[start:])
    try:
        return _Numbers(place, np.array(data[start:end].split(), dtype=np.float64), b"")
    except ValueError:
        raise BadFileError(f"{place}: {mark.decode()} holds what is no number; export again.") from None


def _text_count(numbers: _Numbers) -> int:
    """The count that version 2 writes as a line of text, in binary files too."""
    if numbers.text is not None:
        return numbers.count()
    end = numbers.data.find(b"\n", numbers.at)
    line = numbers.data[numbers.at : end].strip()
    numbers.at = end + 1
    if end < 0 or not line.isdigit() or len(line) > 15:
        raise BadFileError(f"{numbers.place}: states no count where one must be; the MSH file is damaged.")
    return int(line)


def _nodes(numbers: _Numbers, version: str) -> tuple[Array, Array]:
    """Node tags (n,) and points (n, 3)."""
    if version == "2":
        return numbers.rows(_text_count(numbers), "<i4", "<f8", 3)
    count = numbers.count()
    numbers.take(3 if version == "4.1" else 1, "<u8")
    tags, points = [np.zeros(0)], [np.zeros((0, 3))]
    for _ in range(_plausible(count, numbers)):
        _, _, parametric = numbers.take(3, "<i4")
        n = numbers.count()
        if version == "4.0":
            tag, point = numbers.rows(n, "<i4", "<f8", 3)
        else:
            if parametric:
                raise BadFileError(f"{numbers.place}: nodes carry parameters; export without them.")
            tag, point = numbers.take(n, "<u8"), numbers.take(3 * n, "<f8").reshape(n, 3)
        tags.append(tag)
        points.append(point)
    return np.concatenate(tags), np.concatenate(points)


def _elements(numbers: _Numbers, version: str, *, binary: bool) -> list[Array]:
    """Node tags (k, size) of the elements in runs of one kind, in the file's order."""
    if version == "2":
        return _binary_elements(numbers) if binary else _text_elements(numbers)
    count = numbers.count()
    numbers.take(3 if version == "4.1" else 1, "<u8")
    code = "<u8" if version == "4.1" else "<i4"
    blocks = []
    for _ in range(_plausible(count, numbers)):
        kind = int(numbers.take(3, "<i4")[2])
        blocks.append(numbers.rows(numbers.count(), code, code, _size(kind, numbers.place))[1])
    return blocks


def _text_elements(numbers: _Numbers) -> list[Array]:
    """Elements of version 2 as text: each line has its own length."""
    by_size: dict[int, list[Array]] = {}
    for _ in range(_plausible(_text_count(numbers), numbers)):
        _, kind, labels = numbers.take(3, "<i4")
        numbers.take(int(labels), "<i4")
        size = _size(int(kind), numbers.place)
        by_size.setdefault(size, []).append(numbers.take(size, "<i4"))
    return [np.array(rows) for rows in by_size.values()]


def _binary_elements(numbers: _Numbers) -> list[Array]:
    """Elements of version 2 in binary: runs of one kind."""
    left = _text_count(numbers)
    blocks = []
    while left > 0:
        kind, n, labels = (int(v) for v in numbers.take(3, "<i4"))
        size = _size(kind, numbers.place)
        if n < 1 or not 0 <= labels <= 64:
            raise BadFileError(
                f"{numbers.place}: a run of {n} elements with {labels} labels; the MSH file is damaged."
            )
        blocks.append(numbers.rows(n, "<i4", "<i4", labels + size)[1][:, labels:])
        left -= n
    return blocks


def _plausible(count: int, numbers: _Numbers) -> int:
    """``count`` of blocks or elements, at least three numbers each; raises BadFileError for more than fit."""
    room = len(numbers.data) // 12 if numbers.text is None else len(numbers.text) // 3
    if not 0 <= count <= room:
        raise BadFileError(
            f"{numbers.place}: states {count} blocks where {room} fit at most; the MSH file is damaged."
        )
    return count


def _size(kind: int, place: Path) -> int:
    """Number of nodes of an element kind that a surface may hold."""
    if kind not in _SIZES:
        name = _OTHER.get(kind, f"unknown ({kind})")
        raise BadFileError(f"{place}: holds {name} cells; export the surface as triangles.")
    return _SIZES[kind]


def _looked_up(faces: Array, tags: Array, place: Path) -> IntArray:
    """Faces by index of point in place of node tag."""
    if not len(tags):
        raise BadFileError(f"{place}: holds no points; export the surface again.")
    order = np.argsort(tags, kind="stable")
    index = order[np.minimum(np.searchsorted(tags[order], faces), len(tags) - 1)]
    if not (tags[index] == faces).all():
        raise BadFileError(
            f"{place}: a face names node {int(faces[tags[index] != faces][0])}, which is none; the MSH file is damaged."
        )
    return np.asarray(index, dtype=np.int64)
