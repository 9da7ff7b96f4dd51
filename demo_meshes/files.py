"""Writing the demo's files: binary STL, axes by their letters."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from mesh_tools.arrays import Array, IntArray

_LETTERS = {"L": (0, 1), "R": (0, -1), "P": (1, 1), "A": (1, -1), "S": (2, 1), "I": (2, -1)}
_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def from_lps(code: str) -> Array:
    """Matrix (3, 3) that turns LPS points into axes named by ``code``, whose letters say where +x, +y, +z point."""
    matrix = np.zeros((3, 3))
    for row, letter in enumerate(code):
        axis, sign = _LETTERS[letter]
        matrix[row, axis] = sign
    return matrix


def write_stl(path: Path, points: Array, faces: IntArray, *, axes: str = "LPS") -> None:
    """Binary STL of LPS points (n, 3) and outward faces (m, 3) with axes ``axes``, mm; normals point outward."""
    matrix = from_lps(axes)
    corners = (points @ matrix.T)[faces if np.linalg.det(matrix) > 0 else faces[:, ::-1]]
    corners = corners.astype("<f4")
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    records = np.zeros(len(faces), dtype=_RECORD)
    records["corners"] = corners
    records["normal"] = cross / np.maximum(np.linalg.norm(cross, axis=1, keepdims=True), 1e-20)
    header = b"invented anatomy, binary STL, mm, axes " + axes.encode()
    path.write_bytes(header.ljust(80, b" ") + np.uint32(len(faces)).tobytes() + records.tobytes())


def read_stl(path: Path, *, axes: str = "LPS") -> tuple[Array, IntArray]:
    """LPS points (n, 3), merged where equal, and faces (m, 3) of a binary STL that ``write_stl`` made."""
    records = np.frombuffer(path.read_bytes()[84:], dtype=_RECORD)
    matrix = from_lps(axes)
    corners = records["corners"].reshape(-1, 3).astype(np.float64)
    points, index = np.unique(corners, axis=0, return_inverse=True)
    faces = index.reshape(-1, 3).astype(np.int64)
    return points @ matrix, faces if np.linalg.det(matrix) > 0 else np.ascontiguousarray(faces[:, ::-1])
