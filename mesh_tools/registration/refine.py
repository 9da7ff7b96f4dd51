"""Coarse to fine: few samples and a wide gate first, all samples and a narrow gate last, until the pose settles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.registration.samples import Samples
from mesh_tools.registration.trimmed import Pairing, Poses, paired, stepped

LEVELS = (400, 1500, 6000)
MOST_STEPS = (40, 30, 40)
_STILL_SHARE = 1e-3
_STILL_MM = 1e-4
_GATE_RMS = 4.0
_GATE_FLOOR_MM, _GATE_SPACINGS = 0.3, 2.0


@dataclass(frozen=True, eq=False)
class Refined:
    """Where one start ended: pose, its pairing at the last step, steps, and whether it settled."""

    pose: Poses
    pairing: Pairing
    iterations: int
    converged: bool

    @property
    def score(self) -> float:
        """Score in mm, the smaller the better."""
        return float(self.pairing.score[0])


def refined(
    start: Poses, moving: Samples, fixed: Samples, *, gate_mm: float, levels: int = len(LEVELS)
) -> Refined:
    """The pose that one ``start`` leads to; partners farther than ``gate_mm`` are no partners at first.

    The gate follows the residual down, never under 0.3 mm or twice the samples' spacing, so that what matches decides
    what may match next. ``levels``: how many, from the coarsest, to go through.
    """
    floor = max(_GATE_FLOOR_MM, _GATE_SPACINGS * fixed.spacing_mm)
    gate_mm = max(gate_mm, floor)
    pose, gate, done, still = start, gate_mm, 0, False
    for count, most in zip(LEVELS[:levels], MOST_STEPS[:levels], strict=True):
        part = moving.first(count)
        for _ in range(most):
            pairing = paired(pose, part, fixed, gate_mm=gate)
            new = stepped(pose, pairing)
            moved = float(np.abs(new.applied(part.points_mm) - pairing.moved_mm).max())
            pose, done = new, done + 1
            narrower = max(floor, _GATE_RMS * float(min(pairing.rms_mm[0], gate)))
            settled = moved < max(_STILL_MM, _STILL_SHARE * float(min(pairing.rms_mm[0], 1.0)))
            still = settled and narrower > 0.8 * gate
            gate = min(gate, max(narrower, 0.7 * gate))
            if still:
                break
    return Refined(pose, paired(pose, moving.first(LEVELS[levels - 1]), fixed, gate_mm=gate), done, still)
