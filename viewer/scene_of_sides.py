"""The patient's two sides as a clinician stands beside them: face half transparent, strap, bow, cheek marks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array
from viewer.cheek_items import (
    cheek_dimensions,
    cheek_points,
    cheek_ways,
    nearest_points,
    strap_skin_lines,
)
from viewer.scene import LabelItem, Scene, SurfaceItem
from viewer.scene_of_plan import AFTER, FACE, MOLARS, scene_of_plan

if TYPE_CHECKING:
    from casework.plan import Plan

_FACE_OPACITY = 0.5
_ROLES = ("line_after", "strap", "strap_skin")


def scene_of_sides(plan: Plan) -> Scene:
    """The scene of ``plan`` for a look from either side, in the treatment frame: each side has its own half face."""
    turn = np.asarray(plan.treatment_rotation)
    whole = scene_of_plan(plan)
    sides = [(side, plan.sides[side]) for side in SIDES if side in plan.sides]
    return Scene(
        title=f"{whole.title}: as you stand beside the patient",
        surfaces=(*_half_faces(plan, turn), *(i for i in whole.surfaces if i.group == MOLARS)),
        wires=tuple(i for i in whole.wires if i.group in (AFTER, MOLARS)),
        lines=(
            *(i for i in whole.lines if i.role in _ROLES),
            *(line for side, s in sides for line in cheek_ways(side, s, turn, hidden=False)),
        ),
        points=(
            *(p for p in whole.points if p.role in ("target", "bend", "bow_after")),
            *(p for side, s in sides for p in cheek_points(side, s, turn, hidden=False)),
            *nearest_points(plan, turn, hidden=False),
        ),
        labels=tuple(_strap_labels(plan, turn)),
        dimensions=tuple(d for side, s in sides for d in cheek_dimensions(side, s, turn, hidden=False)),
        captions=whole.captions,
    )


def _half_faces(plan: Plan, turn: Array) -> list[SurfaceItem]:
    """Either half of the face, so that one looks through one cheek only."""
    if plan.face is None:
        return []
    points = plan.face.points_mm @ turn.T
    across = points[:, 0][plan.face.faces].mean(axis=1)
    middle = 0.5 * sum(float(turn[0] @ s.target_mm) for s in plan.sides.values()) if plan.sides else 0.0
    halves: dict[Side, Array] = {"right": across < middle, "left": across >= middle}
    return [
        SurfaceItem(name=f"{side} half of the face", group=FACE, role="face", opacity=_FACE_OPACITY, side=side,
                    points_mm=points, faces=plan.face.faces[half])
        for side, half in halves.items() if half.any()
    ]  # fmt: skip


def _strap_labels(plan: Plan, turn: Array) -> list[LabelItem]:
    """Each strap's length, at its way over the skin on either side."""
    text = {f"{p.band}": f"{p.band} strap, {p.length_mm:.0f} mm hook to hook" for p in plan.strap_paths}
    return [
        LabelItem(name=line.name, group=line.group, role=line.role, side=line.side,
                  text=next(t for band, t in text.items() if f" {band} " in line.name),
                  at_mm=line.points_mm[len(line.points_mm) // 2])
        for line in strap_skin_lines(plan, turn)
    ]  # fmt: skip
