"""Fitting a face-bow to a patient by least squares: tubes exactly, front, lips, cheeks and hooks as near
as fair curves go.

The tubes are met exactly by construction (passive inner bow: on the tube's axis, tangent to it). The rest
is weighed: a millimetre off a wanted place against uneven curvature (``EVENNESS``) and bends too sharp for
the wire.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from mechanics.bow.needs import BowNeeds
from mechanics.bow.quintic import CurveEnd, Quintic, unevenness
from mechanics.bow.shape import InnerShape, JointHalf, OuterHalf, evenly
from mechanics.bow.skin import Skin, is_inside
from mechanics.bow.wire import BowWire, JointRegion, PartName, WirePart
from mechanics.sides import SIDES, Side, outward_sign
from mesh_tools.arrays import Array, unit
from mesh_tools.errors import BadValueError, NoAnswerError
from mesh_tools.surface import Surface

SPACING_MM = 0.5
SCALE_MM = 50.0
EVENNESS = 0.15
SHARPEST_MM: dict[PartName, float] = {
    "inner": 8.0,
    "outer": 12.0,
}  # least radius of the fitted curves; stock bows stay well above
FRONT_CURVE_MM = 50.0  # stock wire from the joint's middle to the straight arm (common practice, no source)
SPLAY_DEG = 6.0  # arms open a little toward the hooks (common practice, no source)
LIPS_MM = 8.0  # outward from the mouth corner, over which the wire comes to lie outside the cheek: our choice
LEAST_ARM_MM = 5.0
LEAD_MM = (2.0, 8.0)  # wire ahead of the mouth corner, lips neither pushed nor lifted (common practice)
LEAST_CURVE_MM = 40.0  # from the joint to the straight arm, past the mouth corner


@dataclass(frozen=True, eq=False)
class BowFit:
    """A fitted bow and how near it came, in mm.

    ``front_mm``: front of the inner bow to its wanted place; ``corner_mm``: outer wire to the mouth corner;
    ``hook_out_mm`` and ``hook_up_mm``: hook outward and above its wanted place; ``skin_mm``: least distance
    of wire surface and skin (None without a face); ``radius_mm``: sharpest bend.
    """

    wire: BowWire
    front_mm: float
    corner_mm: Mapping[Side, float]
    hook_out_mm: Mapping[Side, float]
    hook_up_mm: Mapping[Side, float]
    skin_mm: Mapping[Side, float | None]
    radius_mm: Mapping[str, float]


def fit_bow(needs: BowNeeds) -> BowFit:
    """The smooth bow that lies passive in both tubes and passes ``needs`` best.

    Raises BadValueError when an arm is shorter than the front curve needs or a hook comes to lie inside the
    face, NoAnswerError when the least squares do not settle.
    """
    inner = _fitted_inner(needs)
    skin = None if needs.face is None else Skin(needs.face)
    joint = {s: _joint(needs, inner, s) for s in SIDES}
    outer = {s: _fitted_outer(needs, joint[s], s, skin) for s in SIDES}
    wire = _wire(needs, inner, joint, outer)
    if needs.face is not None:
        check_hooks_outside(wire, needs.face)
    return _report(needs, wire, outer, skin)


def check_hooks_outside(wire: BowWire, face: Surface) -> None:
    """Raises BadValueError when a hook of ``wire`` lies inside ``face``."""
    for side, inside in zip(SIDES, is_inside(face, np.stack([wire.hook_mm[s] for s in SIDES])), strict=True):
        if inside:
            place = np.round(wire.hook_mm[side], 1).tolist()
            raise BadValueError(
                f"{side} hook at {place} mm lies inside the face; widen the bow, shorten the arm or "
                "bend less."
            )


def _fitted_inner(needs: BowNeeds) -> InnerShape:
    front, tubes = needs.front_mm, needs.tubes
    reach = [float(np.linalg.norm(tubes[s].mesial_mm - front)) for s in SIDES]
    guess = np.concatenate(
        [front, [0.0, 0.0, np.log(2.0 / reach[0]), 0.0], np.log([reach[0], reach[0], reach[1], reach[1]])]
    )

    def residuals(x: Array) -> Array:
        shape = InnerShape.from_parameters(x, right=tubes["right"], left=tubes["left"])
        return np.concatenate(
            [5.0 * (x[:3] - front), _uneven(shape.right, "inner"), _uneven(shape.left, "inner")]
        )

    best = _least(residuals, guess, what="inner bow")
    return InnerShape.from_parameters(best, right=tubes["right"], left=tubes["left"])


def _joint(needs: BowNeeds, inner: InnerShape, side: Side) -> JointHalf:
    stock = needs.stock
    return inner.joint_half(side, half_mm=0.5 * stock.joint_length_mm, offset_mm=stock.joint_offset_mm)


def _fitted_outer(needs: BowNeeds, joint: JointHalf, side: Side, skin: Skin | None) -> OuterHalf:
    start = joint.end
    rest = needs.arm_length_mm[side] - joint.half_mm
    _check_arm(needs, side, rest - LEAST_CURVE_MM)
    wanted = _wanted(needs, side)

    def shape(x: Array) -> OuterHalf:
        return OuterHalf.from_parameters(x[:7], start=start, side=side, rest_mm=rest)

    def residuals(x: Array) -> Array:
        half = shape(x)
        passing = half.curve.at(0.5 + 0.5 * np.tanh(x[7])) - wanted.corner_mm
        spent = joint.half_mm + half.curve.length_mm
        return np.concatenate(
            [
                _past_corner(passing),
                [2.0 * (half.hook_mm[2] - wanted.hook_z_mm)],
                _outward(half, wanted, skin),
                [8.0 * (x[3] - np.radians(SPLAY_DEG)), 20.0 * x[4]],
                [0.3 * (spent - wanted.curve_mm), 2.0 * max(0.0, spent + 10.0 - needs.arm_length_mm[side])],
                _uneven(half.curve, "outer"),
            ]
        )

    best = shape(_least(residuals, _outer_guess(start, wanted, side), what=f"{side} outer bow"))
    straight = float(np.dot(best.hook_mm - best.arm_start_mm, best.curve.end_at(1.0).direction))
    _check_arm(needs, side, straight)
    return best


@dataclass(frozen=True, eq=False)
class _Wanted:
    """Where one half of the outer wire should go."""

    corner_mm: Array
    hook_out_mm: float
    hook_z_mm: float
    curve_mm: float
    clearance_mm: float
    sign: int


def _wanted(needs: BowNeeds, side: Side) -> _Wanted:
    sign = outward_sign(side)
    gap = needs.cheek_clearance_mm + 0.5 * needs.stock.outer_diameter_mm
    tube = sign * float(needs.tubes[side].middle_mm[0])
    return _Wanted(
        corner_mm=needs.corner_mm[side],
        hook_out_mm=tube + needs.tube_to_skin_mm + gap,
        hook_z_mm=needs.hook_z_mm(side),
        curve_mm=min(FRONT_CURVE_MM, 0.7 * needs.arm_length_mm[side]),
        clearance_mm=gap,
        sign=sign,
    )


def _past_corner(passing: Array) -> Array:
    """Residuals (4,) of the wire beside the mouth corner: level with it, to the side as far, and ahead of
    it by between ``LEAD_MM``; ``passing`` (3,) is the wire's place less the corner's."""
    ahead = -float(passing[1])
    return np.array(
        [passing[0], 0.5 * min(0.0, ahead - LEAD_MM[0]), 0.5 * max(0.0, ahead - LEAD_MM[1]), 3.0 * passing[2]]
    )


def _outward(half: OuterHalf, wanted: _Wanted, skin: Skin | None) -> Array:
    """Residuals of the cheek: without a face the hook's place outward, with one the distance behind the
    lips.

    Nearer than the clearance costs fifteen times more than farther away. Between the lips nothing counts:
    they part round the wire, whatever a scan of the closed mouth shows; behind the corner the cost sets in
    over ``LIPS_MM``.
    """
    if skin is None:
        return np.array([wanted.sign * half.hook_mm[0] - wanted.hook_out_mm])
    curve = half.curve.at(np.linspace(0.4, 1.0, 7))
    arm = half.arm_start_mm + np.linspace(0.1, 1.0, 10)[:, None] * (half.hook_mm - half.arm_start_mm)
    points = np.concatenate([curve, arm])
    beyond = skin.rough_distance_mm(points) - wanted.clearance_mm
    past = wanted.sign * (points[:, 0] - wanted.corner_mm[0]) / LIPS_MM
    return np.asarray(np.clip(past, 0.0, 1.0) * np.where(beyond < 0.0, 3.0, 0.2) * beyond)


def _outer_guess(start: CurveEnd, wanted: _Wanted, side: Side) -> Array:
    sideways = 0.75 * (wanted.hook_out_mm - wanted.sign * float(start.point_mm[0]))
    begin = start.point_mm + np.array([outward_sign(side) * sideways, 0.6 * wanted.curve_mm, 0.0])
    begin[2] = wanted.hook_z_mm
    reach = np.log(0.9 * wanted.curve_mm)
    return np.concatenate([begin, [np.radians(SPLAY_DEG), 0.0, reach, reach, -0.5]])


def _uneven(piece: Quintic, part: PartName) -> Array:
    return EVENNESS * unevenness(piece, samples=21, scale_mm=SCALE_MM, sharpest_mm=SHARPEST_MM[part])


def _check_arm(needs: BowNeeds, side: Side, rest_mm: float) -> None:
    if rest_mm < LEAST_ARM_MM:
        raise BadValueError(
            f"{side} arm length of {needs.arm_length_mm[side]:.1f} mm leaves {rest_mm:.1f} mm "
            f"behind the front curve; at least {LEAST_ARM_MM:.0f} mm are needed: choose a longer arm."
        )


def _least(residuals: Callable[[Array], Array], guess: Array, *, what: str) -> Array:
    from scipy.optimize import least_squares  # slow to import: only when a bow is fitted

    size = np.maximum(1.0, np.abs(guess))
    found = least_squares(
        residuals, guess, method="lm", x_scale=size, xtol=1e-9, ftol=1e-11, gtol=1e-11, max_nfev=4000
    )
    if found.status <= 0 or not np.isfinite(found.x).all():
        raise NoAnswerError(
            f"{what} could not be fitted ({found.message}); check the landmarks it should pass."
        )
    return np.asarray(found.x)


def _wire(
    needs: BowNeeds, inner: InnerShape, joint: Mapping[Side, JointHalf], outer: Mapping[Side, OuterHalf]
) -> BowWire:
    stock, tubes = needs.stock, needs.tubes
    u = np.linspace(0.0, 1.0, 1501)
    legs = [
        tubes["right"].distal_mm[None],
        inner.right.at(u),
        inner.left.at(u)[1:],
        tubes["left"].distal_mm[None],
    ]
    inner_part = WirePart.uniform(
        evenly(np.concatenate(legs), spacing_mm=SPACING_MM), stock.inner_diameter_mm, part="inner"
    )
    arm = {s: np.concatenate([joint[s].points_mm, outer[s].points_mm[1:]]) for s in SIDES}
    whole = np.concatenate([arm["right"][::-1], arm["left"][1:]])
    outer_part = WirePart.uniform(evenly(whole, spacing_mm=SPACING_MM), stock.outer_diameter_mm, part="outer")
    return BowWire(
        inner=inner_part,
        outer=outer_part,
        joint=_joint_region(needs, inner, joint),
        material=stock.material,
        tubes=dict(tubes),
        stop_mm={"right": tubes["right"].length_mm, "left": inner_part.length_mm - tubes["left"].length_mm},
        bend_place_mm={s: joint[s].half_mm + outer[s].curve.length_mm for s in SIDES},
    )


def _joint_region(needs: BowNeeds, inner: InnerShape, joint: Mapping[Side, JointHalf]) -> JointRegion:
    front = needs.tubes["right"].length_mm + inner.right.length_mm
    middle, half = needs.arm_length_mm["right"], 0.5 * needs.stock.joint_length_mm
    return JointRegion(
        inner_from_mm=front - joint["right"].inner_length_mm,
        inner_to_mm=front + joint["left"].inner_length_mm,
        outer_from_mm=middle - half,
        outer_to_mm=middle + half,
        diameter_mm=needs.stock.joint_diameter_mm,
    )


def _report(needs: BowNeeds, wire: BowWire, outer: Mapping[Side, OuterHalf], skin: Skin | None) -> BowFit:
    wanted = {s: _wanted(needs, s) for s in SIDES}
    curve = {s: outer[s].curve.at(np.linspace(0.0, 1.0, 501)) for s in SIDES}
    front = wire.inner.at(wire.joint.inner_middle_mm) - needs.front_mm
    return BowFit(
        wire=wire,
        front_mm=float(np.linalg.norm(front)),
        corner_mm={s: float(np.linalg.norm(curve[s] - wanted[s].corner_mm, axis=1).min()) for s in SIDES},
        hook_out_mm={s: float(wanted[s].sign * wire.hook_mm[s][0] - wanted[s].hook_out_mm) for s in SIDES},
        hook_up_mm={s: float(wire.hook_mm[s][2] - wanted[s].hook_z_mm) for s in SIDES},
        skin_mm={s: _skin_gap(needs, skin, curve[s], outer[s], s) for s in SIDES},
        radius_mm={p.part: sharpest_radius_mm(p) for p in (wire.inner, wire.outer)},
    )


def _skin_gap(needs: BowNeeds, skin: Skin | None, curve: Array, half: OuterHalf, side: Side) -> float | None:
    if skin is None:
        return None
    arm = np.linspace(half.arm_start_mm, half.hook_mm, 61)
    points = np.concatenate([curve[300::4], arm])
    corner = needs.corner_mm[side]
    points = points[outward_sign(side) * (points[:, 0] - corner[0]) > LIPS_MM]
    return float(skin.distance_mm(points).min() - 0.5 * needs.stock.outer_diameter_mm)


def sharpest_radius_mm(part: WirePart) -> float:
    """Least radius of curvature along a wire, from its turning over 3 mm; a straight wire gives infinity."""
    s = np.linspace(0.0, part.length_mm, max(4, int(part.length_mm / 1.5)))
    way = np.diff(part.at(s), axis=0)
    turn = np.linalg.norm(np.diff(np.array([unit(w) for w in way]), axis=0), axis=1)
    return float((s[1] - s[0]) / turn.max()) if turn.max() > 1e-12 else float(np.inf)
