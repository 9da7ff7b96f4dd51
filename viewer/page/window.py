"""The same scene in a desktop window of pyvista: turn it with the mouse; keys r, l, f, a give the four views.

The window's own letters (such as r for "show everything") are taken away, so that a key does one thing.
"""

from __future__ import annotations

import os
import sys
from typing import Any

import numpy as np

from casework.cautions import SHORT_CAUTION
from mesh_tools.errors import BowtrueError
from viewer.page.words import say
from viewer.palette import look
from viewer.scene import DimensionItem, PointItem, Scene
from viewer.scene_gltf import item_shape
from viewer.view import view_from

_SIZE = (1200, 700)  # with its frame it fits a laptop of 1366 x 768
_VIEWS = {"r": "right", "l": "left", "f": "front", "a": "above"}


class NoWindowError(BowtrueError, RuntimeError):
    """This machine cannot open a window."""


def check_screen() -> None:
    """Raises NoWindowError where no window can open, before any work is done for it."""
    from viewer.drawing_probe import drawing_probe

    if sys.platform.startswith("linux") and not os.environ.get("DISPLAY"):
        raise NoWindowError("there is no screen (DISPLAY is not set); use bowtrue page without --window.")
    if drawing_probe().window is None:
        raise NoWindowError("this machine cannot draw in 3D; use bowtrue page without --window.")


def show_window(scene: Scene, *, off_screen: bool = False) -> Any:
    """Open the window and wait until it is closed; ``off_screen`` draws once and gives the plotter back."""
    if not off_screen:
        check_screen()
    plotter = plotter_of(scene, off_screen=off_screen)
    aim(plotter, scene, "right")
    listen(plotter, scene)
    plotter.show(auto_close=not off_screen)
    return plotter


def listen(plotter: Any, scene: Scene) -> None:
    """Give the four views their keys, and q and e the end."""

    def pressed(_style: Any, _event: str) -> None:
        key = str(plotter.iren.interactor.GetKeyCode()).lower()
        if key in _VIEWS:
            aim(plotter, scene, _VIEWS[key])
        elif key in ("q", "e"):
            plotter.iren.interactor.ExitCallback()

    plotter.iren.interactor.GetInteractorStyle().AddObserver("CharEvent", pressed)


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
    _write(plotter, scene)
    return plotter


def _write(plotter: Any, scene: Scene) -> None:
    """Texts at their places, the keys above, and the caution below."""
    told = [(item.at_mm, item.name) for item in scene.points if _named(item)]
    told += [
        (0.5 * (np.asarray(d.from_mm) + np.asarray(d.to_mm)), d.text) for d in scene.dimensions if _seen(d)
    ]
    if told:
        plotter.add_point_labels(
            np.array([at for at, _ in told]), [text for _, text in told], font_size=13, text_color="black",
            shape_color="white", shape_opacity=0.8, margin=2, show_points=False, always_visible=True,
            reset_camera=False, render=False, bold=False, name="texts",
        )  # fmt: skip
    plotter.add_text(say("window_keys"), position=(8, _SIZE[1] - 22), font_size=8, color="black")
    plotter.add_text(SHORT_CAUTION.replace(". ", ".\n"), position=(8, 6), font_size=8, color="black")


def _named(item: PointItem) -> bool:
    return item.role == "target" and not item.hidden_at_first


def _seen(item: DimensionItem) -> bool:
    return bool(item.text) and not item.hidden_at_first


def aim(plotter: Any, scene: Scene, where: str) -> None:
    """Look from ``where``, as in the pictures."""
    view = view_from(scene, where, width_over_height=_SIZE[0] / _SIZE[1])
    plotter.camera.position = view.centre_mm - 1000.0 * view.forward
    plotter.camera.focal_point, plotter.camera.up = view.centre_mm, view.up
    plotter.enable_parallel_projection()
    plotter.camera.parallel_scale = view.half_height_mm
    plotter.camera.clipping_range = (100.0, 2500.0)
    plotter.render()
