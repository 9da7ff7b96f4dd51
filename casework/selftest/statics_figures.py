"""Lines of force, the asymmetric bow, and landmarks laid on landmarks."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from casework.selftest.figure import Figure
from mechanics.bow.rigid_wear import shared_between
from mechanics.bow.wire import TubeSupport
from mechanics.line_of_force import through_height_mm
from mechanics.sides import SIDES, Side, outward_sign
from mechanics.strap.direction import tangent_point
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array
from mesh_tools.registration.landmark_fit import landmark_fit

_HEIGHT = "statics: z_t = z_c + (x_t - x_c) tan(angle)"
_LEVER = "lever rule, strap free to slide: Haack DC, Weinstein S 1958 Am J Orthod 44:346-357 (from memory), by hand"
_KNOWN = "a known motion undone"


def statics_figures() -> Iterator[Figure]:
    """Every figure of lines and shares."""
    target = np.array([0.0, 2.5, 7.9])
    for y, angle, height in ((0.0, -25.0, 9.07), (40.0, -25.0, -9.59), (-10.0, 40.0, -2.59)):
        found = through_height_mm(target, hook_y_mm=y, angle_deg=angle)
        yield Figure(
            f"hook height without a tipping moment, {angle:+g} deg", _HEIGHT, "mm", height, found, 0.01
        )
    for taper, short, left, right in (
        (0.12, 15.0, 5.305, 4.522),
        (0.5, 15.0, 5.795, 4.070),
        (0.5, 40.0, 6.857, 3.032),
    ):
        share = _shares(taper, short)
        what = f"arm {short:g} mm shorter, taper {taper:g}"
        yield Figure(f"{what}: long side", _LEVER, "N", left, share["left"], 1e-3)
        yield Figure(f"{what}: short side", _LEVER, "N", right, share["right"], 1e-3)
    yield _registration()


def _shares(taper: float, short: float) -> dict[Side, float]:
    """Distal force on each molar of a rigid bow, 5 N a side, neck circle centre (0, 85) radius 48 mm."""
    hook: dict[Side, Array] = {
        "left": np.array([65.0, 10.0, 0.0]),
        "right": np.array([-(65.0 - taper * short), 10.0 - short, 0.0]),
    }
    to = {
        s: tangent_point(hook[s], centre_mm=np.array([0.0, 85.0, 0.0]), radius_mm=48.0, side=s) for s in SIDES
    }
    pull = {s: StrapPull.toward(to[s], force_n=5.0).force_at(hook[s]) for s in SIDES}
    tubes = {s: np.array([outward_sign(s) * 26.0, 0.0, 0.0]) for s in SIDES}
    share = shared_between(
        pull, at_mm=hook, tubes_mm=tubes, supports={s: TubeSupport(tubes[s]) for s in SIDES}
    )
    return {s: float(share[s][0][1]) for s in SIDES}


def _registration() -> Figure:
    angle = np.radians(40.0)
    turn = np.array(
        [[np.cos(angle), -np.sin(angle), 0.0], [np.sin(angle), np.cos(angle), 0.0], [0.0, 0.0, 1.0]]
    )
    fixed = np.array([[-25.0, 30.0, 3.0], [25.0, 29.0, 3.5], [0.0, 0.0, 0.5], [3.0, 12.0, 9.0]])
    moving = (fixed - np.array([8.0, -3.0, 5.0])) @ turn
    found = landmark_fit(moving, fixed)
    return Figure(
        "angle of a motion found from four landmarks", _KNOWN, "deg", 40.0, found.motion.angle_deg, 1e-9
    )
