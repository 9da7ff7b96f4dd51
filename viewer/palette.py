"""What each thing in a scene looks like: colours that colour-blind people can tell apart, widths, glyphs.

The hues are those of Okabe M, Ito K 2008 "Color Universal Design" (eight colours told apart with every common
kind of colour blindness), given roles of our own; no role relies on hue alone: lines differ in width and dash,
estimates in glyph.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

BLACK, ORANGE, SKY = "#000000", "#E69F00", "#56B4E9"
GREEN, YELLOW, BLUE = "#009E73", "#F0E442", "#0072B2"
VERMILION, PURPLE, GREY = "#D55E00", "#CC79A7", "#6B7280"

Role = Literal[
    "molar", "face", "arch", "bow_before", "bow_after", "bow_bench", "line_before", "line_after", "strap", "tube",
    "target", "rule", "furcation", "root_fraction", "root_centroid", "elastic_foundation", "thin_layer",
    "finite_elements", "estimate", "dimension", "bend", "force", "cervical_line", "crest", "region", "resistance_axis",
    "moment", "stress", "cheek_dot", "cheek_mark", "cheek_rule", "cheek_way", "strap_skin", "gap",
]  # fmt: skip
Glyph = Literal["sphere", "cube", "diamond", "cross", "ring", "up", "down"]


@dataclass(frozen=True)
class Look:
    """How one role is drawn: fill, text colour with contrast 4.5:1 or more on white, line width, dash and glyph."""

    colour: str
    text: str
    width_px: float = 2.0
    dashed: bool = False
    glyph: Glyph = "sphere"


_LOOKS: dict[Role, Look] = {
    "molar": Look("#EADFC8", "#5F5132"),
    "face": Look("#D9C3B0", "#6B4F3A"),
    "arch": Look("#E6DCD3", "#5C5148"),
    "bow_before": Look("#8A93A0", "#4B5563", width_px=1.6, dashed=True),
    "bow_after": Look(BLUE, "#00517F", width_px=3.4),
    "bow_bench": Look(SKY, "#0B6A9E", width_px=2.0),
    "line_before": Look(GREY, "#4B5563", width_px=1.6, dashed=True),
    "line_after": Look(VERMILION, "#A84A00", width_px=2.8),
    "strap": Look("#9A6B3A", "#6A3F18", width_px=8.0),
    "tube": Look("#4A5568", "#374151", width_px=4.0),
    "target": Look(VERMILION, "#A84A00", glyph="ring"),
    "rule": Look(ORANGE, "#855B00", glyph="cross"),
    "furcation": Look(PURPLE, "#8A3D66", glyph="down"),
    "root_fraction": Look(SKY, "#0B6A9E", glyph="cube"),
    "root_centroid": Look(GREEN, "#00664B", glyph="up"),
    "elastic_foundation": Look(VERMILION, "#A84A00", glyph="sphere"),
    "thin_layer": Look(BLUE, "#00517F", glyph="diamond"),
    "finite_elements": Look(BLACK, "#000000", glyph="diamond"),
    "estimate": Look(GREY, "#4B5563", glyph="sphere"),
    "dimension": Look("#111827", "#111827", width_px=1.2),
    "bend": Look(BLUE, "#00517F", glyph="ring"),
    "force": Look(GREEN, "#00664B", width_px=3.0),
    "moment": Look("#8A3D66", "#8A3D66", width_px=3.0),
    "stress": Look("#CC4248", "#9B2A30", width_px=3.4),
    "cervical_line": Look("#8C6D1F", "#6B5210", width_px=2.2),
    "crest": Look(PURPLE, "#8A3D66", width_px=2.2, dashed=True),
    "region": Look(SKY, "#0B6A9E"),
    "cheek_dot": Look(VERMILION, "#A84A00", glyph="sphere"),
    "cheek_mark": Look(BLACK, "#111827", glyph="diamond"),
    "cheek_rule": Look(ORANGE, "#855B00", glyph="cross"),
    "cheek_way": Look(BLACK, "#111827", width_px=1.8),
    "strap_skin": Look("#7A4E24", "#5C3613", width_px=8.0),
    "gap": Look(GREEN, "#00664B", glyph="up"),
    "resistance_axis": Look("#374151", "#374151", width_px=1.4),
}

WIDE_ROLES: frozenset[Role] = frozenset({"target", "bend", "bow_after", "bow_before"})
"""Roles of the points that are named in a picture of the whole bow; the rest is named in close-ups."""

ON_FACE_ROLES: frozenset[Role] = frozenset({
    "face", "cheek_dot", "cheek_mark", "cheek_rule", "cheek_way", "strap_skin", "gap",
})  # fmt: skip
"""What lies on or outside the face, and would hide a molar in its close-up."""

METHOD_ROLES: dict[str, Role] = {
    "rule_of_thumb": "rule",
    "furcation": "furcation",
    "root_fraction": "root_fraction",
    "root_centroid": "root_centroid",
    "elastic_foundation": "elastic_foundation",
    "thin_layer": "thin_layer",
    "finite_elements": "finite_elements",
}


def look(role: Role) -> Look:
    """The look of ``role``."""
    return _LOOKS[role]


def relative_luminance(colour: str) -> float:
    """Relative luminance of ``#rrggbb``; formula of WCAG 2.2 (W3C Recommendation), from 0 to 1."""
    channels = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours by WCAG 2.2: 1 for equal ones, 21 for black on white."""
    light, dark = sorted((relative_luminance(one), relative_luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)
