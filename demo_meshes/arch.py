"""The upper arch as an intraoral scanner sees it: crowns, tubes on the molars, gingiva, an open border."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.spatial import cKDTree

from demo_meshes.implicit import Field, capsule, meshed, ramp, smooth_max, smooth_min
from demo_meshes.molar import MolarShape, molar_truth
from demo_meshes.teeth import Dentition, PlacedTooth, arch_curve, tooth_field
from mesh_tools.arrays import Array, IntArray

TUBE_LENGTH_MM = 4.0  # common practice, no source
TUBE_BORE_MM = 1.27
TUBE_OUTER_MM = 2.1
END_MM = 51.0
"""Length along the arch from the midline to the end of the ridge."""


@dataclass(frozen=True, eq=False)
class Tube:
    """A headgear tube on a molar: ends of its axis, in the dentition's frame."""

    mesial_mm: Array
    distal_mm: Array


def tube_on(tooth: PlacedTooth) -> Tube:
    """The tube 4 mm long on the buccal face at mid crown, its axis along the crown, 1.3 mm off the enamel."""
    assert isinstance(tooth.shape, MolarShape)
    empty = np.zeros((0, 3))
    site = molar_truth(tooth.shape, empty, np.zeros((0, 3), dtype=np.int64)).tube_site_mm
    axis, half = site + np.array([1.3, 0.0, 0.0]), np.array([0.0, 0.5 * TUBE_LENGTH_MM, 0.0])
    ends = np.stack([axis - half, axis + half])
    mesial, distal = tooth.placement.to_world(ends)
    return Tube(mesial, distal)


def arch_mesh(
    dentition: Dentition, *, step_mm: float = 0.42, faces_wanted: int = 30000
) -> tuple[Array, IntArray]:
    """Points (n, 3) and outward faces (m, 3) of the open arch in the dentition's frame."""
    field = arch_field(dentition)
    points, faces = meshed(field, low=(-36.0, -9.0, -1.5), high=(36.0, 56.0, 20.0), step_mm=step_mm, rounds=4)
    points, faces = _opened(dentition, points, faces)
    return decimated(points, faces, faces_wanted=faces_wanted)


def arch_field(dentition: Dentition) -> Field:
    """The arch as a solid; the first molars' crowns stand in it unblended, so that they coincide with the teeth."""
    teeth = dentition.teeth()
    molars = [t for t in teeth if isinstance(t.shape, MolarShape)]
    others = [tooth_field(t, root_mm=1.5) for t in teeth if t not in molars]
    exact = [tooth_field(t, root_mm=1.5) for t in molars] + [_tube_field(t) for t in molars]
    gingiva = _gingiva(teeth)

    def field(p: Array) -> Array:
        body = gingiva(p)
        for other in others:
            body = smooth_min(body, other(p), blend_mm=0.5)
        for part in exact:
            body = np.minimum(body, part(p))
        return body

    return field


def _tube_field(tooth: PlacedTooth) -> Field:
    tube = tube_on(tooth)
    axis = (tube.distal_mm - tube.mesial_mm) / TUBE_LENGTH_MM
    middle = 0.5 * (tube.mesial_mm + tube.distal_mm)
    inward = -tooth.placement.rotation[:, 0]

    def field(p: Array) -> Array:
        q = p - middle
        t = q @ axis
        off = np.linalg.norm(q - t[:, None] * axis, axis=1)
        shell = np.maximum(off - 0.5 * TUBE_OUTER_MM, 0.5 * TUBE_BORE_MM - off)
        pad = capsule(p, middle + 1.2 * inward - 1.4 * axis, middle + 1.2 * inward + 1.4 * axis, radius=0.75)
        pad = np.maximum(pad, 0.5 * TUBE_BORE_MM - off)
        return np.asarray(np.maximum(np.minimum(shell, pad), np.abs(t) - 0.5 * TUBE_LENGTH_MM))

    return field


def _gingiva(teeth: tuple[PlacedTooth, ...]) -> Field:
    curve, length = arch_curve()
    both = np.vstack([curve[::-1] * [-1, 1], curve[1:]])
    along = np.concatenate([-length[::-1], length[1:]])
    tangent = np.gradient(both, axis=0)
    normal = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1) / np.linalg.norm(tangent, axis=1)[:, None]
    tree = cKDTree(both)

    def field(p: Array) -> Array:
        _, i = tree.query(p[:, :2])
        s = along[i]
        out = np.einsum("ij,ij->i", p[:, :2] - both[i], normal[i])
        margin = _margin(teeth, s, out)
        over = p[:, 2] - margin
        buccal = _half_width(s) + 0.3 + 0.9 * ramp(over, 0.0, 3.5) + 0.45 * _eminence(teeth, s) + 0.05 * over
        palatal = _half_width(s) + 0.6 + 0.42 * np.maximum(over, 0.0) + 1.4 * ramp(over, 1.0, 7.0)
        lean = 0.16 * np.maximum(over, 0.0) * ramp(np.abs(s), 16.0, 4.0)
        side = np.maximum(out - buccal - lean, -out - palatal)
        body = smooth_max(side, -over, blend_mm=2.4)
        return smooth_max(body, np.abs(s) - END_MM + 0.25 * np.maximum(-over + 3.0, 0.0), blend_mm=4.0)

    return field


