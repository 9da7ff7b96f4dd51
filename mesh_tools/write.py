"""Writing files and surfaces: each file is written beside its place and renamed, so that no half file is ever seen."""

from __future__ import annotations

import os
import tempfile
from contextlib import suppress
from pathlib import Path

import numpy as np

from mesh_tools.errors import BadFileError
from mesh_tools.surface import Surface

PathLike = str | os.PathLike[str]

_STL_FACE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
_PLY_FACE = np.dtype([("count", "u1"), ("points", "<i4", 3)])


class UnwritableError(BadFileError, OSError):
    """A file cannot be written where it was asked for."""


def write_bytes_atomically(path: PathLike, data: bytes) -> None:
    """Write ``data`` beside ``path`` and rename it there; raises UnwritableError with the system's reason."""
    target = Path(path)
    beside: str | None = None
    try:
        handle, beside = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        Path(beside).chmod(0o666 & ~_umask())
        Path(beside).replace(target)
    except OSError as error:
        raise UnwritableError(f"{target}: cannot be written ({error.strerror or error}).") from None
    finally:
        if beside is not None:
            with suppress(FileNotFoundError):
                Path(beside).unlink()


def write_text_atomically(path: PathLike, text: str) -> None:
    """Write ``text`` as UTF-8 with its line ends as they are; raises UnwritableError."""
    write_bytes_atomically(path, text.encode("utf-8"))


def write_stl(path: PathLike, surface: Surface) -> None:
    """Binary STL of ``surface`` (single precision, as the format has it).

    Raises BadFileError when a coordinate does not fit single precision.
    """
    limit = float(np.finfo(np.float32).max)
    if len(surface.points_mm) and float(np.abs(surface.points_mm).max()) > limit:
        raise BadFileError(f"{path}: STL holds single precision only; a coordinate exceeds {limit:.3g}.")
    faces = np.zeros(len(surface.faces), dtype=_STL_FACE)
    length = np.maximum(surface.areas_mm2, np.finfo(float).tiny)[:, None]
    faces["normal"] = surface.area_vectors_mm2 / length
    faces["corners"] = surface.corners_mm
    head = b"binary STL".ljust(80, b" ") + np.uint32(len(faces)).tobytes()
    write_bytes_atomically(path, head + faces.tobytes())


def write_ply(path: PathLike, surface: Surface) -> None:
    """Binary little-endian PLY of ``surface`` with coordinates in double precision."""
    faces = np.empty(len(surface.faces), dtype=_PLY_FACE)
    faces["count"] = 3
    faces["points"] = surface.faces
    head = (
        "ply\nformat binary_little_endian 1.0\n"
        f"element vertex {len(surface.points_mm)}\nproperty double x\nproperty double y\nproperty double z\n"
        f"element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    points = np.ascontiguousarray(surface.points_mm, dtype="<f8")
    write_bytes_atomically(path, head.encode("ascii") + points.tobytes() + faces.tobytes())


def _umask() -> int:
    """The process's file mode mask."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
