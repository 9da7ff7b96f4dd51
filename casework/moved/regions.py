"""Which places of the earlier scan are held still, and which are each molar's crown."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from casework.plan import Plan
from mechanics.sides import SIDES, Side, outward_sign
from mesh_tools.arrays import Array, BoolArray
from mesh_tools.errors import BadValueError
from mesh_tools.registration.samples import sampled
from mesh_tools.surface import Surface

HoldKind = Literal["rest", "palate", "teeth", "box"]

_ON_TOOTH_MM = 0.5  # a crown in two scans of one patient lies within this (common practice, no source)
_OFF_CEJ_MM = 0.5  # gum lies nearer to the root than this just apical of the cervical line: our choice
_CLEAR_MM = 4.0  # gum and neighbours this near a molar may go with it: our choice
_LEAST_CROWN_MM2, _LEAST_HELD_MM2 = 40.0, 100.0
_PALATE_SHARE, _PALATE_UP_MM, _PALATE_DOWN = 0.5, 4.0, 0.3
_CROWN_RADIUS_MM, _CROWN_IN_MM = 6.5, 5.0
_SAMPLES = 40_000


class RegionError(BadValueError):
    """A region holds too little of the scan; the text says which and what to choose."""


@dataclass(frozen=True, eq=False)
class Hold:
    """What is held still. ``rest``: everything but the molars; ``palate``: its middle, which treatment moves least.

    ``teeth``: within ``radius_mm`` of the ``seeds_mm`` (n, 3); ``box``: between the corners ``box_mm`` (2, 3). LPS.
    """

    kind: HoldKind = "rest"
    seeds_mm: Array | None = None
    radius_mm: float = 5.0
    box_mm: Array | None = None

    @property
    def words(self) -> str:
        """What is held still, in words."""
        if self.kind == "teeth":
            count = 0 if self.seeds_mm is None else len(self.seeds_mm)
            return f"{count} chosen place{'s' if count != 1 else ''} within {self.radius_mm:g} mm"
        return {"rest": "everything but the molars", "palate": "the palate", "box": "the chosen box"}[
            self.kind
        ]


def crown_faces(earlier: Surface, plan: Plan, side: Side) -> BoolArray:
    """Faces (m,) of ``earlier``, which lies in the case's frame, on the crown of the molar of ``side``.

    Raises RegionError when the scan does not show that crown where the case has it.
    """
    tooth = plan.molars.get(side)
    chosen = _near_tube(earlier, plan, side) if tooth is None else _on_tooth(earlier, tooth, plan, side)
    area = float(earlier.areas_mm2[chosen].sum())
    if area < _LEAST_CROWN_MM2:
        raise RegionError(
            f"the earlier scan shows {area:.0f} mm2 of the {side} molar's crown where the case has it, less than "
            f"{_LEAST_CROWN_MM2:g}: check its axes code, or give the scan the case was planned on."
        )
    return chosen


def held_faces(earlier: Surface, plan: Plan, hold: Hold, *, occlusal_mm: Array) -> BoolArray:
    """Faces (m,) of ``earlier`` that are held still, never near a molar; ``occlusal_mm`` (k, 3) of its plane.

    Raises RegionError for a region of less than a square centimetre.
    """
    chosen = ~_near_molars(earlier, plan)
    if hold.kind == "palate":
        chosen &= _palate(earlier, plan, occlusal_mm)
    elif hold.kind == "teeth":
        chosen &= _near_seeds(earlier, hold)
    elif hold.kind == "box":
        chosen &= _in_box(earlier, hold)
    area = float(earlier.areas_mm2[chosen].sum())
    if area < _LEAST_HELD_MM2:
        raise RegionError(
            f"{hold.words} hold{'s' if hold.kind in ('palate', 'box', 'rest') else ''} {area:.0f} mm2 of the earlier "
            f"scan, less than {_LEAST_HELD_MM2:g}, away from the molars: choose more of it, or another region."
        )
    return chosen


def _on_tooth(earlier: Surface, tooth: Surface, plan: Plan, side: Side) -> BoolArray:
    distance, _ = sampled(tooth, _SAMPLES).tree.query(
        earlier.face_centres_mm, distance_upper_bound=_ON_TOOTH_MM
    )
    chosen = np.isfinite(distance)
    anatomy = plan.sides[side].centre.anatomy
    if anatomy is not None:
        level = (anatomy.cervical_line_mm @ anatomy.long_axis).mean() - _OFF_CEJ_MM
        chosen &= earlier.face_centres_mm @ anatomy.long_axis < level
    return np.asarray(chosen)


def _near_tube(earlier: Surface, plan: Plan, side: Side) -> BoolArray:
    """Without a scan of the tooth: about the tube's middle, carried to the crown's."""
    middle = _crown_middle(plan, side)
    up = plan.treatment_rotation[2]
    low = (earlier.face_centres_mm - middle) @ up < 1.5
    return np.asarray(low & (np.linalg.norm(earlier.face_centres_mm - middle, axis=1) < _CROWN_RADIUS_MM))


def _crown_middle(plan: Plan, side: Side) -> Array:
    rule = plan.sides[side].rule
    inward = -outward_sign(side) * plan.treatment_rotation[0]
    return np.asarray(0.5 * (rule.tube_mesial_mm + rule.tube_distal_mm) + _CROWN_IN_MM * inward)


def _near_molars(earlier: Surface, plan: Plan) -> BoolArray:
    near = np.zeros(len(earlier.faces), dtype=bool)
    for side in SIDES:
        tooth = plan.molars.get(side)
        if tooth is None:
            away = np.linalg.norm(earlier.face_centres_mm - _crown_middle(plan, side), axis=1)
            near |= away < _CROWN_RADIUS_MM + _CLEAR_MM
        else:
            tree = sampled(tooth, _SAMPLES).tree
            near |= np.isfinite(tree.query(earlier.face_centres_mm, distance_upper_bound=_CLEAR_MM)[0])
    return near


def _palate(earlier: Surface, plan: Plan, occlusal_mm: Array) -> BoolArray:
    """The vault's middle, facing the mouth: between the molars, apical of the occlusal plane."""
    turned = earlier.face_centres_mm @ plan.treatment_rotation.T
    normals = earlier.area_vectors_mm2 @ plan.treatment_rotation.T
    middles = [plan.treatment_rotation @ _crown_middle(plan, s) for s in SIDES]
    centre, half = 0.5 * (middles[0][0] + middles[1][0]), 0.5 * abs(middles[0][0] - middles[1][0])
    level = float((occlusal_mm @ plan.treatment_rotation.T)[:, 2].mean())
    inside = np.abs(turned[:, 0] - centre) < _PALATE_SHARE * half
    high = turned[:, 2] > level + _PALATE_UP_MM
    down = normals[:, 2] < -_PALATE_DOWN * np.maximum(earlier.areas_mm2, 1e-12)
    return np.asarray(inside & high & down)


def _near_seeds(earlier: Surface, hold: Hold) -> BoolArray:
    if hold.seeds_mm is None or not len(hold.seeds_mm):
        raise RegionError("teeth are held still, but none is named: give a --seed on each.")
    from scipy.spatial import cKDTree  # slow to import

    distance, _ = cKDTree(hold.seeds_mm).query(earlier.face_centres_mm)
    return np.asarray(distance < hold.radius_mm)


def _in_box(earlier: Surface, hold: Hold) -> BoolArray:
    if hold.box_mm is None:
        raise RegionError("a box is held still, but none is given: give --box.")
    low, high = np.min(hold.box_mm, axis=0), np.max(hold.box_mm, axis=0)
    return np.asarray(((earlier.face_centres_mm >= low) & (earlier.face_centres_mm <= high)).all(axis=1))
