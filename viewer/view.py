"""Where to look from: orthographic views of a scene and the projection that every backend shares."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array, frozen
from viewer.palette import ON_FACE_ROLES
from viewer.scene import Focus, Item, Scene, WireItem

_LOOKING: dict[str, tuple[tuple[int, int, int], tuple[int, int, int]]] = {
    "right": ((1, 0, 0), (0, 0, 1)),
    "left": ((-1, 0, 0), (0, 0, 1)),
    "front": ((0, 1, 0), (0, 0, 1)),
    "above": ((0, 0, -1), (0, -1, 0)),
}


@dataclass(frozen=True, eq=False)
class View:
    """An orthographic view: looking along ``forward`` with ``up`` up, around ``centre_mm``.

    The picture is ``2 * half_height_mm`` high and ``2 * half_width_mm`` wide on the patient. ``sides`` says whose
    items are drawn; ``close_up`` brings the texts that need room.
    """

    title: str
    forward: Array
    up: Array
    centre_mm: Array
    half_height_mm: float
    half_width_mm: float
    sides: tuple[Side, ...] = SIDES
    close_up: bool = False

    def __post_init__(self) -> None:
        for name in ("forward", "up", "centre_mm"):
            object.__setattr__(self, name, frozen(getattr(self, name), (3,), name=name))

    @property
    def right(self) -> Array:
        """Unit vector (3,) that points right in the picture."""
        return np.cross(self.forward, self.up)

    def flat(self, points_mm: ArrayLike) -> Array:
        """Picture coordinates (..., 2) in mm from the middle: right and up."""
        away = np.asarray(points_mm, dtype=np.float64) - self.centre_mm
        return np.stack([away @ self.right, away @ self.up], axis=-1)

    def depth(self, points_mm: ArrayLike) -> Array:
        """Distance (...) from the picture plane through the centre, away from the eye."""
        return np.asarray((np.asarray(points_mm, dtype=np.float64) - self.centre_mm) @ self.forward)

    def framing(self, points_mm: ArrayLike) -> View:
        """This view moved and widened so that all of ``points_mm`` (n, 3) is in it, with a margin."""
        flat = self.flat(points_mm)
        low, high = flat.min(axis=0), flat.max(axis=0)
        half = 0.5 * (high - low) * _MARGIN
        ratio = self.half_width_mm / self.half_height_mm
        height = float(max(half[1] * _ABOVE, half[0] / ratio))
        middle = 0.5 * (low + high)
        deep = float(self.depth(points_mm).mean())
        centre = self.centre_mm + middle[0] * self.right + middle[1] * self.up + deep * self.forward
        return replace(self, centre_mm=centre, half_height_mm=height, half_width_mm=height * ratio)

    def shows(self, item: Item) -> bool:
        """True when ``item`` belongs in a still picture of this view."""
        if item.hidden_at_first or (self.close_up and item.role in ON_FACE_ROLES):
            return False
        if item.seen_along is not None and abs(float(item.seen_along @ self.forward)) < _READABLE:
            return False
        return item.side is None or item.side in self.sides


def view_from(scene: Scene, where: str, *, width_over_height: float) -> View:
    """The view of the whole scene from ``where`` ("right", "left", "front", "above"), fitted to what matters."""
    forward, up = _LOOKING[where]
    sides: tuple[Side, ...] = (where,) if where in ("right", "left") else SIDES  # type: ignore[assignment]
    bare = View(_TITLES[where], np.array(forward), np.array(up), np.zeros(3), 1.0, 1.0, sides)
    points = np.concatenate(_framed_points(scene, bare))
    return _framed(bare, points, width_over_height, wider=1.3 if len(sides) == 1 else 1.45)


def beside(scene: Scene, side: Side, *, width_over_height: float) -> View:
    """The view of one side from where a person stands beside the patient, the strap's whole way on that side in it."""
    forward, up = _LOOKING[side]
    title = f"From the patient's {side}"
    bare = View(title, np.array(forward), np.array(up), np.zeros(3), 1.0, 1.0, (side,))
    parts = [i.points_mm for i in scene.wires if bare.shows(i)]
    parts += [i.points_mm for i in scene.lines if bare.shows(i) and i.role not in _LONG_ROLES]
    points = np.concatenate(
        [*parts, *(p.at_mm[None] for p in scene.points if bare.shows(p)), np.zeros((0, 3))]
    )
    return _framed(bare, points, width_over_height, wider=1.2)


