"""Whether an inner bow goes into its tubes without force: gap and angle of each terminal against its tube.

At the chair (common practice): one side is seated first, and the other terminal should then lie on its tube.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from mechanics.bow.wire import BowWire
from mechanics.sides import SIDES, Side, outward_sign
from mesh_tools.arrays import Array, unit

Seat = Literal["as it lies", "both", "right", "left"]


@dataclass(frozen=True)
class TerminalFit:
    """One terminal against its tube. Gaps (mm) are those of the stop from the tube's mesial end: outward,
    distally, upward; ``far_gap_mm`` is the distance of the terminal's end from the tube's axis.
    ``toe_in_deg``: distal end inward; ``tip_up_deg``: distal end up; ``angle_deg``: between the
    terminal and the axis.

    ``passive``: the terminal fits within the play of the tube, without bending.
    """

    out_mm: float
    distal_mm: float
    up_mm: float
    far_gap_mm: float
    toe_in_deg: float
    tip_up_deg: float
    angle_deg: float
    passive: bool

    @property
    def gap_mm(self) -> float:
        """Distance of the terminal from the tube's mesial end, across and along."""
        return float(np.linalg.norm([self.out_mm, self.distal_mm, self.up_mm]))


def passivity(bow: BowWire, *, seat: Seat = "as it lies") -> dict[Side, TerminalFit]:
    """Fit of both terminals: the bow as it lies, moved as a rigid body to suit both tubes best, or seated
    in one.

    Seating lays one terminal on its tube's axis with the stop at the mesial end, without turning it about
    the axis.
    """
    ends = {s: _terminal(bow, s) for s in SIDES}
    move = _placement(bow, ends, seat)
    return {s: _fit(bow, s, move(ends[s])) for s in SIDES}


def _terminal(bow: BowWire, side: Side) -> Array:
    """Stop and distal end (2, 3) of one terminal."""
    end = bow.inner.points_mm[0 if side == "right" else -1]
    return np.stack([bow.inner.at(bow.stop_mm[side]), end])


class _Move:
    """A rigid motion of points."""

    def __init__(self, turn: Array, about: Array, to: Array) -> None:
        self.turn, self.about, self.to = turn, about, to

    def __call__(self, points: Array) -> Array:
        return np.asarray((points - self.about) @ self.turn.T + self.to)


def _placement(bow: BowWire, ends: dict[Side, Array], seat: Seat) -> _Move:
    if seat == "as it lies":
        return _Move(np.eye(3), np.zeros(3), np.zeros(3))
    from scipy.spatial.transform import Rotation  # slow to import

    if seat == "both":
        have = np.concatenate([ends[s] for s in SIDES])
        want = np.concatenate([_tube_line(bow, s, ends[s]) for s in SIDES])
        turn, _ = Rotation.align_vectors(want - want.mean(axis=0), have - have.mean(axis=0))
        return _Move(turn.as_matrix(), have.mean(axis=0), want.mean(axis=0))
    mesial, axis = bow.tubes[seat].mesial_mm, bow.tubes[seat].axis
    way = unit(ends[seat][1] - ends[seat][0])
    cross = np.cross(way, axis)
    size = float(np.linalg.norm(cross))
    angle = float(np.arctan2(size, way @ axis))
    turn = Rotation.from_rotvec(cross / size * angle) if size > 1e-12 else Rotation.identity()
    return _Move(turn.as_matrix(), ends[seat][0], mesial)


def _tube_line(bow: BowWire, side: Side, terminal: Array) -> Array:
    """Where the terminal's two points would lie in its tube."""
    tube = bow.tubes[side]
    return np.stack([tube.mesial_mm, tube.mesial_mm + np.linalg.norm(terminal[1] - terminal[0]) * tube.axis])


def _fit(bow: BowWire, side: Side, terminal: Array) -> TerminalFit:
    tube, sign = bow.tubes[side], outward_sign(side)
    gap = terminal[0] - tube.mesial_mm
    distal = float(gap @ tube.axis)
    way = unit(terminal[1] - terminal[0])
    off = terminal[1] - tube.mesial_mm
    far = float(np.linalg.norm(off - tube.axis * float(off @ tube.axis)))
    near = float(np.linalg.norm(gap - tube.axis * distal))
    angles = [np.degrees(np.arctan2(sign * v[0], v[1])) for v in (way, tube.axis)]
    rises = [np.degrees(np.arcsin(v[2])) for v in (way, tube.axis)]
    slack = 0.5 * bow.play_mm(side) + 1e-6
    return TerminalFit(
        out_mm=sign * float(gap[0]),
        distal_mm=float(gap[1]),
        up_mm=float(gap[2]),
        far_gap_mm=far,
        toe_in_deg=float(angles[1] - angles[0]),
        tip_up_deg=float(rises[0] - rises[1]),
        angle_deg=float(np.degrees(np.arctan2(np.linalg.norm(np.cross(way, tube.axis)), way @ tube.axis))),
        passive=near <= slack and far <= slack,
    )
