"""Strap directions by their angle to the occlusal plane, and a strap round the neck.

Usual angles: cervical 25 degrees below the occlusal plane (Korean J Orthod 1987;17:185-197; 10 degrees in
Kragt G, ten Bosch JJ, Borsboom PCF 1982 Am J Orthod 81), high pull 30-45 degrees above it (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mechanics.sides import Side, outward_sign
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError

CERVICAL_DEG = -25.0
HIGH_PULL_DEG = 37.5


def strap_direction(side: Side, *, angle_deg: float, midline_deg: float = 0.0) -> Array:
    """Unit vector (3,), treatment frame: back, ``angle_deg`` over the occlusal plane (positive up), and
    turned ``midline_deg`` from the mid-sagittal plane toward the middle.

    Raises BadValueError outside (-90, 90) degrees, where the pull would not go back.
    """
    for name, value in (("angle_deg", angle_deg), ("midline_deg", midline_deg)):
        if not -90.0 < value < 90.0:
            raise BadValueError(f"strap {name} must lie between -90 and 90 degrees; got {value}.")
    rise, inward = np.radians(angle_deg), np.radians(midline_deg)
    flat = np.cos(rise)
    return np.array([-outward_sign(side) * flat * np.sin(inward), flat * np.cos(inward), np.sin(rise)])


def tangent_point(hook_mm: ArrayLike, *, centre_mm: ArrayLike, radius_mm: float, side: Side) -> Array:
    """Point (3,) where a strap from the hook first touches a neck, an upright circular cylinder, on its
    own side.

    The neck's axis passes ``centre_mm``; the point is given at the height of ``centre_mm``. Raises
    BadValueError for a hook inside the neck.
    """
    hook, centre = np.asarray(hook_mm, dtype=np.float64), np.asarray(centre_mm, dtype=np.float64)
    toward = hook[:2] - centre[:2]
    distance = float(np.linalg.norm(toward))
    if not 0.0 < radius_mm < distance:
        raise BadValueError(
            f"{side} hook lies {distance:.1f} mm from the neck's axis; it must lie outside the neck's "
            f"radius, {radius_mm:.1f} mm."
        )
    turn = outward_sign(side) * float(np.arccos(radius_mm / distance))
    c, s = np.cos(turn), np.sin(turn)
    spoke = np.array([c * toward[0] - s * toward[1], s * toward[0] + c * toward[1]]) * radius_mm / distance
    return np.array([*(centre[:2] + spoke), centre[2]])


def check_behind(side: Side, pull: StrapPull, hook_mm: ArrayLike) -> None:
    """Raises BadValueError when a strap point of ``pull`` lies in front of the hook."""
    hook = np.asarray(hook_mm, dtype=np.float64)
    for strap in pull.straps:
        if strap.toward_mm is not None and strap.toward_mm[1] <= hook[1]:
            raise BadValueError(
                f"{side} strap point lies {hook[1] - strap.toward_mm[1]:.1f} mm in front of the hook; it "
                "must lie behind it: move the strap point back or shorten the outer arm."
            )
