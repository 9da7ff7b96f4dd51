"""The two sides of a patient and of a face-bow, by the words they are keyed with."""

from __future__ import annotations

from typing import Literal

from mesh_tools.errors import BadValueError

Side = Literal["right", "left"]
SIDES: tuple[Side, Side] = ("right", "left")


def other_side(side: Side) -> Side:
    """The side across."""
    return "left" if side == "right" else "right"


def outward_sign(side: Side) -> int:
    """Sign of x from the middle to ``side`` in LPS: +1 left, -1 right; raises BadValueError for another
    word."""
    if side not in SIDES:
        raise BadValueError(f'side must be "right" or "left"; got {side!r}.')
    return 1 if side == "left" else -1
