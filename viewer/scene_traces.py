"""A scene as the traces and annotations of the page's drawing library (plain trees, arrays packed as base64)."""

from __future__ import annotations

import base64
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mesh_tools.arrays import Array
from viewer.glyph_shapes import dashed_tube, glyph_shape, tube_shape
from viewer.palette import WIDE_ROLES, look
from viewer.scene import (
    ArrowItem,
    DimensionItem,
    Item,
    LabelItem,
    LineItem,
    PointItem,
    Scene,
    SurfaceItem,
    WireItem,
)

Trace = dict[str, Any]
_DASH_MM = 4.0
_LIGHT = {"x": -2000, "y": 3000, "z": -10}  # in the eye's space: left, up and towards whoever looks


def traces_of(scene: Scene) -> list[Trace]:
    """One trace an item that has a shape; ``meta`` holds its group and side."""
    return [trace for item in scene.items() if (trace := _trace(item)) is not None]


def _trace(item: Item) -> Trace | None:
    match item:
        case SurfaceItem():
            return _coloured(_mesh(item, item.points_mm, item.faces), item.face_colours)
        case WireItem():
            if look(item.role).dashed:
                return _mesh(
                    item, *dashed_tube(item.points_mm, radius_mm=0.35 * item.diameter_mm, dash_mm=_DASH_MM)
                )
            return _mesh(item, *tube_shape(item.points_mm, radius_mm=0.5 * item.diameter_mm))
        case PointItem():
            facing = np.array([1.0, 0.0, 0.0])
            points, faces = glyph_shape(item.glyph, size_mm=item.size_mm, facing=facing)
            return _mesh(item, points + item.at_mm, faces)
        case ArrowItem():
            return _mesh(item, *_arrow_shape(item))
        case LineItem():
            return _line(item, item.points_mm)
        case DimensionItem():
            return _line(item, np.array([item.from_mm, item.to_mm]))
        case _:
            return None


def _arrow_shape(item: ArrowItem) -> tuple[Array, NDArray[np.int64]]:
    length = float(np.linalg.norm(item.vector_mm))
    neck = max(1.0 - 2.2 / max(length, 1e-9), 0.5)
    stations = item.at_mm + np.outer([0.0, neck, neck + 1e-3, 1.0], item.vector_mm)
    return tube_shape(stations, radius_mm=np.array([0.3, 0.3, 0.9, 0.01]))


def _mesh(item: Item, points: Array, faces: NDArray[np.int64]) -> Trace:
    x, y, z = (packed(c, "f4") for c in np.asarray(points).T)
    i, j, k = (packed(c, "i4") for c in np.asarray(faces).T)
    return {
        "type": "mesh3d", "x": x, "y": y, "z": z, "i": i, "j": j, "k": k, **_common(item),
        "color": look(item.role).colour, "opacity": item.opacity, "flatshading": False,
        "lightposition": _LIGHT,
        "lighting": {"ambient": 0.62, "diffuse": 0.6, "specular": 0.12, "roughness": 0.7, "fresnel": 0.05},
    }  # fmt: skip


def _coloured(trace: Trace, face_colours: Array | None) -> Trace:
    """The mesh with a colour of its own for each face, when there are some."""
    if face_colours is None:
        return trace
    levels = np.round(255.0 * face_colours).astype(int).tolist()
    return {**trace, "facecolor": [f"#{r:02x}{g:02x}{b:02x}" for r, g, b in levels]}


def _line(item: Item, points: Array) -> Trace:
    style = look(item.role)
    x, y, z = (packed(c, "f4") for c in np.asarray(points).T)
    return {
        "type": "scatter3d", "mode": "lines", "x": x, "y": y, "z": z, **_common(item), "opacity": item.opacity,
        "line": {"color": style.colour, "width": 1.6 * style.width_px, "dash": "dash" if style.dashed else "solid"},
    }  # fmt: skip


def _common(item: Item) -> Trace:
    return {
        "name": item.name, "hovertemplate": f"{item.name}<extra></extra>", "showlegend": False,
        "visible": not item.hidden_at_first, "meta": {"group": item.group, "side": item.side or ""},
    }  # fmt: skip


def packed(values: NDArray[Any], kind: str) -> dict[str, str]:
    """An array as the library's typed-array tree: little-endian bytes in base64."""
    data = np.ascontiguousarray(values, dtype=np.dtype(kind).newbyteorder("<")).tobytes()
    return {"dtype": kind, "bdata": base64.b64encode(data).decode("ascii")}


def notes_of(scene: Scene) -> list[dict[str, Any]]:
    """Every text of the scene with its place; the page puts them in columns so that none covers another."""
    named = set(map(id, scene.named_points()))
    found = []
    for item in scene.items():
        match item:
            case PointItem() if id(item) in named:
                found.append(_note(item, "\n".join(filter(None, (item.name, item.detail))), item.at_mm))
            case LabelItem():
                found.append(_note(item, item.text, item.at_mm))
            case ArrowItem():
                found.append(_note(item, item.text, item.at_mm + 0.6 * item.vector_mm))
            case DimensionItem():
                found.append(_note(item, item.text, 0.5 * (item.from_mm + item.to_mm)))
            case _:
                pass
    return found


def _note(item: Item, text: str, at: Array) -> dict[str, Any]:
    style = look(item.role)
    return {
        "text": text, "x": round(float(at[0]), 3), "y": round(float(at[1]), 3), "z": round(float(at[2]), 3),
        "group": item.group, "side": item.side or "",
        "wide": isinstance(item, PointItem) and item.role in WIDE_ROLES, "colour": style.text, "border": style.colour,
    }  # fmt: skip
