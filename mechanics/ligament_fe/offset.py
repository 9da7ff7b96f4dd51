"""The bone side of the ligament: the root surface moved outward by the thickness, kept from crossing itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from mesh_tools.arrays import Array, BoolArray, IntArray
from mesh_tools.errors import BadValueError, NoAnswerError
from mesh_tools.self_crossing import self_crossings
from mesh_tools.surface import Surface

_STEEPEST_MITRE = 1.6
_HOLD = 0.01
_SHARE_OF_GAP = 0.45
_LOWEST_ELEVATION = 0.5
_SLOPE = 0.5
_WEDGE_KEEPS = 0.15
_SMOOTHINGS = 30
_SHRINKINGS = 60
_LEAST_SHARE = 0.02
_SLOPE_OF_SHRUNK = 1.5
_THINNINGS = 6
_GRADIENT_STEPS = 60
_SMALL_COSINE = 0.5
_SAMPLE_CEILING = 400_000


@dataclass(frozen=True, eq=False)
class BoneSide:
    """``points_mm`` (n, 3) of the bone side and the thickness used at each point, ``thickness_mm`` (n,).

    ``narrowed`` (n,) marks points whose thickness was cut so that the layers of two facing walls do not cross.
    """

    points_mm: Array
    thickness_mm: Array
    narrowed: BoolArray


def face_vectors(points_mm: Array, faces: IntArray) -> Array:
    """Outward normal times area of each face, (m, 3), mm2."""
    a, b, c = (points_mm[faces[:, i]] for i in range(3))
    return 0.5 * np.cross(b - a, c - a)


def offset_directions(points_mm: Array, faces: IntArray) -> Array:
    """Vectors (n, 3) by which a point moves per mm of thickness so that its faces move by 1 mm.

    First the area-weighted mean normal over its mean cosine to the faces (a mitre), then the nearest vector that moves
    every face by 1 mm in the least-squares sense, so a layer is as thick along a crease as beside it. Moves
    longer than 1.6 are cut. Raises BadValueError at a point whose faces cancel (a surface that doubles back).
    """
    vectors = face_vectors(points_mm, faces)
    sizes = np.linalg.norm(vectors, axis=1)
    total, area = _normals_at_points(points_mm, faces)
    length = np.linalg.norm(total, axis=1)
    flat = doubles_back(points_mm, faces)
    if flat.any():
        where = points_mm[flat][0].round(2).tolist()
        raise BadValueError(
            f"the root surface must not double back on itself; it does at {int(flat.sum())} points, "
            f"first at {where} mm; repair or smooth the surface."
        )
    start = total * (area / length**2)[:, None]
    way = start + _correction(vectors / np.maximum(sizes, 1e-300)[:, None], sizes, start, faces)
    size = np.linalg.norm(way, axis=1, keepdims=True)
    return np.asarray(way * np.minimum(1.0, _STEEPEST_MITRE / size))


def doubles_back(points_mm: Array, faces: IntArray) -> BoolArray:
    """Mask (n,) of points around which the faces' area vectors nearly cancel."""
    total, area = _normals_at_points(points_mm, faces)
    return np.asarray(np.linalg.norm(total, axis=1) < 0.2 * area)


def _normals_at_points(points_mm: Array, faces: IntArray) -> tuple[Array, Array]:
    """Sum (n, 3) of the area vectors and sum (n,) of the areas of the faces at each point."""
    vectors = face_vectors(points_mm, faces)
    sizes = np.linalg.norm(vectors, axis=1, keepdims=True)
    both = _summed_at_corners(np.hstack([vectors, sizes]), faces, len(points_mm))
    return both[:, :3], both[:, 3]


def _correction(normal: Array, sizes: Array, start: Array, faces: IntArray) -> Array:
    """Change (n, 3) of the moves ``start`` that brings each face's distance closest to 1, held near none."""
    squares = (sizes[:, None, None] * normal[:, :, None] * normal[:, None, :]).reshape(-1, 9)
    matrix = _summed_at_corners(squares, faces, len(start)).reshape(-1, 3, 3)
    miss = np.zeros_like(start)
    for corner in faces.T:
        short = sizes * (1.0 - np.einsum("mx,mx->m", normal, start[corner]))
        for axis in range(3):
            miss[:, axis] += np.bincount(corner, short * normal[:, axis], minlength=len(start))
    hold = _HOLD * np.trace(matrix, axis1=1, axis2=2)
    return np.asarray(np.linalg.solve(matrix + hold[:, None, None] * np.eye(3), miss[..., None])[..., 0])


class LayerFoldsError(NoAnswerError):
    """No layer fits on the surface at ``at`` (k,), indices of its points: it would fold over or cross itself."""

    def __init__(self, message: str, at: IntArray) -> None:
        super().__init__(message)
        self.at = at


