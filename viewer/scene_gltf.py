"""A typed scene as one binary glTF 2.0 file in memory: a node an item, what a person may switch in its ``extras``.

Format: Khronos Group, glTF 2.0 specification (ISO/IEC 12113:2022): little-endian, metres, +Y up, +Z forward, -X right.
Coordinates are kept in mm of the scene's frame (LPS, z the occlusal plane's normal) inside the nodes; the root node
carries the turn and the scale to the standard's axes, so that any reader shows the patient upright and to size.
"""

from __future__ import annotations

import json
import struct
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mesh_tools.arrays import Array, IntArray
from viewer.glyph_shapes import dashed_tube, glyph_shape, tube_shape
from viewer.palette import Role, look
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

ROOT = "patient"
TO_GLTF_AXES = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])
_MM = 1.0e-3
_GLB_MAGIC, _JSON_CHUNK, _BIN_CHUNK = 0x46546C67, 0x4E4F534A, 0x004E4942
_FLOAT, _UINT, _ARRAY_BUFFER, _INDEX_BUFFER = 5126, 5125, 34962, 34963
_LINE_RADIUS_MM_PER_PX = 0.11
_DASH_MM = 3.0
_DIMENSION_RADIUS_MM = 0.12
_SMOOTH_GLYPHS = ("sphere", "ring")
_ACROSS = np.array([1.0, 0.0, 0.0])


@dataclass(frozen=True, eq=False)
class Shape:
    """A mesh to write: points (n, 3), faces (m, 3), unit normals (n, 3) or None for facets, colours (n, 3) or None."""

    points_mm: Array
    faces: IntArray
    normals: Array | None = None
    colours: Array | None = None


@dataclass
class _Writer:
    """The glTF document as it grows: its JSON lists and its binary chunk."""

    nodes: list[dict[str, Any]] = field(default_factory=list)
    meshes: list[dict[str, Any]] = field(default_factory=list)
    accessors: list[dict[str, Any]] = field(default_factory=list)
    views: list[dict[str, Any]] = field(default_factory=list)
    materials: dict[tuple[Any, ...], int] = field(default_factory=dict)
    looks: list[dict[str, Any]] = field(default_factory=list)
    chunks: list[bytes] = field(default_factory=list)
    size: int = 0

    def view(self, data: bytes, target: int) -> int:
        """Index of a new buffer view over ``data``, at a multiple of four bytes."""
        padded = data + b"\0" * (-len(data) % 4)
        self.views.append({"buffer": 0, "byteOffset": self.size, "byteLength": len(data), "target": target})
        self.chunks.append(padded)
        self.size += len(padded)
        return len(self.views) - 1

    def vectors(self, values: NDArray[Any], *, bounds: bool = False) -> int:
        """Index of an accessor of float vectors (n, 3)."""
        small = np.ascontiguousarray(values, dtype="<f4")
        entry: dict[str, Any] = {
            "bufferView": self.view(small.tobytes(), _ARRAY_BUFFER),
            "componentType": _FLOAT, "count": len(small), "type": "VEC3",
        }  # fmt: skip
        if bounds:
            entry |= {"min": small.min(axis=0).tolist(), "max": small.max(axis=0).tolist()}
        self.accessors.append(entry)
        return len(self.accessors) - 1

    def indices(self, faces: IntArray) -> int:
        """Index of an accessor of the corners of ``faces`` (m, 3)."""
        flat = np.ascontiguousarray(faces, dtype="<u4").reshape(-1)
        view = self.view(flat.tobytes(), _INDEX_BUFFER)
        self.accessors.append(
            {"bufferView": view, "componentType": _UINT, "count": len(flat), "type": "SCALAR"}
        )
        return len(self.accessors) - 1

    def material(self, role: Role, opacity: float, *, own_colours: bool) -> int:
        """Index of the material of ``role`` at ``opacity``."""
        key = (role, round(opacity, 3), own_colours)
        if key not in self.materials:
            self.materials[key] = len(self.looks)
            self.looks.append(_material(role, opacity, own_colours=own_colours))
        return self.materials[key]

    def mesh(self, item: Item, shape: Shape) -> int:
        """Index of a new mesh of one primitive."""
        attributes = {"POSITION": self.vectors(shape.points_mm, bounds=True)}
        if shape.normals is not None:
            attributes["NORMAL"] = self.vectors(shape.normals)
        if shape.colours is not None:
            attributes["COLOR_0"] = self.vectors(_linear(shape.colours))
        primitive = {
            "attributes": attributes,
            "indices": self.indices(shape.faces),
            "material": self.material(item.role, item.opacity, own_colours=shape.colours is not None),
            "mode": 4,
        }
        self.meshes.append({"name": item.name, "primitives": [primitive]})
        return len(self.meshes) - 1


