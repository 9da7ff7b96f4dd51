"""Scan axes by three-letter code: the letters name where +x, +y and +z of the file point.

L left, R right, A anterior, P posterior, S superior, I inferior; LPS is the frame of DICOM and of this program.
"""

from __future__ import annotations

import numpy as np

from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface

_DIRECTIONS = {
    "L": (1.0, 0.0, 0.0), "R": (-1.0, 0.0, 0.0),
    "P": (0.0, 1.0, 0.0), "A": (0.0, -1.0, 0.0),
    "S": (0.0, 0.0, 1.0), "I": (0.0, 0.0, -1.0),
}  # fmt: skip
_PAIR = {"L": "LR", "R": "LR", "A": "AP", "P": "AP", "S": "SI", "I": "SI"}


def axes_matrix(code: str) -> Array:
    """Matrix (3, 3) that takes file coordinates to LPS: ``lps = M @ file``; left-handed codes have determinant -1.

    Raises BadValueError unless the code has one letter of each pair L/R, A/P and S/I.
    """
    letters = code.strip().upper()
    if sorted(_PAIR.get(c, c) for c in letters) != ["AP", "LR", "SI"]:
        raise BadValueError(
            f"axes code must have one letter of each pair L/R, A/P, S/I, naming where +x, +y and +z of the file"
            f" point (such as LPS, RAS, LSA); got {code!r}."
        )
    return np.array([_DIRECTIONS[c] for c in letters]).T


def is_left_handed(code: str) -> bool:
    """Whether the axes ``code`` is a mirror image of LPS."""
    return bool(np.linalg.det(axes_matrix(code)) < 0)


def to_lps(surface: Surface, code: str) -> Surface:
    """``surface`` turned from the axes ``code`` to LPS; a left-handed code flips the winding."""
    return surface.moved(axes_matrix(code))
