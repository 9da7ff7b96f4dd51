"""A bow that does not bend under load: the hook stays, and two tubes share the straps' wrench.

How the share is settled (rigid bow in two tubes, evidence of the asymmetric bow: the lever rule): along the
line between the tubes' middles each part at right angles to it follows the lever, so that yaw and roll are
carried by unequal distal and vertical forces. The part along the line and the moment about it are
statically indeterminate: they divide in proportion to the molars' stiffness, equally when none is given.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mechanics.bow.wire import BowWire, TubeSupport, WornBow
from mechanics.sides import SIDES, Side, other_side
from mechanics.strap.direction import check_behind
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array, skew, unit
from mesh_tools.errors import NoAnswerError

BALANCE = 1e-9


def rigid_wear(
    bow: BowWire, straps: Mapping[Side, StrapPull], supports: Mapping[Side, TubeSupport]
) -> WornBow:
    """``bow`` under ``straps`` as if it were rigid.

    Raises BadValueError for a strap point in front of its hook, NoAnswerError when the shares do not
    balance the straps to 1e-9.
    """
    for side in SIDES:
        check_behind(side, straps[side], bow.hook_mm[side])
    pull = {s: straps[s].force_at(bow.hook_mm[s], bow.hook_mm[other_side(s)]) for s in SIDES}
    tube = {s: bow.tubes[s].middle_mm for s in SIDES}
    share = shared_between(pull, at_mm=bow.hook_mm, tubes_mm=tube, supports=supports)
    residual = _imbalance(pull, bow.hook_mm, share, tube)
    if residual > BALANCE:
        raise NoAnswerError(f"tube forces miss the straps by {residual:.1e}; the limit is {BALANCE}.")
    force = {s: share[s][0] for s in SIDES}
    moment = {s: share[s][1] + np.cross(tube[s] - supports[s].about_mm, share[s][0]) for s in SIDES}
    size = {s: float(np.linalg.norm(pull[s])) for s in SIDES}
    return WornBow(
        inner=bow.inner,
        outer=bow.outer,
        hook_mm=dict(bow.hook_mm),
        strap_force_n=size,
        strap_direction={
            s: pull[s] / size[s] if size[s] > 0.0 else straps[s].straps[0].direction_at(bow.hook_mm[s])
            for s in SIDES
        },
        about_mm={s: supports[s].about_mm for s in SIDES},
        force_n=force,
        moment_n_mm=moment,
        stress_mpa={"inner": np.zeros(len(bow.inner.points_mm)), "outer": np.zeros(len(bow.outer.points_mm))},
        converged=True,
        residual=residual,
        notes=("rigid bow: the hook does not move under load",),
    )


def shared_between(
    pull_n: Mapping[Side, Array],
    *,
    at_mm: Mapping[Side, Array],
    tubes_mm: Mapping[Side, Array],
    supports: Mapping[Side, TubeSupport],
) -> dict[Side, tuple[Array, Array]]:
    """Force (3,) and couple (3,) on each tube, at its middle, from forces ``pull_n`` applied ``at_mm``.

    With a the half distance of the tubes and e = M / F where the resultant crosses the line between them,
    the distal forces are F (a + e) / 2a and F (a - e) / 2a (lever rule for a strap free to slide: Haack DC,
    Weinstein S 1958 Am J Orthod 44:346-357, from memory; checked by hand).
    """
    middle = 0.5 * (tubes_mm["right"] + tubes_mm["left"])
    across = tubes_mm["left"] - tubes_mm["right"]
    half = 0.5 * float(np.linalg.norm(across))
    x = unit(across, name="line between the tubes")
    force = np.sum([pull_n[s] for s in SIDES], axis=0)
    moment = np.sum([np.cross(at_mm[s] - middle, pull_n[s]) for s in SIDES], axis=0)
    square = force - x * float(force @ x)
    lever = np.cross(moment, x) / (2.0 * half)
    along, about = _stiffness_shares(x, tubes_mm, supports)
    sign = {"right": -1.0, "left": 1.0}
    return {
        s: (
            0.5 * square + sign[s] * lever + along[s] * x * float(force @ x),
            about[s] * x * float(moment @ x),
        )
        for s in SIDES
    }


def _stiffness_shares(
    x: Array, tubes_mm: Mapping[Side, Array], supports: Mapping[Side, TubeSupport]
) -> tuple[dict[Side, float], dict[Side, float]]:
    """Shares of the force along ``x`` and of the moment about it: by stiffness at the tube, equal without
    one."""
    soft: dict[Side, tuple[float, float]] = {}
    for side in SIDES:
        k = supports[side].stiffness
        if k is None:
            return {"right": 0.5, "left": 0.5}, {"right": 0.5, "left": 0.5}
        give = np.linalg.inv(k)
        reach = skew(tubes_mm[side] - supports[side].about_mm)
        load = np.concatenate([x, reach @ x])
        soft[side] = (float(load @ give @ load), float(x @ give[3:, 3:] @ x))
    shares = [soft["left"][k] / (soft["left"][k] + soft["right"][k]) for k in (0, 1)]
    return {"right": shares[0], "left": 1.0 - shares[0]}, {"right": shares[1], "left": 1.0 - shares[1]}


def _imbalance(
    pull: Mapping[Side, Array],
    hook_mm: Mapping[Side, Array],
    share: Mapping[Side, tuple[Array, Array]],
    tube_mm: Mapping[Side, Array],
) -> float:
    """What remains of straps minus tubes, force and moment together, relative to the straps and 100 mm."""
    force = np.sum([pull[s] - share[s][0] for s in SIDES], axis=0)
    moment = np.sum(
        [np.cross(hook_mm[s], pull[s]) - np.cross(tube_mm[s], share[s][0]) - share[s][1] for s in SIDES],
        axis=0,
    )
    size = max(sum(float(np.linalg.norm(pull[s])) for s in SIDES), 1e-9)
    return float(np.linalg.norm(force) / size + np.linalg.norm(moment) / (100.0 * size))
