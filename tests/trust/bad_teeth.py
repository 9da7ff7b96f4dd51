"""One good tooth, the demo's 26, and what scanners, viewers and people do to it: bad surfaces and harmless ones."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from demo_meshes import demo_folder
from mesh_tools.arrays import Array, IntArray
from mesh_tools.read import read_surface
from mesh_tools.surface import Surface
from tests.mesh_tools.bad_stl_files import sphere

Spoiled = Callable[[Surface], Surface]


def good_tooth() -> Surface:
    """The demo's tooth 26: LPS, mm."""
    return read_surface(demo_folder() / "molar_26.stl")


def scaled(factor: float) -> Spoiled:
    """In another unit."""
    return lambda tooth: Surface(tooth.points_mm * factor, tooth.faces)


def mirrored(*signs: float) -> Spoiled:
    """With axes turned about or mirrored, faces as they were."""
    return lambda tooth: Surface(tooth.points_mm * np.array(signs), tooth.faces)


def joined(*parts: tuple[Array, IntArray]) -> Surface:
    """Several surfaces as one file."""
    starts = np.cumsum([0, *(len(points) for points, _ in parts)])
    faces = [f + start for (_, f), start in zip(parts, starts[:-1], strict=True)]
    return Surface(np.concatenate([p for p, _ in parts]), np.concatenate(faces))


def two_teeth(tooth: Surface) -> Surface:
    """A tooth and its neighbour."""
    return joined((tooth.points_mm, tooth.faces), (tooth.points_mm + np.array([0.0, 14.0, 0.0]), tooth.faces))


def with_void(tooth: Surface) -> Surface:
    """A pulp: a small shell inside the crown, its faces turned inward."""
    points, faces = sphere(2, 1.0)
    return joined((tooth.points_mm, tooth.faces), (points + _crown_middle(tooth), faces[:, ::-1]))


def with_lump(tooth: Surface) -> Surface:
    """A second piece that sticks out of the crown."""
    points, faces = sphere(2, 2.0)
    side = _crown_middle(tooth) - [6.5, 0.0, 0.0]
    return joined((tooth.points_mm, tooth.faces), (points + side, faces))


def with_tunnel(tooth: Surface) -> Surface:
    """A thin tunnel from mesial to distal, below the furcation: one face of each side out, a tube between them."""
    low, high = tooth.points_mm.min(axis=0), tooth.points_mm.max(axis=0)
    x, z = tooth.points_mm[:, 0].mean(), low[2] + 9.0
    one, other = (int(_nearest(tooth.face_centres_mm, np.array([x, y, z]))) for y in (low[1], high[1]))
    a, b = tooth.faces[one], tooth.faces[other]
    tube = [
        face
        for i in range(3)
        for face in (
            (a[i], a[(i + 1) % 3], b[(-i - 1) % 3]),
            (a[i], b[(-i - 1) % 3], b[-i % 3]),
        )
    ]
    return Surface(tooth.points_mm, np.concatenate([np.delete(tooth.faces, [one, other], axis=0), tube]))


def crossing_itself(tooth: Surface) -> Surface:
    """A spike of the scan from the mesial side right through the distal one."""
    points = tooth.points_mm.copy()
    side = _crown_middle(tooth) - [0.0, 6.0, 0.0]
    points[_nearest(points, side)] += [0.0, 16.0, 0.0]
    return Surface(points, tooth.faces)


def roots_cut(tooth: Surface) -> Surface:
    """The uppermost 6 mm outside the scan's field of view."""
    return tooth.with_faces(tooth.corners_mm[:, :, 2].max(axis=1) < tooth.points_mm[:, 2].max() - 6.0)


def open_crown(tooth: Surface) -> Surface:
    """No chewing surface: an open bowl."""
    return tooth.with_faces(tooth.corners_mm[:, :, 2].min(axis=1) > tooth.points_mm[:, 2].min() + 2.0)


def shuffled(tooth: Surface) -> Surface:
    """Points and faces in another order."""
    dice = np.random.default_rng(1)
    order = dice.permutation(len(tooth.points_mm))
    back = np.argsort(order)
    return Surface(tooth.points_mm[order], back[tooth.faces][dice.permutation(len(tooth.faces))])


def half_turned(tooth: Surface) -> Surface:
    """Every second face wound the other way."""
    odd = (np.arange(len(tooth.faces)) % 2 == 1)[:, None]
    return Surface(tooth.points_mm, np.where(odd, tooth.faces[:, ::-1], tooth.faces))


REFUSED: Mapping[str, tuple[Spoiled, str]] = {
    "metres": (scaled(1e-3), "looks like m; pass --unit m"),
    "centimetres": (scaled(0.1), "looks like cm; pass --unit cm"),
    "decimetres": (scaled(0.01), "looks like dm; pass --unit dm"),
    "inches": (scaled(1 / 25.4), "looks like in; pass --unit in"),
    "micrometres": (scaled(1e3), "looks like um; pass --unit um"),
    "upside down": (mirrored(1.0, -1.0, -1.0), "wrong way up"),
    "left-handed axes": (mirrored(-1.0, 1.0, 1.0), "check the tooth number or the axes code"),
    "left-handed, upside down": (mirrored(1.0, 1.0, -1.0), "wrong way up"),
    "several teeth": (two_teeth, "several teeth in one file"),
    "a lump of its own": (with_lump, "neither a flake nor inside it"),
}
HARMLESS: Mapping[str, Spoiled] = {
    "a void inside": with_void,
    "duplicate faces": lambda t: Surface(t.points_mm, np.concatenate([t.faces, t.faces[:500]])),
    "inside out": lambda t: Surface(t.points_mm, t.faces[:, ::-1]),
    "half turned": half_turned,
    "another order": shuffled,
    "an open crown": open_crown,
    "a tunnel": with_tunnel,
    "crossing faces": crossing_itself,
}


def _crown_middle(tooth: Surface) -> Array:
    middle: Array = tooth.points_mm.mean(axis=0)
    return np.array([middle[0], middle[1], tooth.points_mm[:, 2].min() + 4.0])


def _nearest(points: Array, to: Array) -> int:
    return int(np.argmin(np.linalg.norm(points - to, axis=1)))
