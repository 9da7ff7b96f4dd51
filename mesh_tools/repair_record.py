"""What the steps of a repair hand to one another."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.arrays import BoolArray, IntArray
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface


@dataclass(frozen=True)
class Finding:
    """One kind of change or fault: its plain name, how many, and the line told to a person."""

    kind: str
    count: int
    text: str


@dataclass(frozen=True, eq=False)
class Step:
    """The surface so far, the changes told so far, and where the first surface's points and faces are now."""

    surface: Surface
    changes: tuple[Finding, ...]
    notes: tuple[Finding, ...]
    point_map: IntArray
    face_map: IntArray

    @staticmethod
    def start(surface: Surface) -> Step:
        """Before any change; raises BadValueError for a surface without faces."""
        if not len(surface.faces):
            raise BadValueError("the surface has no faces to repair.")
        n, m = len(surface.points_mm), len(surface.faces)
        return Step(surface, (), (), np.arange(n), np.arange(m))

    def told(self, finding: Finding) -> Step:
        """With one more change told."""
        return replace(self, changes=(*self.changes, finding))

    def only(self, keep: BoolArray, finding: Finding) -> Step:
        """With the faces of the mask ``keep`` alone; points stay numbered as they are."""
        if not keep.any():
            raise BadValueError(f"no faces are left after repair ({finding.text}).")
        number = np.where(keep, np.cumsum(keep) - 1, -1)
        faced = np.where(self.face_map >= 0, number[np.maximum(self.face_map, 0)], -1)
        surface = Surface(self.surface.points_mm, self.surface.faces[keep])
        return replace(self, surface=surface, face_map=faced).told(finding)

    def with_faces(self, faces: ArrayLike, finding: Finding) -> Step:
        """With ``faces`` in place of the present ones (in order; more may follow at the end)."""
        return replace(self, surface=Surface(self.surface.points_mm, np.asarray(faces))).told(finding)


def plural(count: int, one: str, many: str | None = None) -> str:
    """``count`` with its noun: 1 face, 2 faces."""
    return f"{count} {one if count == 1 else many or one + 's'}"
