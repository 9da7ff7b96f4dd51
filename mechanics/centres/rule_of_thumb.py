"""The rule of thumb: one point for everyone, 10 mm up and half a tube back from the tube's mesial end.

Common practice, no source: the furcation of an upper first molar lies about 10 mm apical of the headgear tube and half
a tube (2 of 4 mm) distal of its mesial end; in depth it is the middle of the tooth.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mechanics.centres.estimate import CentreEstimate
from mesh_tools.arrays import Array, unit

UP_MM = 10.0
TUBE_LENGTH_MM = 4.0
_SOURCE = "common practice, no source"


def rule_of_thumb(
    tube_mesial_mm: ArrayLike,
    tube_distal_mm: ArrayLike,
    *,
    apical: ArrayLike,
    middle_mm: ArrayLike,
    lateral: ArrayLike,
) -> CentreEstimate:
    """The rule's point from a tube: LPS or any frame, mm.

    ``apical`` (3,): the occlusal plane's normal pointing apically; the way back is the tube's own axis made square to
    it. ``middle_mm`` (3,) gives the depth along ``lateral`` (3,), the direction from cheek to tongue.
    """
    point = rule_point(tube_mesial_mm, tube_distal_mm, apical=apical)
    across = _across(tube_mesial_mm, tube_distal_mm, apical=apical, lateral=lateral)
    depth = float(across @ (np.asarray(middle_mm, dtype=np.float64) - point))
    return CentreEstimate(
        "rule_of_thumb", point + depth * across,
        f"{UP_MM:g} mm apical of the tube's mesial end, half the tube back, middle of the tooth in depth", _SOURCE,
    )  # fmt: skip


def rule_point(tube_mesial_mm: ArrayLike, tube_distal_mm: ArrayLike, *, apical: ArrayLike) -> Array:
    """Where the rule is marked at the tube's own depth: up, then half the tube back (3,)."""
    mesial = np.asarray(tube_mesial_mm, dtype=np.float64)
    up = unit(apical, name="occlusal normal")
    along = np.asarray(tube_distal_mm, dtype=np.float64) - mesial
    back = unit(along - (along @ up) * up, name="tube axis in the occlusal plane")
    return mesial + UP_MM * up + 0.5 * float(np.linalg.norm(along)) * back


def rule_of_thumb_without_tube(
    buccal_centre_mm: ArrayLike,
    *,
    apical: ArrayLike,
    mesial: ArrayLike,
    middle_mm: ArrayLike,
    lateral: ArrayLike,
) -> CentreEstimate:
    """The rule with a tube of usual length guessed at the middle of the buccal crown face; a fallback."""
    centre = np.asarray(buccal_centre_mm, dtype=np.float64)
    up = unit(apical)
    forward = np.asarray(mesial, dtype=np.float64)
    forward = unit(forward - (forward @ up) * up, name="mesial direction")
    ends = [centre + s * 0.5 * TUBE_LENGTH_MM * forward for s in (1.0, -1.0)]
    found = rule_of_thumb(*ends, apical=up, middle_mm=middle_mm, lateral=lateral)
    words = f"no tube given: a {TUBE_LENGTH_MM:g} mm tube is guessed at the middle of the buccal crown face; then "
    return CentreEstimate(found.method, found.point_mm, words + found.assumptions, _SOURCE, fallback=True)


def _across(mesial: ArrayLike, distal: ArrayLike, *, apical: ArrayLike, lateral: ArrayLike) -> Array:
    """Unit vector nearest ``lateral`` square to the way up and to the way back."""
    up = unit(apical)
    along = np.asarray(distal, dtype=np.float64) - np.asarray(mesial, dtype=np.float64)
    across = np.cross(unit(along - (along @ up) * up), up)
    return unit(across * np.sign(across @ np.asarray(lateral, dtype=np.float64)), name="direction of depth")
