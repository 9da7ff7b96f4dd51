"""The one door through which a surface comes in from a file: size first, then the format, then every number."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

from mesh_tools.errors import BadFileError, MissingFileError
from mesh_tools.read_other import read_grid, read_obj, read_ply
from mesh_tools.read_stl import surface_from_stl
from mesh_tools.surface import Surface

FEWEST_FACES = 4
SMALLEST = 1e-6  # no scan is smaller across in any unit: a crown in metres is 0.007 long
MAX_BYTES = 1_000_000_000
_GRIDS = {".vtk", ".vtu", ".msh"}
FORMATS = (".stl", ".ply", ".obj", *sorted(_GRIDS))


def read_surface(path: str | os.PathLike[str]) -> Surface:
    """Surface of a mesh file in the file's own axes and unit, points in the file's order.

    STL has no points of its own: bit-identical corners become one point, numbered as they first appear. Nothing else is
    merged, dropped or turned. Raises MissingFileError, and BadFileError with one line for a file that cannot be used.
    """
    place = Path(path)
    _check_place(place)
    surface = _by_ending(place)
    if len(surface.faces) < FEWEST_FACES:
        raise BadFileError(f"{place}: {len(surface.faces)} faces enclose nothing; a scan has at least 4.")
    if not surface.areas_mm2.any():
        raise BadFileError(f"{place}: every face has zero area; export the scan again.")
    if surface.extent_mm.max() < SMALLEST:
        raise BadFileError(
            f"{place}: is {surface.extent_mm.max():.3g} across, no scan's size; export it again."
        )
    return surface


def _by_ending(place: Path) -> Surface:
    """The surface by the reader that the file's ending names."""
    ending = place.suffix.lower()
    if ending == ".stl":
        return surface_from_stl(_bytes_of(place), name=str(place))
    if ending == ".ply":
        return read_ply(place)
    if ending == ".obj":
        return read_obj(place)
    return read_grid(place)


def sha256_of(path: str | os.PathLike[str]) -> str:
    """SHA-256 of a file's bytes in hexadecimal; raises MissingFileError."""
    try:
        with Path(path).open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except FileNotFoundError:
        raise MissingFileError(f"{path}: no such file.") from None
    except OSError as error:
        raise BadFileError(f"{path}: cannot be read ({error.strerror or error}).") from None


def _check_place(place: Path) -> None:
    """Refuse what is not a readable file of a known ending and a sane size."""
    try:
        exists, is_file = place.exists(), place.is_file()
    except (OSError, ValueError):
        raise BadFileError(f"{str(place)!r}: is not a usable file name.") from None
    if not exists:
        raise MissingFileError(f"{place}: no such file.")
    if not is_file:
        raise BadFileError(f"{place}: is not a file; name a mesh file.")
    if place.suffix.lower() not in FORMATS:
        raise BadFileError(
            f"{place}: ending must be one of {', '.join(FORMATS)}; got {place.suffix or 'none'!r}."
        )
    size = place.stat().st_size
    if size == 0:
        raise BadFileError(f"{place}: the file is empty; export the scan again.")
    if size > MAX_BYTES:
        raise BadFileError(
            f"{place}: {size} bytes; a mesh may have at most {MAX_BYTES}; reduce the scan first."
        )


def _bytes_of(place: Path) -> bytes:
    """Bytes of a file; raises BadFileError with the system's reason."""
    try:
        return place.read_bytes()
    except OSError as error:
        raise BadFileError(f"{place}: cannot be read ({error.strerror or error}).") from None
