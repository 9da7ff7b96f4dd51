"""Teeth made for the anatomy tests: star-shaped, with a cervical line known from the formula, and an STL
door."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree

from mesh_tools.anatomy.frame import facial_direction, mesial_direction
from mesh_tools.arrays import Array, IntArray
from mesh_tools.fdi import ToothNumber
from mesh_tools.surface import Surface

SHARED_TEETH = Path(__file__).parents[3] / "shared" / "meshes" / "teeth"


def single_root(
    fdi: int,
    *,
    crown_mm: float = 9.5,
    root_mm: float = 13.0,
    deep_mm: float = 6.0,
    wide_mm: float = 5.5,
    wave_mm: float = 1.5,
    step_mm: float = 0.6,
    edge_mm: float = 0.12,
    flat: float = 0.75,
    columns: int = 120,
    rows: int = 120,
) -> tuple[Surface, Array]:
    """A single-rooted tooth in LPS and its cervical line (360, 3).

    The root is half a spheroid; from the line on the crown stands off by up to ``step_mm``, over 1 mm, its
    edge
    rounded over ``edge_mm``. The line dips ``wave_mm`` towards the incisal edge mesially and distally.
    ``flat``
    is how much of its depth the crown loses towards the edge.
    """
    angle = np.linspace(0.0, 2.0 * np.pi, columns, endpoint=False)
    height = (crown_mm + root_mm) * 0.5 * (1.0 - np.cos(np.pi * (np.arange(1, rows) / rows)))
    sizes = {"crown_mm": crown_mm, "root_mm": root_mm, "deep_mm": deep_mm, "wide_mm": wide_mm, "flat": flat}
    shape = {"wave_mm": wave_mm, "step_mm": step_mm, "edge_mm": edge_mm}
    grid_h, grid_a = np.meshgrid(height, angle, indexing="ij")
    wall = _wall(grid_a, grid_h, **sizes, **shape)
    ends = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, crown_mm + root_mm]])
    points = np.concatenate([wall.reshape(-1, 3), ends])
    around = np.linspace(0.0, 2.0 * np.pi, 360, endpoint=False)
    line = _wall(around, _line(around, crown_mm, wave_mm), **sizes, **shape)
    axes = _axes(fdi)
    return _outward(points @ axes, _faces(rows - 1, columns)), line @ axes


def _line(angle: Array, crown_mm: float, wave_mm: float) -> Array:
    return crown_mm - wave_mm * np.sin(angle) ** 2


def _wall(
    angle: Array, height: Array, *, crown_mm: float, root_mm: float, deep_mm: float, wide_mm: float,
    flat: float, wave_mm: float, step_mm: float, edge_mm: float,
) -> Array:  # fmt: skip
    down = np.clip((height - crown_mm) / root_mm, 0.0, 1.0)
    root = np.sqrt(1.0 - down**2)
    above = _line(angle, crown_mm, wave_mm) - height
    enamel = edge_mm * np.logaddexp(0.0, above / edge_mm)
    stand_off = step_mm * (1.0 - np.exp(-enamel))
    end = np.sqrt(np.clip(1.0 - (1.0 - np.clip(height / 2.0, 0.0, 1.0)) ** 2, 0.0, 1.0))
    radius = 1.0 - flat * np.clip(1.0 - height / (0.9 * crown_mm), 0.0, 1.0) ** 1.5
    b = (0.5 * deep_mm * root * radius + stand_off * (1.0 - 0.6 * (1.0 - radius))) * np.cos(angle) * end
    m = (0.5 * wide_mm * root + 1.6 * stand_off) * np.sin(angle) * end
    return np.stack([b, m, height + 0.0 * angle], axis=-1)


def _faces(rows: int, columns: int) -> IntArray:
    i, j = np.meshgrid(np.arange(rows - 1), np.arange(columns), indexing="ij")
    a, b = i * columns + j, i * columns + (j + 1) % columns
    c, d = a + columns, b + columns
    quads = np.concatenate([np.stack([a, b, c], axis=-1), np.stack([b, d, c], axis=-1)]).reshape(-1, 3)
    ring, nxt = np.arange(columns), (np.arange(columns) + 1) % columns
    first, last = rows * columns, rows * columns + 1
    top = (rows - 1) * columns
    caps = [np.stack([nxt, ring, np.full(columns, first)], axis=1)]
    caps.append(np.stack([top + ring, top + nxt, np.full(columns, last)], axis=1))
    return np.concatenate([quads, *caps])


def _axes(fdi: int) -> Array:
    tooth = ToothNumber(fdi)
    up = np.array([0.0, 0.0, float(tooth.apical_sign)])
    return np.stack([facial_direction(tooth), mesial_direction(tooth), up])


def _outward(points: Array, faces: IntArray) -> Surface:
    a, b, c = np.moveaxis(points[faces], 1, 0)
    inside_out = np.einsum("ij,ij->", a, np.cross(b, c)) < 0
    return Surface(points, faces[:, ::-1] if inside_out else faces)


def open_tooth(name: str) -> Surface:
    """One of the shared open teeth (file axes LSA) in LPS, its largest shell only."""
    return largest_shell(read_lsa(SHARED_TEETH / f"{name}_mm_12k.stl"))


def read_lsa(path: Path) -> Surface:
    """A binary STL with file axes LSA, in LPS, coincident points merged."""
    data = path.read_bytes()
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("pad", "<u2")])
    corners = np.frombuffer(data[84:], dtype=record)["corners"].reshape(-1, 3).astype(np.float64)
    points, faces = np.unique(corners, axis=0, return_inverse=True)
    return Surface(from_lsa(points), faces.reshape(-1, 3))


def from_lsa(points: Array) -> Array:
    """LPS coordinates of points in LSA (+x left, +y up, +z forward)."""
    return np.stack([points[:, 0], -points[:, 2], points[:, 1]], axis=1)


def largest_shell(surface: Surface) -> Surface:
    """The connected part with most faces' extent: drops inner voids."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    pairs = np.concatenate([surface.faces[:, [0, 1]], surface.faces[:, [1, 2]]])
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=2 * (len(surface.points_mm),))
    count, label = connected_components(graph, directed=False)
    sizes = [np.prod(np.ptp(surface.points_mm[label == k], axis=0)) for k in range(count)]
    return surface.with_faces(label[surface.faces[:, 0]] == int(np.argmax(sizes)))


def apart(one: Array, two: Array) -> float:
    """Mean distance between two closed curves, the larger of both ways, mm."""
    a, b = _dense(one), _dense(two)
    return float(max(cKDTree(b).query(a)[0].mean(), cKDTree(a).query(b)[0].mean()))


def _dense(curve: Array) -> Array:
    ahead = np.roll(curve, -1, axis=0)
    return np.concatenate([curve + t * (ahead - curve) for t in np.arange(10) / 10])
