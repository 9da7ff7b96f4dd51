"""Views of one tooth: from buccal, lingual, mesial, distal and from the apex, fitted to the tooth."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np

from casework.tooth_directions import ToothDirections
from mesh_tools.arrays import Array, unit
from viewer.scene import Scene
from viewer.view import View

ToothSide = Literal["buccal", "lingual", "mesial", "distal", "apex"]
_TITLES: dict[ToothSide, str] = {
    "buccal": "From buccal", "lingual": "From lingual", "mesial": "From mesial", "distal": "From distal",
    "apex": "From the apex",
}  # fmt: skip

_ROOM_MM, _LEAST_HEIGHT_MM = 0.6, 2.0


def compass_of(directions: ToothDirections) -> dict[str, Array]:
    """The tooth's directions by the words that a picture's edge carries."""
    d = directions
    return {"apical": d.apical, "occlusal": -d.apical, "distal": d.distal, "mesial": -d.distal,
            "buccal": d.buccal, "lingual": d.lingual}  # fmt: skip


def tooth_view(
    scene: Scene, directions: ToothDirections, where: ToothSide, *, width_over_height: float,
    column_mm: float = 0.0,
) -> View:  # fmt: skip
    """The view from ``where``, holding every surface, every line's height and ``column_mm`` beside it for texts.

    From the apex lingual is up for an upper tooth and down for a lower one, so that left and right are as seen from
    buccal.
    """
    forward, up = _looking(directions, where)
    bare = View(_TITLES[where], forward, up, np.zeros(3), 1.0, 1.0, close_up=True)
    points = _framed(scene)
    flat = bare.flat(points)
    low, high = flat.min(axis=0), flat.max(axis=0)
    lines = [bare.flat(line.points_mm)[:, 1] for line in scene.lines]
    low[1], high[1] = min([low[1], *(y.min() for y in lines)]), max([high[1], *(y.max() for y in lines)])
    half = 0.5 * (high - low) * (1.04, 1.12) + (column_mm, 0.6)
    half_height = float(max(half[1], half[0] / width_over_height))
    middle = 0.5 * (low + high)
    centre = middle[0] * bare.right + middle[1] * bare.up + bare.depth(points).mean() * bare.forward
    return View(bare.title, forward, up, centre, half_height, half_height * width_over_height, close_up=True)


def estimates_view(
    scene: Scene,
    directions: ToothDirections,
    where: ToothSide,
    *,
    width_over_height: float,
    column_share: float,
) -> View:
    """The close-up from ``where`` that holds every estimate; texts get ``column_share`` of the width on each side."""
    forward, up = _looking(directions, where)
    bare = View(f"{_TITLES[where]}, estimates", forward, up, np.zeros(3), 1.0, 1.0, close_up=True)
    points = np.array([p.at_mm for p in scene.points])
    flat = bare.flat(points)
    low, high = flat.min(axis=0), flat.max(axis=0)
    half = 0.5 * (high - low) + _ROOM_MM
    half_height = float(
        max(half[1], half[0] / (1.0 - 2.0 * column_share) / width_over_height, _LEAST_HEIGHT_MM)
    )
    middle = 0.5 * (low + high)
    centre = middle[0] * bare.right + middle[1] * bare.up + bare.depth(points).mean() * bare.forward
    return View(bare.title, forward, up, centre, half_height, half_height * width_over_height, close_up=True)


def _looking(d: ToothDirections, where: ToothSide) -> tuple[Array, Array]:
    ways: Mapping[ToothSide, Array] = {
        "buccal": -d.buccal, "lingual": d.buccal, "mesial": d.distal, "distal": -d.distal, "apex": -d.apical,
    }  # fmt: skip
    superior = np.asarray(d.apical * np.sign(d.apical[2] or 1.0))
    upright = d.buccal * -np.sign(d.apical[2] or 1.0) if where == "apex" else superior
    return unit(ways[where], name="looking"), np.asarray(upright)


def _framed(scene: Scene) -> Array:
    parts = [s.points_mm[np.unique(s.faces)] for s in scene.surfaces]
    parts += [p.at_mm[None] for p in scene.points] + [a.at_mm[None] for a in scene.arrows]
    parts += [a.at_mm[None] + a.vector_mm for a in scene.arrows]
    return np.concatenate(parts)
