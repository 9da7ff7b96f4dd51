"""A typed scene: all that any backend gets to draw. Frozen records, no model, no solver.

Frame: the treatment frame, LPS mm turned so that z is the occlusal plane's normal: +x the patient's left, +y back,
+z up. Every item has a name (one line for a person), a group (what a viewer hides and shows together), a colour
role (viewer/palette.py), an opacity and, when it belongs to one side, that side. ``hidden_at_first`` items are for
viewers in which a person can switch them on; still pictures leave them out. What can be read from one way only, such
as a curved arrow, has ``seen_along`` (3,), that way: still pictures that look another way leave it out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from mechanics.sides import Side
from mesh_tools.arrays import Array, IntArray, frozen, frozen_ints
from mesh_tools.errors import BadValueError
from viewer.palette import Glyph, Role


@dataclass(frozen=True, eq=False, kw_only=True)
class Item:
    """What every item of a scene carries."""

    name: str
    group: str
    role: Role
    opacity: float = 1.0
    side: Side | None = None
    hidden_at_first: bool = False
    seen_along: Array | None = None

    def __post_init__(self) -> None:
        if self.seen_along is not None:
            object.__setattr__(
                self, "seen_along", frozen(self.seen_along, (3,), name=f"seen_along of {self.name}")
            )
        if not 0.0 < self.opacity <= 1.0:
            raise BadValueError(f"opacity of {self.name!r} must be in (0, 1]; got {self.opacity}.")
        if not self.name or not self.group:
            raise BadValueError(f"an item needs a name and a group; got {self.name!r} in {self.group!r}.")


@dataclass(frozen=True, eq=False, kw_only=True)
class SurfaceItem(Item):
    """A triangle surface: points (n, 3), faces (m, 3) and, when the role's colour is not for all of them,
    ``face_colours`` (m, 3), red, green and blue from 0 to 1."""

    points_mm: Array
    faces: IntArray
    face_colours: Array | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.face_colours is not None:
            colours = frozen(self.face_colours, (len(self.faces), 3), name=f"colours of {self.name}")
            object.__setattr__(self, "face_colours", colours)
        object.__setattr__(self, "points_mm", frozen(self.points_mm, (None, 3), name=self.name))
        object.__setattr__(self, "faces", frozen_ints(self.faces, (None, 3), name=self.name))


@dataclass(frozen=True, eq=False, kw_only=True)
class WireItem(Item):
    """A round wire: stations (n, 3) and its diameter in mm (one number for all)."""

    points_mm: Array
    diameter_mm: float

    def __post_init__(self) -> None:
        super().__post_init__()
        object.__setattr__(self, "points_mm", frozen(self.points_mm, (None, 3), name=self.name))


@dataclass(frozen=True, eq=False, kw_only=True)
class LineItem(Item):
    """A polyline (n, 3) without thickness of its own."""

    points_mm: Array

    def __post_init__(self) -> None:
        super().__post_init__()
        object.__setattr__(self, "points_mm", frozen(self.points_mm, (None, 3), name=self.name))


@dataclass(frozen=True, eq=False, kw_only=True)
class PointItem(Item):
    """A marked point (3,) with a glyph and its size in mm; ``detail`` is a second line for close-ups."""

    at_mm: Array
    glyph: Glyph = "sphere"
    size_mm: float = 1.0
    detail: str = ""

    def __post_init__(self) -> None:
        super().__post_init__()
        object.__setattr__(self, "at_mm", frozen(self.at_mm, (3,), name=self.name))


@dataclass(frozen=True, eq=False, kw_only=True)
class ArrowItem(Item):
    """An arrow from ``at_mm`` (3,) along ``vector_mm`` (3,), as long as it is drawn; ``text`` says its value."""

    at_mm: Array
    vector_mm: Array
    text: str

    def __post_init__(self) -> None:
        super().__post_init__()
        object.__setattr__(self, "at_mm", frozen(self.at_mm, (3,), name=self.name))
        object.__setattr__(self, "vector_mm", frozen(self.vector_mm, (3,), name=self.name))


@dataclass(frozen=True, eq=False, kw_only=True)
class LabelItem(Item):
    """A text at a point (3,); ``close_up`` ones are drawn only where the picture is large enough for them."""

    text: str
    at_mm: Array
    close_up: bool = False

    def __post_init__(self) -> None:
        super().__post_init__()
        object.__setattr__(self, "at_mm", frozen(self.at_mm, (3,), name=self.name))


@dataclass(frozen=True, eq=False, kw_only=True)
class DimensionItem(Item):
    """A measured distance: ends (3,) each, and the text that gives it in mm."""

    from_mm: Array
    to_mm: Array
    text: str

    def __post_init__(self) -> None:
        super().__post_init__()
        object.__setattr__(self, "from_mm", frozen(self.from_mm, (3,), name=self.name))
        object.__setattr__(self, "to_mm", frozen(self.to_mm, (3,), name=self.name))


@dataclass(frozen=True, eq=False)
class Focus:
    """A place worth a close-up: its centre (3,) and half its height in mm."""

    title: str
    side: Side
    centre_mm: Array
    half_height_mm: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "centre_mm", frozen(self.centre_mm, (3,), name=self.title))


@dataclass(frozen=True)
class StressScale:
    """What the colours of stress mean: from 0 to ``top_mpa``; the largest stress, where it is, and the proof stress."""

    top_mpa: float
    largest_mpa: float
    proof_mpa: float
    place: str


@dataclass(frozen=True, eq=False)
class Scene:
    """Everything to draw, by kind, and where to look closely. ``captions`` has one line for each side."""

    title: str
    surfaces: tuple[SurfaceItem, ...] = ()
    wires: tuple[WireItem, ...] = ()
    lines: tuple[LineItem, ...] = ()
    points: tuple[PointItem, ...] = ()
    arrows: tuple[ArrowItem, ...] = ()
    labels: tuple[LabelItem, ...] = ()
    dimensions: tuple[DimensionItem, ...] = ()
    focuses: tuple[Focus, ...] = ()
    captions: dict[Side, str] = field(default_factory=dict)
    stress_scale: StressScale | None = None

    def items(self) -> Iterator[Item]:
        """Every item, in the order of drawing."""
        yield from (*self.surfaces, *self.wires, *self.lines, *self.arrows)
        yield from (*self.dimensions, *self.points, *self.labels)

    def named_points(self) -> tuple[PointItem, ...]:
        """Points to name: an estimate that is the target already is named by the target."""
        targets = [p.at_mm for p in self.points if p.role == "target"]
        return tuple(
            p
            for p in self.points
            if p.role == "target" or not any(abs(p.at_mm - t).max() < 1e-6 for t in targets)
        )

    def groups(self) -> tuple[str, ...]:
        """Names of the groups in order of first use."""
        return tuple(dict.fromkeys(item.group for item in self.items()))
