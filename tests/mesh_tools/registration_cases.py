"""Scans to register: the invented ones of the demo, and what a scanner does to them: noise, crops, another frame."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from demo_meshes import demo_folder
from mesh_tools.arrays import Array
from mesh_tools.axes import to_lps
from mesh_tools.read import read_surface
from mesh_tools.registration.motion import RigidMotion, turned
from mesh_tools.repair import repaired
from mesh_tools.surface import Surface

OPEN_MESHES = Path(__file__).parents[3] / "shared" / "meshes"
_AXES = {"molar_16": "RAS", "molar_26": "LPS", "arch": "LSA", "face": "LSA"}


@cache
def demo_scan(name: str) -> Surface:
    """A scan of the demo case, LPS mm."""
    return repaired(to_lps(read_surface(demo_folder() / f"{name}.stl"), _AXES[name])).surface


@cache
def open_scan(path: str) -> Surface:
    """A repaired open mesh in its own axes, mm."""
    return repaired(read_surface(OPEN_MESHES / path)).surface


def noisy(surface: Surface, sd_mm: float, seed: int = 0) -> Surface:
    """Every point moved at random, standard deviation ``sd_mm`` per coordinate."""
    rng = np.random.default_rng(seed)
    return surface.mapped(lambda p: p + sd_mm * rng.normal(size=p.shape))


def cropped(surface: Surface, *, axis: int, share: float) -> Surface:
    """The faces in the lower ``share`` along ``axis``."""
    along = surface.face_centres_mm[:, axis]
    return surface.with_faces(along < np.quantile(along, share))


def mirror(surface: Surface) -> Surface:
    """The mirror image, normals still outward."""
    return surface.moved(np.diag([-1.0, 1.0, 1.0]))


def a_motion(seed: int = 0, *, turn_deg: float | None = None, shift_mm: float = 90.0) -> RigidMotion:
    """A motion about the origin with a random axis and way."""
    rng = np.random.default_rng(seed)
    axis, way = (v / np.linalg.norm(v) for v in rng.normal(size=(2, 3)))
    angle = rng.uniform(0.3, np.pi) if turn_deg is None else np.radians(turn_deg)
    return RigidMotion(turned(angle * axis)[0], shift_mm * way)


def wrong_start(surface: Surface, *, turn_deg: float, shift_mm: float, seed: int = 0) -> RigidMotion:
    """A start that is wrong by a turn about the surface's middle and a shift."""
    middle: Array = surface.points_mm.mean(axis=0)
    m = a_motion(seed, turn_deg=turn_deg, shift_mm=shift_mm)
    return RigidMotion(m.rotation, middle - m.rotation @ middle + m.shift_mm)
