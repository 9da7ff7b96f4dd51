"""Turning and nodding: how the neck moves as seen from the head, which carries the bow.

The model is two hinges, both our assumption and both settable: the head nods about a side-to-side axis through the
joint of skull and atlas, and turns about an upright axis through atlas and axis. What lies on the neck below moves as
one rigid piece. Skin glides over the muscles and part of a turn happens below the strap, so the real change is
smaller: the numbers bound it. A head cap moves with the head: nothing changes there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array, frozen
from mesh_tools.errors import BadValueError
from mesh_tools.registration.motion import RigidMotion, orthonormal, turned

MOST_TURN_DEG = 60.0
MOST_NOD_DEG = 45.0


@dataclass(frozen=True)
class Posture:
    """Head against neck: ``turn_deg`` positive with the face to the patient's left, ``nod_deg`` positive chin down.

    Raises BadValueError past 60 degrees of turn or 45 of nod.
    """

    name: str
    turn_deg: float = 0.0
    nod_deg: float = 0.0

    def __post_init__(self) -> None:
        for what, value, most in (
            ("turn", self.turn_deg, MOST_TURN_DEG),
            ("nod", self.nod_deg, MOST_NOD_DEG),
        ):
            if not abs(value) <= most:
                raise BadValueError(f"{what} of the head must lie within +-{most:.0f} degrees; got {value}.")


STRAIGHT = Posture("straight")


@dataclass(frozen=True, eq=False)
class NeckHinges:
    """A point (3,) on the upright axis of turning and one on the side-to-side axis of nodding, head straight."""

    turn_mm: Array
    nod_mm: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "turn_mm", frozen(self.turn_mm, (3,), name="axis of turning"))
        object.__setattr__(self, "nod_mm", frozen(self.nod_mm, (3,), name="axis of nodding"))


def usual_postures(*, turn_deg: float, nod_deg: float) -> tuple[Posture, ...]:
    """Straight, turned to each side, chin down and chin up."""
    return (
        STRAIGHT,
        Posture("turned right", turn_deg=-turn_deg),
        Posture("turned left", turn_deg=turn_deg),
        Posture("chin down", nod_deg=nod_deg),
        Posture("chin up", nod_deg=-nod_deg),
    )


def neck_motion(posture: Posture, hinges: NeckHinges) -> RigidMotion:
    """Motion of the neck seen from the head: the head's own turn (below) and nod (above), taken back."""
    turn = _about(hinges.turn_mm, np.array([0.0, 0.0, -np.radians(posture.turn_deg)]))
    nod = _about(hinges.nod_mm, np.array([-np.radians(posture.nod_deg), 0.0, 0.0]))
    return nod.after(turn)


def _about(point: Array, vector: Array) -> RigidMotion:
    rotation = orthonormal(turned(vector)[0])
    return RigidMotion(rotation, point - rotation @ point)
