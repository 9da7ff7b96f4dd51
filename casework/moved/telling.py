"""The movement between two scans as text and as JSON."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from casework.cautions import CAUTIONS, SHORT_CAUTION
from casework.moved.moved import Moved, SideMoved
from casework.moved.toothmove import AXES, SCAN_SD_MM, TURNS, Prediction, ToothMove
from casework.moved.verdict import GROWTH_MM_A_YEAR
from mechanics.screw import Screw

MOVED_SCHEMA = 1
_WAYS = (("outward", "inward"), ("back", "forward"), ("up (in)", "down (out)"))
_TURN_WAYS = (
    ("tip, crown back", "tip, roots back"),
    ("torque, crown outward", "torque, crown inward"),
    ("rotation, mesial end outward", "rotation, mesial end inward"),
)
_KINDS = {
    "bodily": "bodily movement", "crown_distal_tip": "crown tipping back", "root_distal_tip": "roots tipping back",
}  # fmt: skip


def moved_text(found: Moved) -> str:
    """What ``bowtrue moved`` prints."""
    over = "" if found.months is None else f" over {found.months:g} months"
    lines = [
        f"Case {found.case_id}: what each molar did{over}",
        f"  held still: {found.hold}, {found.held_mm2:.0f} mm2, rms {found.held_rms_mm:.3f} mm, "
        f"{found.held_agreement:.0%} agrees",
    ]
    for side in found.sides.values():
        lines += _side_lines(side)
    lines += [f"  ! {note}" for note in found.notes]
    return "\n".join([*lines, SHORT_CAUTION])


def _side_lines(side: SideMoved) -> Iterator[str]:
    move = side.move
    yield f"  {move.side:5s} {move.tooth}: {_verdict(side)}"
    yield f"        crown {_parts(move.motion.crown_mm, move.sd.crown_mm, _WAYS, 'mm', 2)}"
    yield f"        turned {_parts(move.motion.turn_deg, move.sd.turn_deg, _TURN_WAYS, 'deg', 1)}"
    yield f"        {_pole(move)}{_screw(move.screw)}"
    if side.predicted is not None:
        yield f"        {_predicted(side, side.predicted)}"


def _verdict(side: SideMoved) -> str:
    c = side.compared
    if c.verdict == "nothing moved":
        return "no movement beyond the noise of the scans"
    if c.verdict == "no prediction":
        return "moved; the plan saw no roots, so nothing was predicted"
    if c.verdict == "as predicted":
        return f"{c.along_mm:.1f} mm along the predicted way; what differs is within noise"
    if c.verdict == "growth may explain it":
        grown = ", ".join(
            f"{abs(v):.1f} mm {w[0] if v > 0 else w[1]}"
            for v, w in zip(c.growth_mm, _WAYS, strict=True)
            if abs(v) > 0.05
        )
        return f"{c.along_mm:.1f} mm along the predicted way; growth may explain the rest ({grown})"
    return (
        f"DIFFERS from the prediction by {float(np.linalg.norm(c.across_mm)):.1f} mm and "
        f"{float(np.linalg.norm(c.turn_off_deg)):.0f} deg, more than noise and growth explain: look at line and wear"
    )


def _parts(values: Any, sd: Any, words: tuple[tuple[str, str], ...], unit: str, digits: int) -> str:
    return "; ".join(
        f"{abs(v):.{digits}f} ± {1.96 * s:.{digits}f} {unit} {w[0] if v >= 0.0 else w[1]}"
        for v, s, w in zip(values, sd, words, strict=True)
    )


def _pole(move: ToothMove) -> str:
    if move.pole_up_mm is None or move.pole_sd_mm is None:
        return "centre of rotation: none beyond noise, it does not tip measurably"
    place = "above" if move.pole_up_mm > 0.0 else "below"
    tip = (
        ""
        if move.tip_deg_per_mm is None
        else f"; {abs(move.tip_deg_per_mm):.1f} deg of tip per mm of crown travel"
    )
    return f"centre of rotation {abs(move.pole_up_mm):.1f} ± {move.pole_sd_mm:.1f} mm {place} the target{tip}"


def _screw(screw: Screw | None) -> str:
    if screw is None or screw.point_mm is None:
        return ""
    at = ", ".join(f"{v:.1f}" for v in screw.point_mm)
    way = ", ".join(f"{v:.2f}" for v in screw.axis)
    return f"; screw axis at ({at}) toward ({way}), {np.degrees(screw.angle):.1f} deg, {screw.along_mm:+.2f} mm along"


def _predicted(side: SideMoved, predicted: Prediction) -> str:
    way = predicted.way
    pole = "far away" if predicted.pole_up_mm is None or abs(predicted.pole_up_mm) > 200.0 else (
        f"{abs(predicted.pole_up_mm):.0f} mm {'above' if predicted.pole_up_mm > 0.0 else 'below'} the target"
    )  # fmt: skip
    angle = "" if side.compared.angle_deg is None or side.compared.verdict == "nothing moved" else (
        f"; the crown's way lies {side.compared.angle_deg:.0f} deg from it"
    )  # fmt: skip
    return (
        f"predicted for each mm: {way[1]:+.2f} back, {way[2]:+.2f} up, {way[0]:+.2f} outward, tip {way[3]:+.1f} deg "
        f"({_KINDS[predicted.kind]}, centre of rotation {pole}){angle}"
    )


def moved_as_dict(found: Moved) -> dict[str, Any]:
    """Plain numbers for JSON; LPS mm where a place is meant."""
    return {
        "schema": MOVED_SCHEMA,
        "case_id": found.case_id,
        "months": found.months,
        "held": {"what": found.hold, "mm2": found.held_mm2, "rms_mm": found.held_rms_mm,
                 "agreement": found.held_agreement},
        "sides": {name: _side_dict(side) for name, side in found.sides.items()},
        "assumed": {"scan_sd_mm": SCAN_SD_MM, "growth_mm_a_year": GROWTH_MM_A_YEAR},
        "notes": list(found.notes),
        "cautions": [c.text for c in CAUTIONS],
    }  # fmt: skip


def _side_dict(side: SideMoved) -> dict[str, Any]:
    move, c = side.move, side.compared
    return {
        "tooth": move.tooth,
        "crown_mm": _named(AXES, move.motion.crown_mm),
        "crown_sd_mm": _named(AXES, move.sd.crown_mm),
        "turn_deg": _named(TURNS, move.motion.turn_deg),
        "turn_sd_deg": _named(TURNS, move.sd.turn_deg),
        "target_mm": _named(AXES, move.target_mm),
        "tip_deg_per_mm": move.tip_deg_per_mm,
        "centre_of_rotation_mm": None if move.pole_mm is None else move.pole_mm.tolist(),
        "centre_of_rotation_up_mm": move.pole_up_mm,
        "centre_of_rotation_sd_mm": move.pole_sd_mm,
        "screw": _screw_dict(move.screw),
        "rms_mm": move.rms_mm,
        "agreement": move.agreement,
        "predicted_for_each_mm": None if side.predicted is None else {
            **_named(AXES, side.predicted.way[:3]), **_named(TURNS, side.predicted.way[3:]),
            "centre_of_rotation_up_mm": side.predicted.pole_up_mm, "kind": side.predicted.kind,
        },
        "verdict": c.verdict,
        "along_predicted_mm": c.along_mm,
        "across_mm": _named(AXES, c.across_mm),
        "turn_off_deg": _named(TURNS, c.turn_off_deg),
        "angle_to_predicted_deg": c.angle_deg,
        "misfit": c.misfit,
        "misfit_limit": c.limit,
        "growth_mm": _named(AXES, c.growth_mm),
    }  # fmt: skip


def _screw_dict(screw: Screw | None) -> dict[str, Any] | None:
    if screw is None or screw.point_mm is None:
        return None
    return {
        "axis": screw.axis.tolist(), "point_mm": screw.point_mm.tolist(), "angle_deg": float(np.degrees(screw.angle)),
        "along_mm": screw.along_mm,
    }  # fmt: skip


def _named(names: tuple[str, ...], values: Any) -> dict[str, float]:
    return {name: float(v) for name, v in zip(names, values, strict=True)}