def bone_side(points_mm: Array, faces: IntArray, thickness_mm: Array) -> BoneSide:
    """Offset by ``thickness_mm`` (n,), less where two walls face each other closer than twice that.

    There the thickness is 45 % of the gap, and it grows from there by at most 0.5 mm a mm; where the layer would fold
    over or cross itself all the same, its directions are evened out, then it is made thinner. Raises LayerFoldsError
    where even a fiftieth of the thickness does not help.
    """
    direction = offset_directions(points_mm, faces)
    normal = direction / np.linalg.norm(direction, axis=1)[:, None]
    free = facing_limits(
        points_mm, faces, np.arange(len(points_mm)), normal, up_to=thickness_mm / _SHARE_OF_GAP
    )
    used = _sloped(points_mm, faces, np.minimum(thickness_mm, _SHARE_OF_GAP * free))
    for _ in range(_THINNINGS):
        move, used = _unfolded(points_mm, faces, direction, used)
        found = self_crossings(Surface(points_mm + move, faces))
        if not found.count:
            return BoneSide(points_mm + move, used, used < 0.999 * thickness_mm)
        at = np.unique(np.concatenate([found.edge_points.ravel(), faces[found.faces].ravel()]))
        used[at] *= 0.5
        used = _sloped(points_mm, faces, used)
    raise LayerFoldsError(
        f"the ligament layer must not cross itself; it does at {found.count} places even when made thin there, first "
        f"near {found.points_mm[0].round(2).tolist()} mm; smooth the root surface.",
        at,
    )


def facing_limits(points_mm: Array, faces: IntArray, at: IntArray, normal: Array, *, up_to: Array) -> Array:
    """Width (k,) of the free space along ``normal`` (k, 3) in front of the points ``at`` (k,), mm, at most ``up_to``.

    It is the diameter of the largest ball that touches the surface from outside at the point (shrinking ball: J. Ma,
    S. W. Bae, S. Choi, The Visual Computer 28 (2012) 7); parts of the surface seen below 30 degrees are the point's own
    neighbourhood and do not count.
    """
    samples = _samples(points_mm, faces, spacing=0.25 * float(np.median(up_to)))
    tree = cKDTree(samples)
    radius = 0.5 * np.array(up_to)
    active = np.arange(len(at))
    for _ in range(12):
        smaller = _shrunk(points_mm[at[active]], normal[active], radius[active], tree=tree)
        changed = smaller < 0.999 * radius[active]
        radius[active] = smaller
        active = active[changed]
        if not len(active):
            break
    return 2.0 * radius


def _shrunk(points: Array, normal: Array, radius: Array, *, tree: cKDTree) -> Array:
    """Radii of the balls that pass through the nearest samples instead of holding them inside."""
    centre = points + radius[:, None] * normal
    distance, near = tree.query(centre, k=min(12, tree.n), distance_upper_bound=float(radius.max()))
    found = near < tree.n
    span = np.asarray(tree.data)[np.where(found, near, 0)] - points[:, None, :]
    height = np.einsum("nkx,nx->nk", span, normal)
    reach = np.einsum("nkx,nkx->nk", span, span)
    blocks = (
        found & (distance < radius[:, None]) & (height > _LOWEST_ELEVATION * np.sqrt(reach)) & (reach > 0.0)
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        through = np.where(blocks, reach / (2.0 * height), np.inf)
    return np.asarray(np.minimum(radius, through.min(axis=1)))


def _samples(points: Array, faces: IntArray, *, spacing: float) -> Array:
    """Points (s, 3) on the surface about ``spacing`` apart: corners and evenly spread points inside faces."""
    edge = np.linalg.norm(points[faces] - points[np.roll(faces, 1, axis=1)], axis=2).max(axis=1)
    order = np.clip(np.ceil(edge / max(spacing, 1e-9)), 1, 12).astype(int)
    while (order**2).sum() > _SAMPLE_CEILING and order.max() > 1:
        order = np.maximum(order - 1, 1)
    parts = [points]
    for n in np.unique(order):
        i, j = (g.ravel() for g in np.meshgrid(np.arange(n + 1), np.arange(n + 1), indexing="ij"))
        i, j = i[i + j <= n], j[i + j <= n]
        weights = np.stack([i, j, n - i - j], axis=1) / n
        parts.append(np.einsum("sk,mkx->msx", weights, points[faces[order == n]]).reshape(-1, 3))
    return np.concatenate(parts)


def _sloped(points: Array, faces: IntArray, thickness: Array, *, slope: float = _SLOPE) -> Array:
    """Thickness cut so that it grows by at most ``slope`` mm per mm along any edge."""
    edges = np.unique(np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1), axis=0)
    rise = slope * np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1)
    cut = np.array(thickness)
    for _ in range(100):
        before = cut.copy()
        np.minimum.at(cut, edges[:, 0], before[edges[:, 1]] + rise)
        np.minimum.at(cut, edges[:, 1], before[edges[:, 0]] + rise)
        if np.allclose(cut, before, rtol=0.0, atol=1e-12):
            break
    return cut


