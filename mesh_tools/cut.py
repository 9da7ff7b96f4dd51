"""Cutting a surface exactly along a level of a scalar given at its points: through the faces, not around them."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import Array, IntArray, frozen
from mesh_tools.surface import Surface


def clipped(surface: Surface, values: ArrayLike, level: float = 0.0) -> Surface:
    """The part of ``surface`` where ``values`` (n,), linear over each face, is at most ``level``.

    Cut edges get one new point shared by both neighbours, so that the new border is clean; the winding stays. A point
    exactly on the level belongs to the kept part and makes no sliver.
    """
    v = frozen(values, (len(surface.points_mm),), name="values") - level
    inside = v <= 0.0
    count = inside[surface.faces].sum(axis=1)
    whole = surface.faces[count == 3]
    crossing = surface.faces[(count == 1) | (count == 2)]
    crossing = crossing[(v[crossing] < 0.0).any(axis=1)]
    pieces, points = _split(surface.points_mm, v, crossing)
    faces = np.concatenate([whole, pieces])
    return Surface(points, faces).with_faces(np.arange(len(faces)))


def _split(points: Array, v: Array, faces: IntArray) -> tuple[IntArray, Array]:
    """Kept parts of ``faces`` that cross zero, and the points with the new ones appended."""
    inside = v[faces] <= 0.0
    lone = np.where(inside.sum(axis=1) == 1, inside.argmax(axis=1), (~inside).argmax(axis=1))
    turned = np.take_along_axis(faces, (lone[:, None] + np.arange(3)) % 3, axis=1)
    a, b, c = turned.T
    edges = np.sort(np.concatenate([np.stack([a, b], axis=1), np.stack([a, c], axis=1)]), axis=1)
    unique, back = np.unique(edges, axis=0, return_inverse=True)
    new = _crossings(points, v, unique)
    ab, ac = np.split(back.ravel() + len(points), 2)
    ab, ac = _snapped(v, a, b, ab), _snapped(v, a, c, ac)
    tip = v[a] <= 0.0
    tips = np.stack([a, ab, ac], axis=1)[tip]
    rest = ~tip
    every = np.concatenate([points, new])
    pieces = np.concatenate([tips, _halves(every, ab[rest], b[rest], c[rest], ac[rest])])
    distinct = (
        (pieces[:, 0] != pieces[:, 1]) & (pieces[:, 1] != pieces[:, 2]) & (pieces[:, 2] != pieces[:, 0])
    )
    return pieces[distinct], every


def _halves(points: Array, ab: IntArray, b: IntArray, c: IntArray, ac: IntArray) -> IntArray:
    """Quadrilaterals ab b c ac as triangles (2 k, 3), split by the shorter diagonal so that mirrors agree."""
    one = np.linalg.norm(points[ab] - points[c], axis=1)
    two = np.linalg.norm(points[ac] - points[b], axis=1)
    by_one = (one <= two)[:, None]
    first = np.where(by_one, np.stack([ab, b, c], axis=1), np.stack([ab, b, ac], axis=1))
    second = np.where(by_one, np.stack([ab, c, ac], axis=1), np.stack([b, c, ac], axis=1))
    return np.concatenate([first, second])


def _crossings(points: Array, v: Array, edges: IntArray) -> Array:
    """Points (k, 3) where the value is zero on each edge, computed from the kept end so that mirrors agree."""
    kept = np.where(v[edges[:, 0]] <= 0.0, 0, 1)
    p = points[np.take_along_axis(edges, kept[:, None], axis=1)[:, 0]]
    q = points[np.take_along_axis(edges, 1 - kept[:, None], axis=1)[:, 0]]
    vp = v[np.take_along_axis(edges, kept[:, None], axis=1)[:, 0]]
    vq = v[np.take_along_axis(edges, 1 - kept[:, None], axis=1)[:, 0]]
    share = np.divide(vp, vp - vq, out=np.zeros_like(vp), where=vp != vq)
    return np.asarray(p + share[:, None] * (q - p))


def _snapped(v: Array, a: IntArray, b: IntArray, new: IntArray) -> IntArray:
    """A crossing at an end that lies on the level is that end itself."""
    return np.where(v[a] == 0.0, a, np.where(v[b] == 0.0, b, new))


def level_curve(surface: Surface, values: ArrayLike, level: float = 0.0) -> list[Array]:
    """Curves where ``values`` (n,) is ``level``, longest first, each (k, 3) in order along the surface.

    A closed curve repeats its first point at its end; one that runs out at a border of the surface does not. The
    side of lower values lies to the left as one walks the curve with the outward normal up.
    """
    v = frozen(values, (len(surface.points_mm),), name="values") - level
    segments, points = _segments(surface, v)
    curves = [_distinct(points[chain]) for chain in _chains(segments)]
    curves = [c for c in curves if len(c) > 1]
    lengths = [float(np.linalg.norm(np.diff(c, axis=0), axis=1).sum()) for c in curves]
    return [curves[i] for i in np.argsort(-np.array(lengths), kind="stable")]


def _segments(surface: Surface, v: Array) -> tuple[IntArray, Array]:
    """Directed pieces (k, 2) of the curve, one a crossed face, and the points they name.

    A point on the level counts as below it, so each crossed edge joins exactly two faces.
    """
    inside = v[surface.faces] <= 0.0
    count = inside.sum(axis=1)
    faces, tip = surface.faces[(count == 1) | (count == 2)], (count == 1)[(count == 1) | (count == 2)]
    inner = v[faces] <= 0.0
    lone = np.where(tip, inner.argmax(axis=1), (~inner).argmax(axis=1))
    a, b, c = np.take_along_axis(faces, (lone[:, None] + np.arange(3)) % 3, axis=1).T
    sides = np.sort(np.concatenate([np.stack([a, b], axis=1), np.stack([a, c], axis=1)]), axis=1)
    unique, back = np.unique(sides.reshape(-1, 2), axis=0, return_inverse=True)
    ab, ac = np.split(back.ravel(), 2)
    start, end = np.where(tip, ab, ac), np.where(tip, ac, ab)
    return np.stack([start, end], axis=1), _crossings(surface.points_mm, v, unique)


def _distinct(curve: Array) -> Array:
    """The curve without points that repeat the one before (where it passes a point of the surface)."""
    fresh = np.ones(len(curve), dtype=bool)
    fresh[1:] = (curve[1:] != curve[:-1]).any(axis=1)
    return curve[fresh]


def _chains(segments: IntArray) -> list[IntArray]:
    """Chains of directed segments (k, 2), open ones from their start, closed ones back to it."""
    following: dict[int, int] = dict(segments.tolist())
    ends = set(following.values())
    heads = [a for a in following if a not in ends]
    chains = []
    while following:
        here = heads.pop() if heads else next(iter(following))
        chain = [here]
        while here in following:
            here = following.pop(here)
            chain.append(here)
        chains.append(np.array(chain, dtype=np.int64))
    return chains
