"""Root ends that are no whole apices: told, with what completing them would do to the centre."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from casework.question import CentreQuestion
from mechanics.centres.stiffness_centres import sagittal_centre
from mechanics.ligament.foundation import foundation_stiffness
from mesh_tools.apex_state import RootEnd, completed_root, in_one_plane
from mesh_tools.arrays import Array
from mesh_tools.surface import Surface

_MOST_SURE_MM = 6.0  # more than this missing, about half a root, and the centre is a guess


def end_shift_mm(root: Surface, ends: Sequence[RootEnd], question: CentreQuestion) -> Array:
    """How far (3,) the elastic foundation's sagittal centre moves when every end is completed, LPS mm."""
    return np.asarray(_centre(completed_root(root, ends), question) - _centre(root, question))


def end_warnings(root: Surface, ends: Sequence[RootEnd], question: CentreQuestion) -> list[str]:
    """One line on the ends that are no whole apices and on what completing them does; none for whole apices."""
    if not ends:
        return []
    shift = end_shift_mm(root, ends, question)
    along = float(shift @ question.apical)
    way = "apically" if along >= 0.0 else "occlusally"
    most = max(end.missing_mm for end in ends)
    line = (
        f"Tooth {question.tooth.fdi}: {_ends_told(ends)}. With up to {most:.1f} mm guessed as missing (usual roots "
        "are 12-13 mm long, Ash/Nelson) a complete root would move the centre about "
        f"{abs(along):.1f} mm {way} ({float(np.linalg.norm(shift)):.1f} mm in all)."
    )
    if most > _MOST_SURE_MM:
        line += (
            " So much is missing that the centre is little more than a guess; take a larger field of view."
        )
    return [line]


def ends_tree(root: Surface, ends: Sequence[RootEnd], question: CentreQuestion) -> list[dict[str, Any]]:
    """The ends as plain values for JSON, each with the shift of the centre that completing it alone gives."""
    return [
        {
            "root": end.root,
            "kind": end.kind,
            "centre_mm": end.centre_mm.tolist(),
            "across_mm": end.across_mm,
            "missing_mm": end.missing_mm,
            "shift_mm": end_shift_mm(root, [end], question).tolist(),
        }
        for end in ends
    ]


def _centre(root: Surface, question: CentreQuestion) -> Array:
    layer = question.ligament
    stiffness = foundation_stiffness(
        root.points_mm, root.faces, k_normal=layer.k_normal, k_shear=layer.k_shear
    )
    return sagittal_centre(stiffness, x_axis=question.axes[0])


def _ends_told(ends: Sequence[RootEnd]) -> str:
    each = "; ".join(
        f"{end.root} root: {_KIND_WORDS[end.kind]} {end.across_mm:.1f} mm across" for end in ends
    )
    if in_one_plane(ends):
        return f"{each}; all in one plane, so the scan's field of view cuts the roots"
    return f"{each}; cut off by the scan, or an apex still open as in a young patient"


_KIND_WORDS = {"open border": "open end", "flat": "flat end", "hollow": "hollow end"}
