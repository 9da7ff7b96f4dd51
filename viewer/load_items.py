"""Items that show a loaded bow: stress along the wire as colour, curved arrows for moments, region of the centre."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from mechanics.sides import Side, outward_sign
from mesh_tools.arrays import Array
from viewer.load_shapes import curl_arc, curl_shape, curl_sweep, stressed_tube
from viewer.scene import LabelItem, StressScale, SurfaceItem
from viewer.scene_of_centre import region_shape
from viewer.stress_colours import scale_top_mpa
from viewer.wrench_words import LEAST_N_MM, tip_words, torque_words, yaw_words

if TYPE_CHECKING:
    from casework.plan import Plan, SidePlan
    from mechanics.bow.wire import PartName

MOMENTS, STRESS, REGION = "Moments on the molar", "Stress in the worn bow", "Region of the centre, 95 %"
_CURL_MM, _CURL_WIRE_MM = 8.5, 0.8
_UP, _FRONT_BACK, _ACROSS = np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0]), np.array([1.0, 0.0, 0.0])


def moment_items(
    side: Side, s: SidePlan, turn: Array, *, hidden: bool
) -> tuple[list[SurfaceItem], list[LabelItem]]:
    """A curved arrow and a text for tip, yaw and torque about the target of ``side``; next to none is left out."""
    moment, target = turn @ s.wrench_at_centre.moment_n_mm, turn @ s.target_mm
    found = [
        ("tip", moment[0], _ACROSS, _UP, tip_words(moment[0])),
        ("yaw", moment[2], _UP, outward_sign(side) * _ACROSS, yaw_words(moment[2], side)),
        ("torque", moment[1], _FRONT_BACK, _UP, torque_words(moment[1], side)),
    ]
    drawn = [
        _moment(side, name, value, axis, middle, words, target, hidden)
        for name, value, axis, middle, words in found
        if abs(value) >= LEAST_N_MM
    ]
    return [curl for curl, _ in drawn], [text for _, text in drawn]


def _moment(
    side: Side,
    name: str,
    value: float,
    axis: Array,
    middle: Array,
    words: str,
    target: Array,
    hidden: bool,
) -> tuple[SurfaceItem, LabelItem]:
    about, sweep = np.sign(value) * axis, curl_sweep(value)
    points, faces = curl_shape(
        axis=about, middle=middle, radius_mm=_CURL_MM, wire_mm=_CURL_WIRE_MM, sweep=sweep
    )
    arc = curl_arc(axis=about, middle=middle, radius_mm=_CURL_MM, sweep=sweep)
    at = target + arc[len(arc) // 2]
    text = f"{name} {abs(value):.0f} N mm\n{_short(words)}"
    curl = SurfaceItem(name=f"{side} {name} {abs(value):.0f} N mm: {words}", group=MOMENTS, role="moment", side=side,
                       seen_along=axis, hidden_at_first=hidden, points_mm=points + target, faces=faces)  # fmt: skip
    return curl, LabelItem(name=f"{side} {name}", group=MOMENTS, role="moment", side=side, seen_along=axis,
                           hidden_at_first=hidden, text=text, close_up=True, at_mm=at)  # fmt: skip


def _short(words: str) -> str:
    """The words of a moment as they fit beside a picture."""
    return words.split(",")[0].removeprefix("turns the crown's ")


def region_items(side: Side, s: SidePlan, turn: Array) -> tuple[list[SurfaceItem], list[LabelItem]]:
    """The ellipsoid that holds 95 % of the sampled centres of ``side``, and its size in words; none if not sampled."""
    if s.centre.confidence is None:
        return [], []
    points, faces = region_shape(s.centre.confidence)
    region = s.centre.confidence.uncertainty.region
    text = f"95 % region {region_size(region.half_axes_mm)}"
    ball = SurfaceItem(name=f"{side} {text}", group=REGION, role="region", opacity=0.45, side=side,
                       points_mm=points @ turn.T, faces=faces)  # fmt: skip
    return [ball], [LabelItem(name=f"{side} region", group=REGION, role="region", side=side, text=text,
                              at_mm=turn @ region.mean_mm, close_up=True)]  # fmt: skip


def region_size(half_axes_mm: Array) -> str:
    """The ellipsoid's three diameters: ``1.2 × 0.9 × 0.8 mm``."""
    return " × ".join(f"{2.0 * h:.1f}" for h in half_axes_mm) + " mm"


def stress_scale(plan: Plan) -> StressScale | None:
    """The scale of the worn bow's stress; None for a rigid bow, which has none."""
    largest, proof = plan.worn_after.max_stress_mpa, plan.bow_bench.material.proof_mpa
    if largest <= 0.0:
        return None
    return StressScale(
        scale_top_mpa(largest_mpa=largest, proof_mpa=proof), largest, proof, stress_place(plan)
    )


def stress_place(plan: Plan) -> str:
    """Where the stress is largest: ``inner bow, left, 54 mm from the middle``."""
    part, s_mm = plan.worn_after.max_stress_place
    wire = plan.worn_after.inner if part == "inner" else plan.worn_after.outer
    from_middle = s_mm - 0.5 * wire.length_mm
    return f"{part} bow, {'left' if from_middle > 0 else 'right'}, {abs(from_middle):.0f} mm from the middle"


def stress_point_mm(plan: Plan) -> tuple[Array, Side]:
    """Point (3,), LPS, of the largest stress on the worn bow, and its side."""
    part, s_mm = plan.worn_after.max_stress_place
    wire = plan.worn_after.inner if part == "inner" else plan.worn_after.outer
    return wire.at(s_mm), "left" if s_mm > 0.5 * wire.length_mm else "right"


def stress_surfaces(plan: Plan, turn: Array, *, hidden: bool) -> list[SurfaceItem]:
    """The worn bow's wires by halves, a little thicker than they are, coloured by stress; none for a rigid bow."""
    scale = stress_scale(plan)
    if scale is None:
        return []
    return [item for part in ("inner", "outer") for item in _halves(plan, part, turn, scale.top_mpa, hidden)]


def _halves(plan: Plan, part: PartName, turn: Array, top_mpa: float, hidden: bool) -> list[SurfaceItem]:
    wire = plan.worn_after.inner if part == "inner" else plan.worn_after.outer
    points, stress = wire.points_mm @ turn.T, np.asarray(plan.worn_after.stress_mpa[part])
    middle = len(points) // 2
    cuts: dict[Side, slice] = {"right": slice(None, middle + 1), "left": slice(middle, None)}
    found = []
    for side, cut in cuts.items():
        tube, faces, colours = stressed_tube(points[cut], stress[cut], top_mpa=top_mpa,
                                             radius_mm=0.6 * float(np.median(wire.diameter_mm)))  # fmt: skip
        found.append(
            SurfaceItem(
                name=f"stress in the {side} {part} bow",
                group=STRESS,
                role="stress",
                side=side,
                hidden_at_first=hidden,
                points_mm=tube,
                faces=faces,
                face_colours=colours,
            )
        )
    return found
