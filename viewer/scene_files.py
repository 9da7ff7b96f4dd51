"""The whole scene for other programs: ``scene.glb`` (glTF 2.0, metres) and ``scene.vtp`` (VTK XML, mm).

The VTK file is one PolyData: surfaces and tubes as polygons, straps and lines of force as lines, marks as vertices.
Each cell carries ``item``, a row of the field arrays ``item_name``, ``item_group``, ``item_role`` (ASCII: VTK asks it).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from mesh_tools.arrays import Array, IntArray
from viewer.glyph_shapes import tube_shape
from viewer.scene import Item, LineItem, PointItem, Scene, SurfaceItem, WireItem
from viewer.scene_gltf import scene_glb

_PLAIN = str.maketrans({"°": " deg", "×": "x", "\N{MINUS SIGN}": "-", "’": "'"})


def write_scene_files(scene: Scene, folder: Path) -> list[str]:
    """Write both files into ``folder``; returns their names. Raises ModuleNotFoundError without pyvista."""
    (folder / "scene.glb").write_bytes(scene_glb(scene))
    scene_polydata(scene).save(folder / "scene.vtp")
    return ["scene.glb", "scene.vtp"]


def scene_polydata(scene: Scene) -> Any:
    """The scene as one ``pyvista.PolyData`` in the treatment frame, mm."""
    import pyvista as pv

    shown = [
        item for item in scene.items() if isinstance(item, SurfaceItem | WireItem | LineItem | PointItem)
    ]
    points, start = list[Array](), 0
    cells: dict[str, list[IntArray]] = {"verts": [], "lines": [], "faces": []}
    owner: dict[str, list[int]] = {kind: [] for kind in cells}
    for number, item in enumerate(shown):
        kind, places, rows = _drawn(item)
        points.append(places)
        sizes = np.full((len(rows), 1), rows.shape[1])
        cells[kind].append(np.hstack([sizes, rows + start]).ravel())
        owner[kind] += [number] * len(rows)
        start += len(places)
    given: dict[str, Any] = {kind: np.concatenate(rows) for kind, rows in cells.items() if rows}
    mesh = pv.PolyData(np.concatenate([*points, np.zeros((0, 3))]), **given)
    mesh.cell_data["item"] = np.array([n for kind in cells for n in owner[kind]], dtype=np.int32)
    for key in ("name", "group", "role"):
        mesh.field_data[f"item_{key}"] = [_ascii(getattr(item, key)) for item in shown]
    return mesh


def _ascii(text: str) -> str:
    """``text`` in the letters that VTK's string arrays take."""
    plain = text.translate(_PLAIN)
    return plain.encode("ascii", "replace").decode("ascii")


def _drawn(item: Item) -> tuple[str, Array, IntArray]:
    """Kind of cell, points (n, 3) and cells (m, k) of one item."""
    if isinstance(item, SurfaceItem):
        return "faces", item.points_mm, item.faces
    if isinstance(item, WireItem):
        points, faces = tube_shape(item.points_mm, radius_mm=0.5 * item.diameter_mm)
        return "faces", points, faces
    if isinstance(item, LineItem):
        return "lines", item.points_mm, np.arange(len(item.points_mm))[None]
    assert isinstance(item, PointItem)
    return "verts", item.at_mm[None], np.zeros((1, 1), dtype=np.int64)
