"""Numbers and names as words for a person: bends, forces, directions, methods."""

from __future__ import annotations

from casework.case_file import N_PER_GF
from mechanics.sides import Side

METHOD_NAMES: dict[str, str] = {
    "rule_of_thumb": "rule of thumb",
    "furcation": "furcation",
    "root_fraction": "fraction of root length",
    "root_centroid": "centroid of root surface",
    "elastic_foundation": "elastic foundation",
    "thin_layer": "thin layer",
    "finite_elements": "finite elements",
}
_SMALL_N = 0.005


def method_name(method: str) -> str:
    """Plain name of a method of estimating the centre of resistance."""
    return METHOD_NAMES.get(method, method.replace("_", " "))


def signed(value: float, *, digits: int = 1) -> str:
    """Number with its sign, a real minus, and no sign on a zero."""
    rounded = round(value, digits)
    mark = "+" if rounded > 0 else "\N{MINUS SIGN}" if rounded < 0 else ""
    return f"{mark}{abs(rounded):.{digits}f}"


def bend_words(bend_deg: float) -> str:
    """The bend as an order: ``UP 12.5°``, ``DOWN 3.0°`` or ``no bend``."""
    if abs(bend_deg) < 0.05:
        return "no bend"
    return f"{'UP' if bend_deg > 0 else 'DOWN'} {abs(bend_deg):.1f}°"


def bend_order(side: Side, *, bend_deg: float, place_mm: float, solved: bool = True) -> str:
    """The order for one side in a sentence; no order where no bend within the limits does it."""
    if not solved:
        return f"Do not bend the {side} outer arm from this plan: the target is not reached."
    if abs(bend_deg) < 0.05:
        return f"Leave the {side} outer arm as it is."
    return f"Bend the {side} outer arm {bend_words(bend_deg)} at {place_mm:.0f} mm from the middle."


def force_words(force_n: float) -> str:
    """A force in N and gf: ``4.00 N (408 gf)``."""
    return f"{force_n:.2f} N ({force_n / N_PER_GF:.0f} gf)"


def vertical_words(vertical_n: float) -> str:
    """Vertical force in words; positive is apical, so intrusive."""
    if abs(vertical_n) < _SMALL_N:
        return "no vertical force"
    return f"{'intrusive' if vertical_n > 0 else 'extrusive'} {force_words(abs(vertical_n))}"


def distal_words(distal_n: float) -> str:
    """Force along the arch in words; positive is distal."""
    if abs(distal_n) < _SMALL_N:
        return "no distal force"
    return f"{'distal' if distal_n > 0 else 'mesial'} {force_words(abs(distal_n))}"


def lateral_words(lateral_n: float) -> str:
    """Force across the arch in words; positive is buccal."""
    if abs(lateral_n) < _SMALL_N:
        return "no lateral force"
    return f"{'buccal' if lateral_n > 0 else 'palatal'} {force_words(abs(lateral_n))}"


def offset_words(offset_mm: float) -> str:
    """Where the line of force passes the target: ``3.2 mm apical of it``."""
    if abs(offset_mm) < 0.05:
        return "through the target"
    return f"{abs(offset_mm):.1f} mm {'apical' if offset_mm > 0 else 'occlusal'} of it"


MOVEMENT_WORDS = {
    "bodily": "bodily movement",
    "crown_distal_tip": "tips the crown back",
    "root_distal_tip": "tips the roots back",
}


def tipping_words(moment_n_mm: float) -> str:
    """What a tipping moment does first: a line apical of the centre tips the roots back, occlusal the crown.

    Source: Worms FW, Isaacson RJ, Speidel TM 1973 Angle Orthod 43:384-401; Contasti GI, Legan HL J Clin Orthod.
    """
    if abs(moment_n_mm) < 0.5:
        return "bodily movement"
    return "tips the roots back" if moment_n_mm > 0 else "tips the crown back"
