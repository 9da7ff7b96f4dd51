"""Where the dentition sits in the head: from the dentition's frame to the LPS frame all demo scans share."""

from __future__ import annotations

import numpy as np

from mesh_tools.arrays import Array

OCCLUSAL_PITCH_DEG = 6.0
"""The occlusal plane falls forward by this against the head's horizontal (about 8-10 is usual, from memory)."""
OCCLUSAL_ROLL_DEG = 0.6
"""A slight cant: the right side is higher."""


def dentition_to_lps() -> Array:
    """Rotation (3, 3) from the dentition's frame to LPS; the origin, between the incisal edges, stays."""
    a, b = np.radians(OCCLUSAL_PITCH_DEG), np.radians(OCCLUSAL_ROLL_DEG)
    pitch = np.array([[1.0, 0.0, 0.0], [0.0, np.cos(a), -np.sin(a)], [0.0, np.sin(a), np.cos(a)]])
    roll = np.array([[np.cos(b), 0.0, np.sin(b)], [0.0, 1.0, 0.0], [-np.sin(b), 0.0, np.cos(b)]])
    return np.asarray(pitch @ roll)
