"""The same scene in a desktop window of pyvista: turn it with the mouse; keys r, l, f, a give the four views."""

from __future__ import annotations

from typing import Any

import numpy as np

from mesh_tools.errors import BowtrueError
from viewer.palette import look
from viewer.scene import Scene
from viewer.scene_gltf import item_shape
from viewer.view import view_from

_SIZE = (1280, 800)
_VIEWS = {"r": "right", "l": "left", "f": "front", "a": "above"}


class NoWindowError(BowtrueError, RuntimeError):
    """This machine cannot open a window."""


def show_window(scene: Scene, *, off_screen: bool = False) -> Any:
    """Open the window and wait until it is closed; ``off_screen`` draws once and gives the plotter back."""
    from viewer.drawing_probe import drawing_probe

    if drawing_probe().window is None:
        raise NoWindowError("this machine cannot draw in 3D; use bowtrue page without --window.")
    plotter = plotter_of(scene, off_screen=off_screen)
    aim(plotter, scene, "right")
    for key, where in _VIEWS.items():
        plotter.add_key_event(key, lambda w=where: aim(plotter, scene, w))
    plotter.show(auto_close=not off_screen)
    return plotter


def plotter_of(scene: Scene, *, off_screen: bool) -> Any:
    """A pyvista plotter with every item that is shown at first, in its role's colour."""
    import pyvista as pv

    plotter: Any = pv.Plotter(off_screen=off_screen, window_size=list(_SIZE), title=scene.title)
    plotter.set_background("white")
    for item in scene.items():
        shape = None if item.hidden_at_first else item_shape(item)
        if shape is None or not len(shape.faces):
            continue
        faces: Any = np.array(shape.faces)
        mesh = pv.PolyData.from_regular_faces(np.array(shape.points_mm), faces)
        plotter.add_mesh(mesh, color=look(item.role).colour, opacity=item.opacity, name=f"{item.group}: {item.name}",
                         smooth_shading=shape.normals is not None)  # fmt: skip
    return plotter


def aim(plotter: Any, scene: Scene, where: str) -> None:
    """Look from ``where``, as in the pictures."""
    view = view_from(scene, where, width_over_height=_SIZE[0] / _SIZE[1])
    plotter.camera.position = view.centre_mm - 1000.0 * view.forward
    plotter.camera.focal_point, plotter.camera.up = view.centre_mm, view.up
    plotter.enable_parallel_projection()
    plotter.camera.parallel_scale = view.half_height_mm
    plotter.camera.clipping_range = (100.0, 2500.0)
    plotter.render()
