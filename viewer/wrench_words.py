"""Moments and fits as words for a person. Moments are in the treatment frame (+x left, +y back, +z up), about the
target, right-handed: of an upper molar, whose crown is below its roots.

* about x, *tip*: positive carries the crown back and the roots forward;
* about z, *yaw*: turns the crown about its long axis: mesial side to the cheek or to the palate;
* about y, *torque*: crown to the cheek and roots to the palate, or the other way round.
"""

from __future__ import annotations

from mechanics.bow.passivity import TerminalFit
from mechanics.sides import Side, outward_sign

LEAST_N_MM = 0.5
_LEAST_FIT_MM, _LEAST_FIT_DEG = 0.05, 0.1


def tip_words(moment_x_n_mm: float) -> str:
    """What the moment about the patient's left-right axis does."""
    if abs(moment_x_n_mm) < LEAST_N_MM:
        return "next to none"
    return (
        "tips the crown back, the roots forward"
        if moment_x_n_mm > 0
        else "tips the crown forward, the roots back"
    )


def yaw_words(moment_z_n_mm: float, side: Side) -> str:
    """What the moment about the vertical does."""
    if abs(moment_z_n_mm) < LEAST_N_MM:
        return "next to none"
    outward = outward_sign(side) * moment_z_n_mm > 0.0
    return f"turns the crown's mesial side {'outward' if outward else 'inward'}"


def torque_words(moment_y_n_mm: float, side: Side) -> str:
    """What the moment about the front-back axis does."""
    if abs(moment_y_n_mm) < LEAST_N_MM:
        return "next to none"
    crown_out = outward_sign(side) * moment_y_n_mm < 0.0
    return (
        "rolls the crown outward, the roots inward"
        if crown_out
        else "rolls the crown inward, the roots outward"
    )


def rotation_words(rotation_deg: float) -> str:
    """Which way an arm is bent, seen from behind: 0 up, 90 outward, 180 down, -90 inward."""
    turn = (rotation_deg + 180.0) % 360.0 - 180.0
    names = {0: "up", 90: "outward", 180: "down", -90: "inward", -180: "down"}
    nearest = round(turn / 90.0) * 90
    away = turn - nearest
    if abs(away) < 0.5:
        return names[nearest]
    other = names[((nearest + (90 if away > 0 else -90)) + 180) % 360 - 180]
    return f"{names[nearest]}, turned {abs(away):.0f}° {other}"


def fit_words(fit: TerminalFit) -> str:
    """Whether a terminal goes into its tube by itself, and if not, what is off."""
    if fit.passive:
        return "passive: it goes in without force"
    gaps = [(fit.out_mm, "outward", "inward"), (fit.distal_mm, "too far back", "too far forward"),
            (fit.up_mm, "too high", "too low")]  # fmt: skip
    angles = [(fit.toe_in_deg, "toed in", "toed out"), (fit.tip_up_deg, "tipped up", "tipped down")]
    said = [
        f"{abs(v):.1f} mm {plus if v > 0 else minus}" for v, plus, minus in gaps if abs(v) >= _LEAST_FIT_MM
    ]
    said += [
        f"{abs(v):.1f}° {plus if v > 0 else minus}" for v, plus, minus in angles if abs(v) >= _LEAST_FIT_DEG
    ]
    return "NOT passive: the terminal lies " + (", ".join(said) or f"{fit.gap_mm:.2f} mm off its tube")


def shift_words(slope_mm: float) -> str:
    """Where a change of one unit carries the line of force at the target."""
    if abs(slope_mm) < 0.005:
        return "no change"
    return f"{abs(slope_mm):.2f} mm {'apical' if slope_mm > 0 else 'occlusal'}"
