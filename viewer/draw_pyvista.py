"""Draws one view of a scene with pyvista into an array of pixels. Call it only after ``drawing_probe`` said yes."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mesh_tools.arrays import Array, IntArray
from viewer.drawing_probe import WINDOW_KEY
from viewer.glyph_shapes import dashed_tube, glyph_shape, tube_shape
from viewer.palette import look
from viewer.scene import ArrowItem, LineItem, PointItem, Scene, SurfaceItem, WireItem
from viewer.see_through import Piece, flat_piece, joined, smooth_piece, sorted_by_depth
from viewer.view import View, opacity_in

_LOOK = {"ambient": 0.38, "diffuse": 0.72, "specular": 0.12, "specular_power": 12}


def picture(
    scene: Scene, view: View, *, width_px: int, height_px: int, window: str = ""
) -> NDArray[np.uint8]:
    """Pixels (height, width, 3) of ``scene`` seen from ``view`` on a white ground, ``window`` as the probe found it."""
    with _window_kind(window):
        import pyvista as pv

        plotter: Any = pv.Plotter(off_screen=True, window_size=[2 * width_px, 2 * height_px], lighting="none")
        try:
            plotter.set_background("white")
            _light(plotter, view)
            for piece in _pieces(scene, view):
                _add_piece(plotter, piece)
            _aim(plotter, view)
            plotter.disable_anti_aliasing()
            large = np.array(plotter.screenshot(return_img=True))[..., :3]
            return _halved(large)
        finally:
            plotter.close()


def _pieces(scene: Scene, view: View) -> Iterator[Piece]:
    """Everything opaque as one mesh, then everything one can see through, sorted."""
    meshes = [
        _piece(item, view, *mesh)
        for item in scene.items()
        if view.shows(item)
        for mesh in _meshes(item, view)
    ]
    opaque = [m for m in meshes if m.opaque]
    glassy = [m for m in meshes if not m.opaque]
    if opaque:
        yield joined(opaque)
    if glassy:
        yield sorted_by_depth(joined(glassy), view)


def _halved(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Means of 2 x 2 blocks: smooth edges on every machine, whatever its multisampling."""
    wide = pixels[: pixels.shape[0] // 2 * 2, : pixels.shape[1] // 2 * 2].astype(np.uint16)
    total = wide[0::2, 0::2] + wide[1::2, 0::2] + wide[0::2, 1::2] + wide[1::2, 1::2]
    return ((total + 2) >> 2).astype(np.uint8)


@contextmanager
def _window_kind(window: str) -> Iterator[None]:
    before = os.environ.get(WINDOW_KEY)
    if window:
        os.environ[WINDOW_KEY] = window
    try:
        yield
    finally:
        if window and before is None:
            del os.environ[WINDOW_KEY]
        elif window and before is not None:
            os.environ[WINDOW_KEY] = before


def _aim(plotter: Any, view: View) -> None:
    plotter.camera.position = view.centre_mm - 1000.0 * view.forward
    plotter.camera.focal_point = view.centre_mm
    plotter.camera.up = view.up
    plotter.enable_parallel_projection()
    plotter.camera.parallel_scale = view.half_height_mm
    plotter.camera.clipping_range = (100.0, 2000.0)


def _light(plotter: Any, view: View) -> None:
    import pyvista as pv

    for toward, strength in (
        (-view.forward + 0.7 * view.up - 0.5 * view.right, 0.75),
        (-view.forward - 0.3 * view.up + 0.9 * view.right, 0.30),
    ):
        plotter.add_light(pv.Light(position=view.centre_mm + 800.0 * toward, focal_point=view.centre_mm,
                                   intensity=strength, light_type="scene light"))  # fmt: skip


def _meshes(item: Any, view: View) -> Iterator[tuple[Array, IntArray, bool]]:
    """Points, faces and whether it is lit as a smooth surface, of each mesh that shows ``item``."""
    match item:
        case SurfaceItem():
            yield item.points_mm, item.faces, True
        case WireItem() | LineItem():
            yield *_tube(item, view), True
        case ArrowItem():
            yield from _arrow(item, view)
        case PointItem():
            points, faces = glyph_shape(item.glyph, size_mm=shown_size_mm(item, view), facing=view.forward)
            yield points + item.at_mm, faces, item.glyph in ("sphere", "ring")
        case _:
            pass


def _wire_radius_mm(item: WireItem, view: View) -> float:
    """The wire's own radius, thinner for a dashed look, never too thin to be seen in a wide view."""
    own = 0.5 * item.diameter_mm * (0.5 if look(item.role).dashed else 1.0)
    return max(own, 0.0024 * view.half_height_mm * look(item.role).width_px)


def shown_size_mm(item: PointItem, view: View) -> float:
    """Size of a glyph: its own in a close-up, larger in a wide view so that it is still seen."""
    return item.size_mm * float(max(1.0, (view.half_height_mm / 16.0) ** 0.75))


def _arrow(item: ArrowItem, view: View) -> Iterator[tuple[Array, IntArray, bool]]:
    radius = 0.0016 * view.half_height_mm * look(item.role).width_px
    head = min(0.35 * float(np.linalg.norm(item.vector_mm)), 9.0 * radius)
    way = item.vector_mm / max(float(np.linalg.norm(item.vector_mm)), 1e-9)
    tip = item.at_mm + item.vector_mm
    yield *tube_shape(np.array([item.at_mm, tip - head * way]), radius_mm=radius), True
    yield *tube_shape(np.array([tip - head * way, tip]), radius_mm=np.array([3.2 * radius, 0.01])), False


def _tube(item: WireItem | LineItem, view: View) -> tuple[Array, IntArray]:
    """The tube that shows a wire or a line, in dashes that suit the view when its role is dashed."""
    width = look(item.role).width_px * view.half_height_mm
    radius = _wire_radius_mm(item, view) if isinstance(item, WireItem) else 0.0023 * width
    if not look(item.role).dashed:
        return tube_shape(item.points_mm, radius_mm=radius)
    return dashed_tube(
        item.points_mm, radius_mm=radius, dash_mm=max(0.045 * view.half_height_mm, 7.0 * radius)
    )


def _piece(item: Any, view: View, points: Array, faces: IntArray, smooth: bool) -> Piece:
    """The mesh with the colour of each of its faces, and with the normals it is lit by."""
    colours = np.empty((len(faces), 4))
    own = item.face_colours if isinstance(item, SurfaceItem) else None
    colours[:, :3] = _rgb(look(item.role).colour) if own is None else own
    colours[:, 3] = opacity_in(item, view)
    return (smooth_piece if smooth else flat_piece)(points, faces, colours)


def _rgb(colour: str) -> Array:
    """Red, green, blue (3,), 0 to 1, of "#RRGGBB"."""
    return np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255.0


def _add_piece(plotter: Any, piece: Piece) -> None:
    import pyvista as pv

    faces: Any = np.array(piece.faces)
    mesh = pv.PolyData.from_regular_faces(np.array(piece.points_mm), faces)
    mesh.point_data.active_normals = piece.normals
    mesh.cell_data["colours"] = np.round(255.0 * piece.colours).astype(np.uint8)
    plotter.add_mesh(mesh, scalars="colours", rgba=True, smooth_shading=True, **_LOOK)
