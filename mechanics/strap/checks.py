"""What a taut strap may not lie on, and what is told of one that lies oddly."""

from __future__ import annotations

import numpy as np

from mechanics.sides import SIDES, Side
from mechanics.strap.bed import Bed
from mechanics.strap.hull import chord_gaps
from mechanics.strap.path import BandName
from mechanics.strap.tauten import Taut
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError

INSIDE_MM = 0.5
"""A hook this deep in the skin is refused; a scan is not surer than that (our choice)."""
BRIDGE_MM = 12.0
"""A strap that touches, then hangs free for more than this, touches cheek, jaw or ear before the neck (our choice)."""
_MIDDLE = 0.5
"""An ear under this middle share of the width is refused, one under the edge is told (our choice)."""
_SIDES_DEG = (40.0, 150.0)
"""Ears lie between these angles from the back."""
_MANY_SPIKES = 40


class StrapOnEarError(BadValueError):
    """A strap would lie on an ear."""


def check_hooks(bed: Bed, ends: Array) -> None:
    """Raises BadValueError for a hook (rows of ``ends`` (2, 3), fan axes, right then left) inside the skin."""
    for side, hook in zip(SIDES, ends, strict=True):
        angle = float(np.arctan2(hook[0], hook[1]))
        above = int(np.searchsorted(bed.fan.angles, angle))
        if not 0 < above < len(bed.fan.angles):
            continue
        near = np.array([above - 1, above])
        deep = float(bed.reach_at(near, np.full(2, hook[2])).mean() - np.hypot(hook[0], hook[1]))
        if deep > INSIDE_MM:
            raise BadValueError(
                f"{side} hook lies {deep:.1f} mm inside the skin of the scan; widen the outer bow, or check that scan "
                "and landmarks share one frame."
            )


def check_skin_under(bed: Bed, taut: Taut, *, band: BandName) -> None:
    """Raises BadValueError where the strap lies on missing skin or leaves it at the scan's border, StrapOnEarError
    where it lies on an ear."""
    lacking = bed.lacks_skin(taut.k, taut.height_mm)
    ahead = np.clip(np.array([taut.k[0] - 1, taut.k[-1] + 1]), 0, len(bed.fan.angles) - 1)
    border = bed.lacks_skin(ahead, taut.height_mm[[0, -1]])
    if lacking.any() or border.any():
        where = "back of the neck" if band == "neck" else "back of the head"
        what = f"under {lacking.mean():.0%} of the strap" if lacking.any() else "where the strap leaves it"
        raise BadValueError(
            f"the scan lacks skin {what} round the {where}: it is torn, has a hole or does not reach round; scan it "
            "again farther back and below the ears."
        )
    ears = ears_under(bed, taut, share=_MIDDLE)
    if ears:
        move = "give nape_mm lower down" if band == "neck" else "give crown_mm farther forward or back"
        raise StrapOnEarError(
            f"the {band} strap would lie on the {' and the '.join(ears)} ear (a fold of the scan); {move}, or trim "
            "the scan there."
        )


def ears_under(bed: Bed, taut: Taut, *, share: float = 1.0) -> tuple[Side, ...]:
    """Sides on which the middle ``share`` of the strap's width lies on a fold of the skin beside the head."""
    angle = np.degrees(bed.fan.angles[taut.k])
    beside = (np.abs(angle) > _SIDES_DEG[0]) & (np.abs(angle) < _SIDES_DEG[1])
    fold = bed.folds(taut.k, taut.height_mm, share=share) & beside
    here = {"right": fold & (angle < 0.0), "left": fold & (angle > 0.0)}
    return tuple(s for s in SIDES if here[s].any())


def told_of(bed: Bed, ends: Array, taut: Taut, *, band: BandName) -> tuple[str, ...]:
    """Sentences about a path that is possible but should be known."""
    ears = ears_under(bed, taut)
    told = [
        f"{band} strap: its edge touches the {side} ear lobe or another fold of the scan." for side in ears
    ]
    if band == "neck":
        told += [_bridge(s, mm) for s in SIDES if s not in ears and (mm := _bridged(bed, ends, taut, s))]
    if bed.spikes > _MANY_SPIKES:
        told.append(
            f"{band} strap: {bed.spikes} spikes of the scan near it (hair, collar, flakes) were left out."
        )
    return tuple(told)


def _bridge(side: Side, behind_mm: float) -> str:
    return (
        f"neck strap: on the {side} it first touches {behind_mm:.0f} mm behind the hook and then hangs free, so it "
        "presses on the angle of the jaw or the cheek: widen or shorten the outer bow, or move the strap."
    )


def _bridged(bed: Bed, ends: Array, taut: Taut, side: Side) -> float:
    """How far behind the hook the strap touches something that stands off from neck or head; 0 where nothing does."""
    sign, hook, near = (-1.0, 0, 0) if side == "right" else (1.0, 1, -1)
    steps = np.linalg.norm(np.diff(taut.points, axis=0), axis=1)
    angles = bed.fan.angles[taut.k]
    beside = sign * 0.5 * (angles[1:] + angles[:-1]) > np.radians(60.0)
    if not ((steps > BRIDGE_MM) & beside).any():
        return 0.0
    return float(np.linalg.norm(taut.points[near] - ends[hook]))


def deepest_cut_mm(bed: Bed, ends: Array, taut: Taut) -> float:
    """How deep the path runs inside the bed anywhere between the hooks, mm; zero for a path that stays outside."""
    path = np.concatenate([ends[:1], taut.points, ends[1:]])
    right, left = np.arctan2(ends[:, 0], ends[:, 1])
    k = np.flatnonzero((bed.fan.angles > right + 1e-6) & (bed.fan.angles < left - 1e-6))
    free = np.setdiff1d(k, taut.k)
    reach, height = chord_gaps(path, bed.fan.angles[free], np.searchsorted(taut.k, free))
    return float(np.max(bed.reach_at(free, height) - reach, initial=0.0))
