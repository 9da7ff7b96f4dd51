"""PLY, OBJ, VTK, VTU and MSH through the general libraries, guarded: no silent empties, no exits, no reordering."""

from __future__ import annotations

import io
import math
import re
import warnings
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

import numpy as np

from mesh_tools.arrays import Array, IntArray
from mesh_tools.errors import BadFileError
from mesh_tools.read_stl import check_coordinates
from mesh_tools.surface import Surface

_STATED = {
    # What states how much follows: each number must fit the file, a byte apiece at the very least.
    ".vtk": re.compile(
        rb"^\s*(?:POINTS|CELLS|CELL_TYPES|POINT_DATA|CELL_DATA|FIELD|LOOKUP_TABLE|DIMENSIONS|[XYZ]_COORDINATES)"
        rb"\s+([^\r\n]*)", re.MULTILINE | re.IGNORECASE,
    ),
    ".vtu": re.compile(rb"NumberOf(?:Points|Cells|Components)\s*=\s*[\"']([^\"']*)[\"']"),
}  # fmt: skip
_WHOLE = re.compile(rb"[-+]?\d+(?=\s|$)")
_ELEMENT = re.compile(rb"^\s*element\s+(\w+)\s+(\S+)\s*$", re.MULTILINE)


def read_ply(place: Path) -> Surface:
    """Surface of a PLY file in the file's point order; raises BadFileError."""
    counts = _ply_counts(place)

    def load() -> tuple[Array, IntArray]:
        import trimesh

        with place.open("rb") as stream:
            fields = trimesh.exchange.ply.load_ply(stream, fix_texture=False)
        return fields["vertices"], fields["faces"]

    points, faces = _guarded(load, place)
    if len(points) != counts["vertex"]:
        raise BadFileError(
            f"{place}: {len(points)} points read, {counts['vertex']} stated; export the scan again."
        )
    if len(faces) < counts["face"]:  # a face of more corners is read as several triangles, never as fewer
        raise BadFileError(
            f"{place}: {len(faces)} faces read, {counts['face']} stated; the file is cut: export it again."
        )
    return _checked(points, faces, place)


def read_obj(place: Path) -> Surface:
    """Surface of an OBJ file: positions in the file's order, texture and normal indices left out; raises BadFileError.

    Read line by line here since a general reader splits points along texture seams, which opens a closed tooth.
    """
    from mesh_tools.read_obj import surface_arrays

    points, faces = surface_arrays(place)
    return _checked(points, faces, place)


def read_grid(place: Path) -> Surface:
    """Triangles (quadrilaterals split) of a VTK, VTU or MSH file; raises BadFileError, for volume cells too."""
    if place.suffix.lower() == ".msh":
        from mesh_tools.read_msh import msh_arrays

        return _checked(*_guarded(lambda: msh_arrays(place), place), place)
    _check_stated(place)
    return _checked(*_guarded(lambda: _vtk_arrays(place), place), place)


def _vtk_arrays(place: Path) -> tuple[Array, IntArray]:
    """Points and triangles of a VTK or VTU file as the general library reads them."""
    import meshio

    mesh = meshio.read(place, file_format=place.suffix.lower()[1:])
    blocks = {b.type for b in mesh.cells}
    faces = [np.asarray(b.data) for b in mesh.cells if b.type == "triangle"]
    quads = [np.asarray(b.data) for b in mesh.cells if b.type == "quad"]
    faces += [q[:, part] for q in quads for part in ([0, 1, 2], [0, 2, 3])]
    other = blocks - {"triangle", "quad", "vertex", "line"}
    if other:
        raise BadFileError(
            f"{place}: holds {', '.join(sorted(other))} cells; export the surface as triangles."
        )
    if not faces:
        raise BadFileError(f"{place}: holds no faces; export the surface as triangles.")
    return np.asarray(mesh.points, dtype=np.float64), np.concatenate(faces).astype(np.int64)