def scene_glb(scene: Scene, *, facing: Array = _ACROSS) -> bytes:
    """``scene`` as the bytes of a ``.glb`` file; rings face along ``facing`` (3,), by default across the patient."""
    writer = _Writer()
    for item in scene.items():
        node: dict[str, Any] = {"name": item.name, "extras": item_extras(item)}
        shape = item_shape(item, facing=facing)
        if shape is not None and len(shape.faces):
            node["mesh"] = writer.mesh(item, shape)
        writer.nodes.append(node)
    return _glb(_document(writer, scene), b"".join(writer.chunks))


def item_extras(item: Item) -> dict[str, Any]:
    """What a page needs of ``item`` beside its shape: kind, group, role, side, text and where the text stands."""
    extras: dict[str, Any] = {
        "kind": type(item).__name__.removesuffix("Item").lower(), "item": item.name, "group": item.group,
        "role": item.role, "opacity": item.opacity, "ink": look(item.role).text,
    }  # fmt: skip
    if item.side is not None:
        extras["side"] = item.side
    if item.hidden_at_first:
        extras["hidden"] = True
    return extras | _text_extras(item)


def _text_extras(item: Item) -> dict[str, Any]:
    match item:
        case LabelItem():
            return {"text": item.text, "at": item.at_mm.tolist(), "close_up": item.close_up}
        case DimensionItem():
            return {"text": item.text, "at": (0.5 * (item.from_mm + item.to_mm)).tolist(), "close_up": True}
        case PointItem():
            return {"text": item.name, "at": item.at_mm.tolist(), "close_up": True, "glyph": item.glyph}
        case ArrowItem():
            return {"text": item.text, "at": (item.at_mm + item.vector_mm).tolist(), "close_up": True}
        case _:
            return {}


def item_shape(item: Item, *, facing: Array = _ACROSS) -> Shape | None:
    """The mesh that shows ``item`` at its true size in mm; None for a text."""
    match item:
        case SurfaceItem():
            return _surface(item)
        case WireItem():
            return _tube(item.points_mm, radius_mm=0.5 * item.diameter_mm, role=item.role)
        case LineItem():
            radius = max(_LINE_RADIUS_MM_PER_PX * look(item.role).width_px, 0.15)
            return _tube(item.points_mm, radius_mm=radius, role=item.role)
        case DimensionItem():
            ends = np.array([item.from_mm, item.to_mm])
            return None if np.allclose(*ends) else smooth(*tube_shape(ends, radius_mm=_DIMENSION_RADIUS_MM))
        case ArrowItem():
            return _arrow(item)
        case PointItem():
            points, faces = glyph_shape(item.glyph, size_mm=item.size_mm, facing=facing)
            lit = smooth if item.glyph in _SMOOTH_GLYPHS else facets
            return lit(points + item.at_mm, faces)
        case _:
            return None