def _half_width(s: Array) -> Array:
    at = [0.0, 8.0, 18.0, 26.0, 33.0, 41.0, 52.0]
    return np.asarray(np.interp(np.abs(s), at, [2.9, 2.8, 3.6, 4.2, 4.3, 5.1, 5.4]))


def _eminence(teeth: tuple[PlacedTooth, ...], s: Array) -> Array:
    hills = [np.exp(-(((s - t.along_mm) / (0.3 * t.width_mm)) ** 2)) for t in teeth]
    return np.asarray(np.sum(hills, axis=0))


def _margin(teeth: tuple[PlacedTooth, ...], s: Array, out: Array) -> Array:
    """Height (n,) of the free gingival margin: over each crown's neck, lower between teeth (papillae)."""
    at = np.array([t.along_mm for t in teeth])
    height = np.array([t.height_mm for t in teeth])
    smooth = np.interp(s, at, height)
    nearest = np.abs(s[:, None] - at[None, :]).argmin(axis=1)
    half = 0.5 * np.array([t.width_mm for t in teeth])[nearest]
    between = np.clip(np.abs(s - at[nearest]) / half, 0.0, 1.0)
    papilla = 3.0 * between**2.5 * ramp(np.abs(out), 7.0, 2.0) * ramp(np.abs(s), 47.0, 43.0)
    return np.asarray(smooth - 0.9 - papilla)


def _opened(dentition: Dentition, points: Array, faces: IntArray) -> tuple[Array, IntArray]:
    """The part below a wavy border some 8 mm above the gingival margin, cut through the faces; the largest piece."""
    curve, length = arch_curve()
    _, i = cKDTree(curve).query(np.column_stack([np.abs(points[:, 0]), points[:, 1]]))
    s = length[i] * np.sign(points[:, 0])
    top = (
        _margin(dentition.teeth(), s, np.full(len(s), 9.0))
        + 7.5
        + 0.6 * np.sin(0.31 * s)
        + 0.4 * np.sin(1.1 * s + 1)
    )
    mesh = as_polydata(points, faces)
    mesh["over"] = points[:, 2] - top
    return largest_piece(*from_polydata(mesh.clip_scalar(scalars="over", value=0.0).triangulate().clean()))


def largest_piece(points: Array, faces: IntArray) -> tuple[Array, IntArray]:
    """The connected piece with most faces, without unused points."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    i, j = np.vstack([faces[:, [0, 1]], faces[:, [1, 2]]]).T
    n = len(points)
    _, label = connected_components(coo_matrix((np.ones(len(i)), (i, j)), shape=(n, n)), directed=False)
    counts = np.bincount(label[faces[:, 0]])
    kept = faces[label[faces[:, 0]] == counts.argmax()]
    used, renumbered = np.unique(kept, return_inverse=True)
    return points[used], renumbered.reshape(-1, 3).astype(np.int64)


def decimated(points: Array, faces: IntArray, *, faces_wanted: int) -> tuple[Array, IntArray]:
    """About ``faces_wanted`` faces by quadric edge collapse (Garland and Heckbert 1997), by pyvista; borders held.

    A collapse can weld two sheets along an edge; then more faces, or a border free to move, are tried. Raises
    ArithmeticError when none works.
    """
    if len(faces) <= faces_wanted:
        return points, faces
    mesh = as_polydata(points, faces)
    for wanted in range(faces_wanted, faces_wanted + 6000, 1000):
        for held in (True, False):
            small = from_polydata(mesh.decimate(1.0 - wanted / len(faces), boundary_constraints=held))
            if most_faces_on_an_edge(small[1]) == 2:
                return small
    raise ArithmeticError(
        f"no manifold surface with about {faces_wanted} faces came out; ask for more faces."
    )


def most_faces_on_an_edge(faces: IntArray) -> int:
    """2 for a manifold surface, more where sheets are welded."""
    edges = np.sort(np.vstack([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    return int(np.unique(edges, axis=0, return_counts=True)[1].max())


def as_polydata(points: Array, faces: IntArray) -> Any:
    """The same as pyvista's mesh."""
    import pyvista as pv

    return pv.PolyData(points, np.column_stack([np.full(len(faces), 3), faces]).ravel())


def from_polydata(mesh: Any) -> tuple[Array, IntArray]:
    """Points and faces of a triangulated pyvista mesh."""
    return np.asarray(mesh.points, dtype=np.float64), np.asarray(mesh.faces, dtype=np.int64).reshape(-1, 4)[
        :, 1:
    ]
