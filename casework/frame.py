"""The treatment frame: LPS turned so that z is the occlusal plane's normal."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array, unit
from mesh_tools.errors import BadValueError

_MAX_TILT_DEG = 45.0


def treatment_rotation(occlusal_points_mm: ArrayLike) -> Array:
    """Rotation (3, 3) taking LPS to the treatment frame: rows are its x, y and z axes in LPS.

    z is the normal of the least-squares plane through ``occlusal_points_mm`` (n >= 3, 3) that points up; x is the
    patient's left made square to it. Raises BadValueError for points on one line and for a plane tilted more than
    45 degrees from the axial plane, which means wrong axes or wrong landmarks.
    """
    points = np.asarray(occlusal_points_mm, dtype=np.float64)
    _, spread, axes = np.linalg.svd(points - points.mean(axis=0))
    if spread[1] < 1.0:
        raise BadValueError(
            "landmarks.occlusal_plane_mm must span a plane; "
            f"the points lie within {spread[1]:.2f} mm of one line: pick three that are further apart."
        )
    z = axes[2] * np.sign(axes[2][2] or 1.0)
    tilt_deg = float(np.degrees(np.arccos(np.clip(z[2], -1.0, 1.0))))
    if tilt_deg > _MAX_TILT_DEG:
        raise BadValueError(
            f"landmarks.occlusal_plane_mm is tilted {tilt_deg:.0f} degrees from the axial plane, more than "
            f"{_MAX_TILT_DEG:.0f}: check the axes code and the points."
        )
    return treatment_rotation_of_normal(z)


def treatment_rotation_of_normal(normal: ArrayLike) -> Array:
    """Rotation (3, 3) taking LPS to the frame whose z is ``normal`` (3,) and whose x is nearest the patient's left."""
    z = unit(normal, name="occlusal normal")
    y = unit(np.cross(z, [1.0, 0.0, 0.0]))
    return np.array([np.cross(y, z), y, z])
