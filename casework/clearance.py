"""The worn bow's distance from the patient, as the case's landmarks and scans give it, and what to warn of."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from casework.bow_needs import landmark
from casework.case_file import CaseModel
from casework.solving import mouth_corners
from mechanics.bow.skin import Skin
from mechanics.bow.wire import BowWire, WornBow
from mechanics.clearance.along import Clearance, Least, inner_clearance, mouth_exits, outer_clearance
from mechanics.sides import SIDES, Side, outward_sign
from mesh_tools.arrays import Array
from mesh_tools.surface import Surface

_NEAR_MM = 1.0  # a gap below this counts as touching the skin: our choice
_TOUCH_MM = 0.5  # and below this as touching teeth or gum: our choice
_SNAG_MM = 20.0  # an arm farther from the cheek catches in pillow and clothes: our choice
_LIP_MM = 3.0  # more than this above or below the corner lifts or lowers the lip: our choice
_THING = {"cheek": "cheek", "incisors": "incisors", "teeth": "teeth", "gingiva": "gingiva"}


def case_clearance(
    case: CaseModel, worn: WornBow, bow: BowWire, *, rotation: Array, skin: Skin | None, arch: Surface | None
) -> Clearance:
    """The clearance of ``worn`` in the treatment frame, in which all but ``arch`` (LPS) are."""
    corners = mouth_corners(case, rotation)
    occlusal_z = float(np.mean(landmark(case, "occlusal_plane_mm") @ rotation[2]))
    incisor = rotation @ landmark(case, "incisor_contact_mm")
    return Clearance(
        outer=None if skin is None else outer_clearance(worn, bow.joint, skin, corner_mm=corners),
        inner=None
        if arch is None
        else inner_clearance(
            worn, bow, Skin(arch.moved(rotation)), incisor_mm=incisor, occlusal_z_mm=occlusal_z
        ),
        exits=mouth_exits(worn, bow.joint, corner_mm=corners),
    )


def clearance_warnings(clearance: Clearance) -> list[str]:
    """Where the worn bow touches or presses, lies far off, or pulls a lip up or down: a sentence each."""
    found = [text for least in clearance.least() for text in _near(least)]
    return [*found, *_far(clearance), *_lips(clearance)]


def _near(least: Least) -> list[str]:
    limit = {"cheek": _NEAR_MM, "lips": -np.inf, "mouth corner": -np.inf}.get(least.region, _TOUCH_MM)
    if least.gap_mm >= limit:
        return []
    place = f"{least.s_mm:.0f} mm from the middle"
    wire = "outer arm" if least.region == "cheek" else "inner bow"
    way = "widen the bow" if least.region == "cheek" else "carry the bow forward or outward"
    if least.gap_mm < 0.0:
        does = f"presses {-least.gap_mm:.1f} mm into the {_THING[least.region]}"
    else:
        does = f"comes within {least.gap_mm:.1f} mm of the {_THING[least.region]}"
    return [f"{least.side} side: the worn {wire} {does} {place}; it should be near but touch nowhere: {way}."]


def _far(clearance: Clearance) -> list[str]:
    wire = clearance.outer
    if wire is None:
        return []
    found = []
    for side in SIDES:
        arm = (np.array(wire.region) == "cheek") & (outward_sign(side) * wire.s_mm > 0.0)
        if arm.any() and wire.gap_mm[arm].max() > _SNAG_MM:
            k = int(np.flatnonzero(arm)[np.argmax(wire.gap_mm[arm])])
            found.append(
                f"{side} side: the worn outer arm stands {wire.gap_mm[k]:.0f} mm off the cheek "
                f"{abs(wire.s_mm[k]):.0f} mm from the middle, where it catches in pillow and clothes: narrow the bow."
            )
    return found


def _lips(clearance: Clearance) -> list[str]:
    exits = clearance.exits
    found = [
        *_pulled({s: e.above_mm for s, e in exits.items() if e.above_mm > _LIP_MM}, "above", "lifts"),
        *_pulled({s: e.above_mm for s, e in exits.items() if e.above_mm < -_LIP_MM}, "below", "lowers"),
    ]
    return found + [
        f"{side} side: the worn bow passes {-e.ahead_mm:.1f} mm behind the mouth corner and draws it back: carry the "
        "bow forward."
        for side, e in exits.items()
        if e.ahead_mm < 0.0
    ]


def _pulled(off_mm: Mapping[Side, float], where: str, does: str) -> list[str]:
    """One sentence for the sides on which the bow pulls the lip the same way."""
    if not off_mm:
        return []
    amounts = " and ".join(f"{abs(mm):.1f} mm ({side})" for side, mm in off_mm.items())
    return [
        f"The worn bow passes {amounts} {where} the mouth corner and {does} the lip: step the inner bow ahead of its "
        "tubes."
    ]