def smooth(points: Array, faces: IntArray) -> Shape:
    """The mesh lit as one smooth surface: normals are means over the faces, weighted by area."""
    corners = points[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    each = np.stack(
        [np.bincount(faces.reshape(-1), np.repeat(normal[:, k], 3), len(points)) for k in range(3)], axis=-1
    )
    length = np.linalg.norm(each, axis=1, keepdims=True)
    lost = length[:, 0] < 1e-30
    normals = np.asarray(each / np.where(length < 1e-30, 1.0, length), dtype=np.float64)
    normals[lost] = (0.0, 0.0, 1.0)
    return Shape(points, faces, normals)


def facets(points: Array, faces: IntArray) -> Shape:
    """The mesh lit facet by facet: no normals, which the standard defines as flat."""
    return Shape(points, faces)


def _surface(item: SurfaceItem) -> Shape:
    points, faces = np.asarray(item.points_mm), np.asarray(item.faces)
    whole = smooth(points, faces)
    if item.face_colours is None or whole.normals is None:
        return whole
    corners = faces.reshape(-1)
    apart = np.arange(len(corners)).reshape(-1, 3)
    return Shape(points[corners], apart, whole.normals[corners], np.repeat(item.face_colours, 3, axis=0))


def _tube(points: Array, *, radius_mm: float, role: Role) -> Shape:
    if look(role).dashed:
        return smooth(*dashed_tube(points, radius_mm=0.6 * radius_mm, dash_mm=_DASH_MM))
    return smooth(*tube_shape(points, radius_mm=radius_mm))


def _arrow(item: ArrowItem) -> Shape | None:
    length = float(np.linalg.norm(item.vector_mm))
    if length < 1e-9:
        return None
    radius = min(0.45, 0.1 * length)
    head = min(0.4 * length, 6.0 * radius)
    s = np.array([0.0, 1.0 - head / length, 1.0 - head / length + 1e-6, 1.0])
    stations = item.at_mm + s[:, None] * item.vector_mm
    return facets(*tube_shape(stations, radius_mm=np.array([radius, radius, 2.4 * radius, 0.01])))


def _linear(srgb: Array) -> Array:
    """Linear light of sRGB values 0 to 1, which the standard asks of colours (IEC 61966-2-1)."""
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


def _material(role: Role, opacity: float, *, own_colours: bool) -> dict[str, Any]:
    colour = look(role).colour
    rgb = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255.0
    base = [1.0, 1.0, 1.0] if own_colours else _linear(rgb).tolist()
    material: dict[str, Any] = {
        "name": role, "doubleSided": True,
        "pbrMetallicRoughness": {"baseColorFactor": [*base, opacity], "metallicFactor": 0.0, "roughnessFactor": 0.65},
    }  # fmt: skip
    return material | ({"alphaMode": "BLEND"} if opacity < 1.0 else {})


def _document(writer: _Writer, scene: Scene) -> dict[str, Any]:
    turn = np.eye(4)
    turn[:3, :3] = _MM * TO_GLTF_AXES
    children = list(range(len(writer.nodes)))
    root: dict[str, Any] = {"name": ROOT, "matrix": turn.T.reshape(-1).tolist()}
    if children:
        root["children"] = children
    lists = {
        "meshes": writer.meshes, "accessors": writer.accessors, "bufferViews": writer.views,
        "materials": writer.looks, "buffers": [{"byteLength": writer.size}] if writer.size else [],
    }  # fmt: skip
    return {
        "asset": {"version": "2.0", "generator": "bowtrue"},
        "scene": 0,
        "scenes": [{"name": scene.title, "nodes": [len(writer.nodes)]}],
        "nodes": [*writer.nodes, root],
        **{name: entries for name, entries in lists.items() if entries},
    }


def _glb(document: dict[str, Any], binary: bytes) -> bytes:
    """Header, JSON chunk padded with spaces, binary chunk padded with zeros (section 4.4 of the standard)."""
    text = json.dumps(document, separators=(",", ":"), allow_nan=False).encode("utf-8")
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<II", len(text), _JSON_CHUNK) + text
    if binary:
        chunks += struct.pack("<II", len(binary), _BIN_CHUNK) + binary
    return struct.pack("<III", _GLB_MAGIC, 2, 12 + len(chunks)) + chunks
