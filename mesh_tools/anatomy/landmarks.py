"""Landmarks that override what is found, by name, all in LPS mm.

========================  =============================================================================
``axis_occlusal``,        two points on the long axis, given together
``axis_apical``
``cervical_line``         (k, 3) points around the neck, k at least 4, in any order
``cervical_1``, ...       the same, one point a name
``apex_<root>``           an apex: apex_mesiobuccal, apex_distobuccal, apex_palatal, apex_mesial,
                          apex_distal, apex_buccal, apex_lingual, apex_single
``trifurcation``          the roof where all roots part (of two roots: the bifurcation)
``furcation_<side>``      an entrance: furcation_mesial, furcation_buccal, furcation_distal,
                          furcation_palatal, furcation_lingual
========================  =============================================================================
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from difflib import get_close_matches

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.anatomy.errors import LandmarkError
from mesh_tools.arrays import Array, frozen, unit

ROOTS = ("mesiobuccal", "distobuccal", "palatal", "mesial", "distal", "buccal", "lingual", "single",
         "distolingual", "mesiopalatal", "distopalatal", "mesiolingual")  # fmt: skip
SIDES = ("mesial", "buccal", "distal", "palatal", "lingual")
NAMES = (
    "axis_occlusal", "axis_apical", "cervical_line", "trifurcation",
    *(f"apex_{root}" for root in ROOTS), *(f"furcation_{side}" for side in SIDES),
)  # fmt: skip
_FAR_MM = 30.0


def checked(landmarks: Mapping[str, ArrayLike] | None, *, near_mm: Array) -> dict[str, Array]:
    """Landmarks with known names, right shapes and within 30 mm of the tooth's middle ``near_mm`` (3,).

    Raises LandmarkError naming the first that is not.
    """
    known: dict[str, Array] = {}
    for name, value in (landmarks or {}).items():
        line = name == "cervical_line"
        if name not in NAMES and not re.fullmatch(r"cervical_\d+", name):
            close = get_close_matches(name, NAMES, n=1)
            hint = (
                f"did you mean {close[0]}?"
                if close
                else "known are " + ", ".join(NAMES[:4]) + ", apex_..., furcation_..."
            )
            raise LandmarkError(f"landmark {name} is not known; {hint}")
        points = frozen(value, (None, 3) if line else (3,), name=f"landmark {name}")
        away = float(np.linalg.norm(np.atleast_2d(points) - near_mm, axis=1).max())
        if away > _FAR_MM:
            raise LandmarkError(
                f"landmark {name} lies {away:.0f} mm from the middle of the tooth, more than {_FAR_MM:.0f}: "
                "same axes and unit?"
            )
        known[name] = points
    return known


def check_apices(landmarks: Mapping[str, Array], names: Sequence[str]) -> None:
    """Raises LandmarkError for an apex of a root that is not among the separate roots' ``names``."""
    for landmark in landmarks:
        if landmark.startswith("apex_") and landmark.removeprefix("apex_") not in names:
            raise LandmarkError(
                f"landmark {landmark} names a root that is not separate here; found: {', '.join(names)}."
            )


def axis_given(landmarks: Mapping[str, Array]) -> Array | None:
    """Long axis (3,) from its two points; None without them. Raises LandmarkError for only one of the two."""
    both = ("axis_occlusal", "axis_apical")
    given = [name for name in both if name in landmarks]
    if len(given) == 1:
        raise LandmarkError(
            f"landmark {given[0]} needs the other end too: give both {both[0]} and {both[1]}."
        )
    return unit(landmarks["axis_apical"] - landmarks["axis_occlusal"], name="long axis") if given else None


def line_given(landmarks: Mapping[str, Array]) -> Array | None:
    """Points (k, 3) of the cervical line given whole or point by point; None without them."""
    single = [landmarks[name] for name in sorted(landmarks) if re.fullmatch(r"cervical_\d+", name)]
    points = np.concatenate([landmarks.get("cervical_line", np.empty((0, 3))), np.reshape(single, (-1, 3))])
    if not len(points):
        return None
    if len(points) < 4:
        raise LandmarkError(
            f"landmark cervical_line needs at least 4 points around the neck; got {len(points)}."
        )
    return np.asarray(points)