def _framed(bare: View, points: Array, width_over_height: float, *, wider: float) -> View:
    """``bare`` centred on ``points`` (n, 3) and wide enough for them and the texts beside them."""
    flat = bare.flat(points)
    low, high = flat.min(axis=0), flat.max(axis=0)
    half = 0.5 * (high - low) * (wider, 1.08) + 4.0
    half_height = float(max(half[1], half[0] / width_over_height))
    middle = 0.5 * (low + high)
    centre = middle[0] * bare.right + middle[1] * bare.up + bare.depth(points).mean() * bare.forward
    return View(
        bare.title, bare.forward, bare.up, centre, half_height, half_height * width_over_height, bare.sides
    )


def close_up(focus: Focus, *, width_over_height: float) -> View:
    """The view from the side at one focus of the scene."""
    forward, up = _LOOKING[focus.side]
    return View(focus.title, np.array(forward), np.array(up), focus.centre_mm, focus.half_height_mm,
                focus.half_height_mm * width_over_height, (focus.side,), close_up=True)  # fmt: skip


def opacity_in(item: Item, view: View) -> float:
    """Opacity of ``item`` in ``view``: in a close-up of a molar, bow and arch are seen through."""
    if not view.close_up:
        return item.opacity
    return item.opacity * (0.35 if isinstance(item, WireItem) else 0.5 if item.role == "arch" else 1.0)


_LONG_ROLES = ("line_before", "line_after")
_STRAP_SHOWN_MM = 45.0
_READABLE = 0.8  # cosine to the way something is read along
_MARGIN, _ABOVE = 1.08, 1.12  # air around what is framed, and more above and below it for words
_BEHIND_MM = np.array([[0.0, 34.0, 0.0]])  # room behind the molar for the line of force
_TITLES = {
    "right": "From the right",
    "left": "From the left",
    "front": "From the front",
    "above": "From above",
}


def _framed_points(scene: Scene, view: View) -> list[Array]:
    """Points that the frame must hold: wires, lines, points and molars, but not the whole face or arch."""
    wide = [i.points_mm for i in scene.wires if view.shows(i)]
    wide += [_near_end(i.points_mm) for i in scene.lines if view.shows(i) and i.role == "strap"]
    wide += [i.points_mm for i in scene.surfaces if view.shows(i) and i.role == "molar"]
    wide += [p.at_mm + _BEHIND_MM for p in scene.points if view.shows(p) and p.role == "target"]
    return [*wide, *(p.at_mm[None] for p in scene.points if view.shows(p)), np.zeros((0, 3))]


def _near_end(ends: Array) -> Array:
    """The first ``_STRAP_SHOWN_MM`` of a straight line (2, 3)."""
    length = float(np.linalg.norm(ends[1] - ends[0]))
    return np.asarray(ends[0] + np.outer([0.0, min(1.0, _STRAP_SHOWN_MM / length)], ends[1] - ends[0]))


def scene_bounds(scene: Scene) -> tuple[Array, Array]:
    """Lowest and highest corner (3,) of everything in the scene."""
    parts = [i.points_mm for i in scene.surfaces] + [i.points_mm for i in scene.wires]
    parts += [i.points_mm for i in scene.lines]
    points = np.concatenate([*parts, *(p.at_mm[None] for p in scene.points)])
    return points.min(axis=0), points.max(axis=0)