def _check_stated(place: Path) -> None:
    """Refuse a VTK or VTU file that states more of anything than it has bytes, before room is made for it."""
    data = place.read_bytes()
    for match in _STATED[place.suffix.lower()].finditer(data):
        stated = [int(word) for word in _WHOLE.findall(match[1][:200])]
        what = match[0].split()[0].split(b"=")[0].decode("ascii", "replace")
        if what.upper() == "DIMENSIONS":
            stated.append(math.prod(stated))
        if any(not 0 <= n <= len(data) for n in stated):
            raise BadFileError(
                f"{place}: {what} states {max(stated, key=abs)} where the file has {len(data)} bytes; "
                "it is truncated or damaged."
            )


def _guarded(load: Callable[[], tuple[Any, Any]], place: Path) -> tuple[Any, Any]:
    """What ``load`` returns, any failure of a library (exits included) turned into one BadFileError line."""
    quiet = io.StringIO()
    try:
        with (
            warnings.catch_warnings(),
            redirect_stdout(quiet),
            redirect_stderr(quiet),
            np.errstate(all="ignore"),
        ):
            warnings.simplefilter("ignore")
            return load()
    except BadFileError:
        raise
    except MemoryError:
        raise BadFileError(f"{place}: states more than memory holds; the file is damaged.") from None
    except (Exception, SystemExit) as error:
        kind = type(error).__name__
        raise BadFileError(
            f"{place}: is not a readable {place.suffix[1:].upper()} file ({kind}); export again."
        ) from None


def _checked(points: Any, faces: Any, place: Path) -> Surface:
    """Surface of what a library returned, each array proven first; raises BadFileError."""
    if points is None or faces is None or not len(points) or not len(faces):
        raise BadFileError(f"{place}: holds no faces; export the scan again.")
    p, f = _guarded(lambda: (np.asarray(points, dtype=np.float64), _whole_numbers(faces)), place)
    if p.ndim == 2 and p.shape[1] == 2:
        raise BadFileError(f"{place}: points are flat (two coordinates); a scan has three.")
    if p.ndim != 2 or p.shape[1] != 3 or f.ndim != 2 or f.shape[1] != 3:
        raise BadFileError(f"{place}: is not a triangle surface (points {p.shape}, faces {f.shape}).")
    if f.min() < 0 or f.max() >= len(p):
        raise BadFileError(f"{place}: a face names point {int(f.max())} of {len(p)}; the file is damaged.")
    check_coordinates(p, name=str(place))
    return Surface(p, f)


def _whole_numbers(faces: Any) -> IntArray:
    """Faces as whole numbers; raises ValueError where they are not such."""
    given = np.asarray(faces)
    whole = given.astype(np.int64)
    if given.dtype.kind not in "iu" and not (given == whole).all():
        raise ValueError("a face names a point by no whole number")
    return whole


def _ply_counts(place: Path) -> dict[str, int]:
    """Stated element counts of a PLY header, each proven possible against the file's size; raises BadFileError."""
    with place.open("rb") as stream:
        head = stream.read(65536)
    end = head.find(b"end_header")
    if not head.startswith(b"ply") or end < 0:
        raise BadFileError(f"{place}: is not PLY (no header from 'ply' to 'end_header').")
    stated = {}
    for name, count in _ELEMENT.findall(head[:end]):
        if not count.isdigit():
            raise BadFileError(f"{place}: PLY header states {count!r} of {name!r}; it must be a count.")
        stated[name.decode()] = int(count)
    room = place.stat().st_size - end
    _check_room(stated, room, place)
    return stated


def _check_room(stated: dict[str, int], room: int, place: Path) -> None:
    """Refuse counts that cannot fit in ``room`` bytes: a point takes at least six, a face four."""
    if not stated.get("vertex") or not stated.get("face"):
        raise BadFileError(f"{place}: holds no faces; export the scan as a surface.")
    if 6 * stated["vertex"] + 4 * stated["face"] > room or any(n > room for n in stated.values()):
        raise BadFileError(
            f"{place}: header states {stated['vertex']} points and {stated['face']} faces, "
            f"the file has only {room} bytes for them; it is truncated or damaged."
        )