def _unfolded(points: Array, faces: IntArray, direction: Array, thickness: Array) -> tuple[Array, Array]:
    """Moves (n, 3) and thickness (n,) changed at the corners of wedges that would fold over.

    Their directions are averaged with their neighbours' and turned toward the normals they oppose, in turns; what
    still folds after that is made thinner along the directions that best follow all the normals around a point.
    """
    way, cut = np.array(direction), np.array(thickness)
    followed = np.zeros(len(points), dtype=bool)
    for attempt in range(_SMOOTHINGS + _SHRINKINGS):
        bad = _folded(points, faces, way * cut[:, None], cut)
        if not bad.any():
            return way * cut[:, None], cut
        at = np.unique(faces[bad])
        if attempt < _SMOOTHINGS and attempt % 2 == 0:
            way[at] = _averaged(way, faces)[at]
        elif attempt < _SMOOTHINGS:
            way = _turned(points, faces[bad], way)
        else:
            new = at[~followed[at]]
            way[new] = _following(points, faces, new)
            followed[new] = True
            cut[at] *= 0.7
            cut = _sloped(points, faces, cut, slope=_SLOPE_OF_SHRUNK)
        if (cut[at] < _LEAST_SHARE * thickness[at]).any():
            break
    raise LayerFoldsError(
        f"the ligament layer must not fold over; it does at {int(bad.sum())} of {len(faces)} faces even when made thin "
        f"there, first near {points[faces[bad][0]].mean(axis=0).round(2).tolist()} mm; smooth the root surface.",
        at,
    )


def _following(points: Array, faces: IntArray, at: IntArray) -> Array:
    """Vectors (k, 3) at the points ``at`` whose least advance along the normals of the faces around is largest.

    That direction is the point nearest the origin in the normals' convex hull, found by exponentiated gradients
    (J. Kivinen, M. K. Warmuth, Information and Computation 132 (1997) 1).
    """
    which = np.full(len(points), -1, dtype=np.int64)
    which[at] = np.arange(len(at))
    row = which[faces]
    face, corner = np.nonzero(row >= 0)
    row = row[face, corner]
    vectors = face_vectors(points, faces[face])
    normal = vectors / np.linalg.norm(vectors, axis=1)[:, None]
    weight = np.ones(len(row))
    for _ in range(_GRADIENT_STEPS):
        weight /= np.bincount(row, weight, minlength=len(at))[row]
        nearest = np.stack([np.bincount(row, weight * n, minlength=len(at)) for n in normal.T], axis=1)
        weight *= np.exp(-np.einsum("rx,rx->r", normal, nearest[row]))
    size = np.maximum(np.linalg.norm(nearest, axis=1, keepdims=True), 1e-12)
    return np.asarray(nearest / size * np.minimum(1.0 / size, _STEEPEST_MITRE))


def _turned(points: Array, faces: IntArray, direction: Array) -> Array:
    """Directions turned toward the normals of ``faces`` that they hardly follow (a perceptron step)."""
    way = np.array(direction)
    vectors = face_vectors(points, faces)
    normal = vectors / np.linalg.norm(vectors, axis=1)[:, None]
    for corner in faces.T:
        length = np.linalg.norm(way[corner], axis=1, keepdims=True)
        low = np.einsum("mx,mx->m", normal, way[corner]) < _SMALL_COSINE * length[:, 0]
        changed = way[corner] / length + np.where(low, 0.3, 0.0)[:, None] * normal
        way[corner] = changed / np.linalg.norm(changed, axis=1, keepdims=True) * length
    return way


def _averaged(direction: Array, faces: IntArray) -> Array:
    """Mean direction (n, 3) over the faces at each point, with the mean length."""
    length = np.linalg.norm(direction, axis=1, keepdims=True)
    packed = np.concatenate([direction / length, length, np.ones_like(length)], axis=1)
    total = _summed_at_corners(packed[faces].sum(axis=1), faces, len(direction))
    norm = np.linalg.norm(total[:, :3], axis=1, keepdims=True)
    return np.asarray(total[:, :3] / norm * total[:, 3:4] / total[:, 4:5])


def _folded(points: Array, faces: IntArray, move: Array, thickness: Array) -> BoolArray:
    """Mask (m,) of faces whose wedge has, somewhere, less than 15 % of the volume ratio of a flat one."""
    root = np.linalg.norm(face_vectors(points, faces), axis=1)
    worst = np.full(len(faces), np.inf)
    for share in (0.0, 0.5, 1.0):
        vectors = face_vectors(points + share * move, faces)
        for corner in faces.T:
            ratio = np.einsum("mx,mx->m", vectors, move[corner]) / (root * thickness[corner])
            worst = np.minimum(worst, ratio)
    return worst < _WEDGE_KEEPS


def _summed_at_corners(values: Array, faces: IntArray, count: int) -> Array:
    """Sum (count, k) of the faces' values (m, k) at the points they use."""
    return np.stack(
        [np.bincount(faces.ravel(), np.repeat(column, 3), minlength=count) for column in values.T], axis=1
    )
