"""What the finite elements ask of a root surface, checked at the door."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mechanics.ligament_fe.coarsen import coarsened
from mechanics.ligament_fe.offset import face_vectors, facing_limits, offset_directions
from mechanics.ligament_fe.root import Root
from mesh_tools.arrays import Array, IntArray, frozen, frozen_ints
from mesh_tools.errors import BadValueError
from mesh_tools.self_crossing import refuse_self_crossing
from mesh_tools.surface import Surface

MOST_FACES = 60_000
_RADIUS_POINTS = 300


def checked_root(
    points_mm: ArrayLike, faces: ArrayLike, thickness_mm: ArrayLike, *, target_faces: int | None = None
) -> Root:
    """Root with coincident points joined and unused ones dropped; coarsened to ``target_faces`` when given.

    Raises BadShapeError or BadValueError for arrays out of shape, faces without area, a closed or inward surface,
    thicknesses that are not positive or exceed the root's own radius, and a surface too fine to solve;
    SelfCrossingError for a surface that passes through itself.
    """
    points = frozen(points_mm, (None, 3), name="points_mm")
    corners = frozen_ints(faces, (None, 3), name="faces")
    thickness = np.asarray(thickness_mm, dtype=np.float64)
    thickness = frozen(
        np.broadcast_to(thickness, len(points)) if thickness.ndim == 0 else thickness,
        (len(points),),
        name="thickness_mm",
    )
    _check_indices(corners, len(points))
    root = _welded(Root(points, corners, thickness))
    _check_winding(root)
    refuse_self_crossing(Surface(root.points_mm, root.faces), name="the root surface")
    if target_faces is not None and len(root.faces) > target_faces:
        root = coarsened(root, target_faces=target_faces)
    if len(root.faces) > MOST_FACES:
        raise BadValueError(
            f"the finite elements take at most {MOST_FACES} faces; got {len(root.faces)}; "
            "give target_faces, for example 12000."
        )
    _check_areas(root)
    _check_thickness(root)
    return root


def _check_indices(faces: IntArray, count: int) -> None:
    """Raise BadValueError for too few faces or an index out of range."""
    if len(faces) < 8:
        raise BadValueError(
            f"the supported root must have at least 8 faces; got {len(faces)}; "
            "check that the crest lies below the apex."
        )
    if faces.min() < 0 or faces.max() >= count:
        raise BadValueError(f"faces must index the {count} points; got {faces.min()} to {faces.max()}.")


def _welded(root: Root) -> Root:
    """Root without repeated or unused points, and without faces that use a point twice."""
    _, first, inverse = np.unique(root.points_mm, axis=0, return_index=True, return_inverse=True)
    faces = first[inverse.reshape(-1)][root.faces]
    distinct = (faces != np.roll(faces, 1, axis=1)).all(axis=1)
    used, renumbered = np.unique(faces[distinct], return_inverse=True)
    return Root(root.points_mm[used], renumbered.reshape(-1, 3), root.thickness_mm[used])


def _check_areas(root: Root) -> None:
    """Raise BadValueError for needle faces, whose area is below 1e-5 of their longest side squared."""
    areas = np.linalg.norm(face_vectors(root.points_mm, root.faces), axis=1)
    sides = root.points_mm[root.faces] - root.points_mm[np.roll(root.faces, 1, axis=1)]
    thin = areas < 1e-5 * np.linalg.norm(sides, axis=2).max(axis=1) ** 2
    if thin.any():
        raise BadValueError(
            f"every face of the root must have an area; {int(thin.sum())} are needles, first face "
            f"{int(np.flatnonzero(thin)[0])}; give target_faces to have them merged, or repair the surface."
        )


def _check_winding(root: Root) -> None:
    """Raise BadValueError for a surface that is closed, inconsistently wound or wound inward."""
    points, faces = root.points_mm, root.faces
    directed = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    key = directed[:, 0] * len(points) + directed[:, 1]
    if len(np.unique(key)) < len(key):
        raise BadValueError(
            "neighbouring faces of the root must be wound alike; some run against each other; repair the surface."
        )
    back = directed[:, 1] * len(points) + directed[:, 0]
    rim = directed[~np.isin(key, back)]
    if not len(rim):
        raise BadValueError(
            "the root surface must be open at the crest; it is closed; cut it at the alveolar crest first."
        )
    inside = np.einsum(
        "mx,mx->", face_vectors(points, faces), points[faces].mean(axis=1) - points[rim].mean(axis=(0, 1))
    )
    if inside < -1e-3 * float(np.linalg.norm(face_vectors(points, faces), axis=1).sum()) ** 1.5:
        raise BadValueError("the faces of the root must be wound outward; they face inward; flip them.")


def _check_thickness(root: Root) -> None:
    """Raise BadValueError for a thickness that is not positive or not smaller than the root's middle radius."""
    worst = float(root.thickness_mm.min())
    if worst <= 0.0:
        raise BadValueError(
            f"thickness_mm must be positive everywhere; got {worst:g}; 0.15 to 0.38 is published."
        )
    radius = root_radius(root.points_mm, root.faces)
    if root.thickness_mm.max() >= radius:
        raise BadValueError(
            f"thickness_mm must be less than the root's own radius ({radius:.2f} mm, median); "
            f"got {root.thickness_mm.max():g}; check units."
        )


def root_radius(points_mm: Array, faces: IntArray) -> float:
    """Median radius, mm, of the largest balls that touch the surface from inside; at most half its size."""
    some = np.linspace(0, len(points_mm) - 1, min(len(points_mm), _RADIUS_POINTS)).astype(np.int64)
    direction = offset_directions(points_mm, faces)[some]
    inward = -direction / np.linalg.norm(direction, axis=1)[:, None]
    size = np.full(len(some), float(np.linalg.norm(np.ptp(points_mm, axis=0))))
    return 0.5 * float(np.median(facing_limits(points_mm, faces, some, inward, up_to=size)))
