"""A closed line around the tooth from a handful of points, as heights and distances by angle."""

from __future__ import annotations

import numpy as np

from mesh_tools.anatomy.cervical_line import COLUMNS, CervicalLine
from mesh_tools.anatomy.errors import LandmarkError
from mesh_tools.arrays import Array


def line_through(points_tooth: Array, *, name: str) -> CervicalLine:
    """The closed line through ``points_tooth`` (k, 3), k at least 4, in the tooth's frame, in any order.

    Between neighbours by angle it runs straight. Raises LandmarkError when the points do not go round the
    axis.
    """
    if len(points_tooth) < 4:
        raise LandmarkError(f"{name} needs at least 4 points around the tooth; got {len(points_tooth)}.")
    turn = np.arctan2(points_tooth[:, 1], points_tooth[:, 0])
    ordered = np.sort(turn)
    gap = float(np.diff(ordered, append=ordered[0] + 2.0 * np.pi).max())
    if gap > np.pi:
        raise LandmarkError(
            f"{name} must go round the long axis; its points leave {np.degrees(gap):.0f} degrees open."
        )
    angle = 2.0 * np.pi * np.arange(COLUMNS) / COLUMNS
    radius = np.hypot(points_tooth[:, 0], points_tooth[:, 1])
    return CervicalLine(
        heights_mm=np.interp(angle, turn, points_tooth[:, 2], period=2.0 * np.pi),
        radii_mm=np.interp(angle, turn, radius, period=2.0 * np.pi),
        confidence=1.0,
    )
