"""The root surface that the ligament holds: what lies apical of the alveolar crest, cut exactly through the
faces.

The crest is the cervical line carried apically (default 0.75 mm, the middle of 0-1.5 mm at 9-16 years:
Needleman
HL et al. 1997 J Dent Child 64:188, Dummer PMH et al. 1995 J Oral Rehabil 22:249-255, Kallestal C, Matsson L
1989 J Clin Periodontol 16:300-304), or points on the crest, or a plane across the root.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from mesh_tools.anatomy import ToothAnatomy
from mesh_tools.anatomy.below_line import below_line
from mesh_tools.anatomy.closed_rim import line_through
from mesh_tools.arrays import Array, BoolArray, frozen, unit
from mesh_tools.cut import clipped
from mesh_tools.errors import BadValueError, BowtrueError
from mesh_tools.surface import Surface

CREST_BELOW_CEJ_MM = 0.75
_MOST_MM = 15.0
_LEAST_HEIGHT_MM = 1.0
_LEAST_AREA_MM2 = 10.0


class UnsupportedRootError(BowtrueError, ValueError):
    """No root, or only a sliver of it, lies apical of the crest."""


def supported_root(
    surface: Surface,
    anatomy: ToothAnatomy,
    *,
    crest_below_cej_mm: float = CREST_BELOW_CEJ_MM,
    crest_points_mm: ArrayLike | None = None,
    crest_plane: tuple[ArrayLike, ArrayLike] | None = None,
) -> Surface:
    """Root surface apical of the crest, mm, one connected open patch per tooth, its rim on the crest.

    The crest is the cervical line moved ``crest_below_cej_mm`` apically along the long axis; or the closed
    curve
    through ``crest_points_mm`` (k, 3), k at least 4, around the root; or the plane ``crest_plane``, a point
    (3,)
    and a normal (3,). Raises BadValueError for a value out of range and UnsupportedRootError when the crest
    leaves
    no root.
    """
    if crest_points_mm is not None and crest_plane is not None:
        raise BadValueError("crest: give either points or a plane, not both.")
    values = _apical_of_crest(
        surface, anatomy, below_mm=crest_below_cej_mm, points_mm=crest_points_mm, plane=crest_plane
    )
    _check_reach(values, anatomy)
    root = _patch_of_apices(clipped(surface, -values), anatomy)
    _check_sliver(root, anatomy)
    return root


def _apical_of_crest(
    surface: Surface,
    anatomy: ToothAnatomy,
    *,
    below_mm: float,
    points_mm: ArrayLike | None,
    plane: tuple[ArrayLike, ArrayLike] | None,
) -> Array:
    """Distance (n,) of the surface's points apical of the crest, mm."""
    seen = anatomy.frame.to_tooth(surface.points_mm)
    if points_mm is not None:
        crest = anatomy.frame.to_tooth(frozen(points_mm, (None, 3), name="crest_points_mm"))
        return below_line(line_through(crest, name="crest_points_mm"), seen)
    if plane is not None:
        point = frozen(plane[0], (3,), name="crest plane's point")
        normal = unit(frozen(plane[1], (3,), name="crest plane's normal"), name="crest plane's normal")
        tilt = float(normal @ anatomy.long_axis)
        if abs(tilt) < 0.5:
            raise BadValueError(
                "crest plane must cross the long axis; its normal leans "
                f"{np.degrees(np.arccos(abs(tilt))):.0f} degrees from it, more than 60."
            )
        return np.asarray((surface.points_mm - point) @ normal * np.sign(tilt))
    if not -2.0 <= below_mm <= _MOST_MM:
        raise BadValueError(
            f"crest_below_cej_mm must lie in -2 to {_MOST_MM:.0f} mm; got {below_mm:g}. Healthy bone at "
            "9-16 years is 0 to 1.5."
        )
    return below_line(anatomy.line, seen) - below_mm


def _check_reach(values: Array, anatomy: ToothAnatomy) -> None:
    held = float(values.max())
    if held < _LEAST_HEIGHT_MM:
        raise UnsupportedRootError(
            f"tooth {anatomy.tooth.fdi}: unsupported root, the crest leaves {max(held, 0.0):.1f} mm of root "
            f"(at least {_LEAST_HEIGHT_MM:.0f} mm is needed, roots are {anatomy.root_length_mm:.1f} mm "
            "long); move the crest occlusally."
        )


def _patch_of_apices(cut: Surface, anatomy: ToothAnatomy) -> Surface:
    """Connected patches that reach an apex; what else lies apical of the crest (crown artefacts) is left
    out."""
    if not len(cut.faces):
        return cut
    label = _labels(cut)
    if label.max() == 0:
        return cut
    apices = np.array(list(anatomy.apices_mm.values()))
    nearest = [int(((cut.points_mm - apex) ** 2).sum(axis=1).argmin()) for apex in apices]
    deepest = int((cut.points_mm @ anatomy.long_axis).argmax())
    keep: BoolArray = np.zeros(label.max() + 1, dtype=np.bool_)
    keep[label[[*nearest, deepest]]] = True
    return cut.with_faces(keep[label[cut.faces[:, 0]]])


def _labels(surface: Surface) -> Array:
    faces, count = surface.faces, len(surface.points_mm)
    pairs = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]]])
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1])


def _check_sliver(root: Surface, anatomy: ToothAnatomy) -> None:
    area = float(root.areas_mm2.sum()) if len(root.faces) else 0.0
    if area < _LEAST_AREA_MM2:
        raise UnsupportedRootError(
            f"tooth {anatomy.tooth.fdi}: unsupported root, the crest leaves a sliver of {area:.1f} mm2 (at "
            f"least {_LEAST_AREA_MM2:.0f} is needed); move the crest occlusally."
        )
