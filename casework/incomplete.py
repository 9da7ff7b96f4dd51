"""Fused roots and root ends that are no whole apices: told, with what their truth would do to the centre."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from casework.question import CentreQuestion
from mechanics.centres.stiffness_centres import sagittal_centre
from mechanics.ligament.foundation import foundation_stiffness
from mesh_tools.anatomy import ToothAnatomy
from mesh_tools.apex_state import RootEnd, completed_root, in_one_plane
from mesh_tools.arrays import Array
from mesh_tools.average_molar import CROWN_MM, average_root
from mesh_tools.surface import Surface

_MOST_SURE_MM = 6.0  # more than this missing, about half a root, and the centre is a guess

_SURE_LINE = 0.3  # below it the line follows the usual crown height more than the shape: our choice


def root_count_warnings(anatomy: ToothAnatomy, question: CentreQuestion) -> list[str]:
    """One line where fewer separate roots are seen than usual, with what that does to an upper molar's centre."""
    usual, found = anatomy.tooth.usual_roots, anatomy.separate_roots
    if found >= usual:
        return []
    line = (
        f"Tooth {anatomy.tooth.fdi}: {found} separate root{'s' if found > 1 else ''} found where {usual} are usual: "
        "roots fused, incomplete or not resolved by the scan; look at the picture before relying on the furcation."
    )
    if anatomy.tooth.upper and anatomy.tooth.kind == "molar":
        along = fused_shift_mm(question)
        way = "apically" if along >= 0.0 else "occlusally"
        line += (
            f" If they are separate in truth, the centre lies up to about {abs(along):.1f} mm further {way} (an "
            "average molar with its roots apart, against wrapped in one)."
        )
    return [line]


def fused_shift_mm(question: CentreQuestion) -> float:
    """How far apically the centre of an average upper molar moves when its roots, wrapped in their hull, are parted.

    The hull is the extreme of fused roots, so that this is the most that failing to resolve them does.
    """
    apart = average_root(
        mesiodistal_mm=CROWN_MM["mesiodistal"],
        buccolingual_mm=CROWN_MM["buccolingual"],
        height_mm=CROWN_MM["height"],
    )
    from scipy.spatial import ConvexHull  # slow to import

    hull = ConvexHull(apart.points_mm).simplices
    crest = apart.points_mm[:, 2].min() + 1e-6
    lid = (apart.points_mm[hull][:, :, 2] < crest).all(axis=1)
    fused = Surface(apart.points_mm, hull[~lid])
    own = replace(question, rotation=None)
    return float((_centre(apart, own) - _centre(fused, own))[2])


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
    molar = question.tooth.upper and question.tooth.kind == "molar"
    why = "usual roots are 12-13 mm long, Ash/Nelson" if molar else "a rounded end"
    line = (
        f"Tooth {question.tooth.fdi}: {_ends_told(ends)}. With up to {most:.1f} mm guessed as missing ({why}) a "
        f"complete root would move the centre about {abs(along):.1f} mm {way} ({float(np.linalg.norm(shift)):.1f} mm "
        "in all)."
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


def line_warnings(anatomy: ToothAnatomy) -> list[str]:
    """A cervical line that the shape hardly shows: the crest, and with it the centre, then stand on the usual crown."""
    found = anatomy.finding("cervical_line_mm")
    if found.confidence >= _SURE_LINE:
        return []
    return [
        f"Tooth {anatomy.tooth.fdi}: the cervical line hardly shows on this surface (confidence "
        f"{found.confidence:.2f}); it is placed by the usual crown height. Give it as a landmark (cervical_1, "
        "cervical_2, ...) or look at the picture."
    ]


def crossing_warnings(count: int, question: CentreQuestion) -> list[str]:
    """Tiny folds of a noisy scan: they hardly move the centre, but say that the surface is rough."""
    if not count:
        return []
    return [
        f"Tooth {question.tooth.fdi}: the root's surface crosses itself at {count} tiny "
        f"place{'s' if count > 1 else ''}, as noise does; smooth the scan if the finite elements refuse it."
    ]
