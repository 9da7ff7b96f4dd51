"""Whether a landmark is plausible: every check gives lines for a person, with the number and what was expected."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import numpy as np

from casework.desk.draft import Draft
from casework.desk.landmarks import LandmarkKind, frame_of, kind_of, lies_on, midsagittal, point_of
from casework.frame import treatment_rotation
from mechanics.bow.needs import FRONT_MM, SKEW_DEG
from mechanics.sides import Side, outward_sign
from mesh_tools.arrays import Array
from mesh_tools.errors import BowtrueError
from mesh_tools.surface import Surface

TUBE_MM = (2.0, 8.0)  # a headgear tube is about 4 mm long (common practice, no source)
# The crown of an upper first molar is 7.5 mm high (Ash/Nelson, Wheeler's Dental Anatomy); the tube sits on it.
TUBE_LEVEL_MM = (1.0, 8.0)
TUBE_TILT_DEG = 20.0  # our choice
# Mouth breadth of children, medians 39-42 mm from 8 to 13 years: Snyder RG et al. 1977, UM-HSRI-77-17.
MOUTH_MM = (30.0, 55.0)
BEHIND_TUBE_MM = (
    20.0  # hooks stand level with the first molars' mesial faces (Isaacson, Muir, Reed 2002 p 46)
)
_ASYMMETRY_MM: dict[str, float] = {"tube": 5.0, "mouth": 6.0, "strap": 15.0}  # our choice
_ROLL_DEG = 3.0  # our choice
_OFF_PLANE_MM = 1.0  # our choice

Found = Iterator[str]
Check = Callable[["_Seen"], Found]


class _Seen:
    """What the checks of one landmark look at; ``at`` and the rest in the treatment frame."""

    def __init__(
        self,
        draft: Draft,
        kind: LandmarkKind,
        surfaces: Mapping[str, Surface],
        hooks_mm: Mapping[Side, Array],
    ) -> None:
        self.draft, self.kind, self.surfaces = draft, kind, surfaces
        self.rotation = frame_of(draft)
        self.hooks = {s: self.rotation @ h for s, h in hooks_mm.items()}

    def at(self, name: str) -> Array | None:
        """A landmark (3,) or (n, 3) in the treatment frame."""
        point = point_of(self.draft, name)
        return None if point is None else np.asarray(point @ self.rotation.T)

    @property
    def placed(self) -> Array:
        """The landmark itself, LPS."""
        point = point_of(self.draft, self.kind.name)
        assert point is not None
        return point

    @property
    def here(self) -> Array:
        """The landmark itself, treatment frame."""
        return np.asarray(self.placed @ self.rotation.T)

    def level_mm(self, point: Array) -> float | None:
        """Height of a point over the occlusal plane."""
        plane = self.at("occlusal_plane_mm")
        return None if plane is None or len(plane) < 3 else float(point[2] - plane[:, 2].mean())


def plausibility(
    draft: Draft, surfaces: Mapping[str, Surface], name: str, *, hooks_mm: Mapping[Side, Array] | None = None
) -> list[str]:
    """What speaks against the landmark ``name`` where it is; empty when nothing does, or when it is not placed.

    ``surfaces``: the scans by key, LPS mm. ``hooks_mm``: the bow's hooks in LPS, when there is a bow already. Raises
    BadValueError for an unknown name.
    """
    kind = kind_of(name)
    if point_of(draft, name) is None:
        return []
    seen = _Seen(draft, kind, surfaces, hooks_mm or {})
    return [line for check in _CHECKS[kind.group] for line in check(seen)]


def _on_its_scan(seen: _Seen) -> Found:
    kind = seen.kind
    for k, point in enumerate(np.atleast_2d(seen.placed)):
        on = lies_on(kind.name, point, seen.surfaces)
        if on is None or kind.from_mm <= on[1] <= kind.to_mm:
            continue
        which = f"point {k + 1} " if kind.many else ""
        where = "outside" if on[1] > 0.0 else "inside"
        yield f"{which}lies {abs(on[1]):.1f} mm {where} the surface of {on[0]}; expected {_span(kind)}."


def _span(kind: LandmarkKind) -> str:
    if kind.from_mm < 0.0:
        return f"on it, within {max(-kind.from_mm, kind.to_mm):g} mm"
    return f"{kind.from_mm:g} to {kind.to_mm:g} mm outside it"


def _on_its_side(seen: _Seen) -> Found:
    side, plane = seen.kind.side, midsagittal(seen.draft, without=seen.kind.name)
    if side is None:
        return
    partner = seen.at(seen.kind.partner or "")
    sign = outward_sign(side)
    if partner is not None and sign * (seen.here[0] - partner[0]) <= 0.0:
        yield "the right and the left one seem exchanged: +x is the patient's left."
    elif plane is not None:
        off = sign * float(plane.height_mm(seen.placed))
        if off <= 0.0:
            yield f"lies {-off:.1f} mm beyond the middle, on the other side; +x is the patient's left."


def _like_its_partner(seen: _Seen) -> Found:
    kind = seen.kind
    theirs, plane = point_of(seen.draft, kind.partner or ""), midsagittal(seen.draft, without=kind.name)
    if theirs is None or plane is None:
        return
    apart = float(np.linalg.norm(plane.mirrored(theirs) - seen.placed))
    if apart > _ASYMMETRY_MM[kind.group]:
        yield (
            f"lies {apart:.1f} mm from the mirror image of the other side's; more than {_ASYMMETRY_MM[kind.group]:g} "
            "mm is unusual: check both."
        )


def _tube(seen: _Seen) -> Found:
    side = seen.kind.side
    ends = [seen.at(f"tube_{side}_{end}_mm") for end in ("mesial", "distal")]
    if ends[0] is None or ends[1] is None:
        return
    along = ends[1] - ends[0]
    length = float(np.linalg.norm(along))
    if not TUBE_MM[0] <= length <= TUBE_MM[1]:
        yield f"the tube is {length:.1f} mm long; expected {TUBE_MM[0]:g} to {TUBE_MM[1]:g} mm, about 4."
    if along[1] <= 0.0:
        yield "the mesial end lies behind the distal end; mesial is in front: exchange them."
    elif length > 0.0:
        yield from _turned(along / length)


def _turned(axis: Array) -> Found:
    skew = float(np.degrees(np.arccos(np.clip(axis[1], -1.0, 1.0))))
    tilt = float(np.degrees(np.arcsin(np.clip(axis[2], -1.0, 1.0))))
    if skew > SKEW_DEG:
        yield f"the tube points {skew:.0f} degrees away from straight back; no bow fits above {SKEW_DEG:g}."
    elif abs(tilt) > TUBE_TILT_DEG:
        yield f"the tube is tilted {abs(tilt):.0f} degrees to the occlusal plane; usual is less than {TUBE_TILT_DEG:g}."


def _tube_level(seen: _Seen) -> Found:
    level = seen.level_mm(seen.here)
    if level is not None and not TUBE_LEVEL_MM[0] <= level <= TUBE_LEVEL_MM[1]:
        low, high = TUBE_LEVEL_MM
        yield f"lies {level:+.1f} mm over the occlusal plane; a molar's tube lies {low:g} to {high:g} mm apical of it."


def _mouth(seen: _Seen) -> Found:
    partner = seen.at(seen.kind.partner or "")
    if partner is None:
        return
    width = float(np.linalg.norm(seen.here - partner))
    if not MOUTH_MM[0] <= width <= MOUTH_MM[1]:
        yield (
            f"the mouth corners lie {width:.0f} mm apart; about 40 mm in a child of 8 to 13 years, expected "
            f"{MOUTH_MM[0]:g} to {MOUTH_MM[1]:g}."
        )


def _mouth_in_front(seen: _Seen) -> Found:
    tube = seen.at(f"tube_{seen.kind.side}_mesial_mm")
    if tube is not None and seen.here[1] >= tube[1]:
        yield f"lies {seen.here[1] - tube[1]:.1f} mm behind the tube's mesial end; a mouth corner is in front of it."


def _strap_behind(seen: _Seen) -> Found:
    side = seen.kind.side
    assert side is not None
    hook, tube = seen.hooks.get(side), seen.at(f"tube_{side}_mesial_mm")
    if hook is not None:
        if seen.here[1] <= hook[1]:
            yield f"lies {hook[1] - seen.here[1]:.1f} mm in front of the hook; a strap pulls back: move it back."
    elif tube is not None and seen.here[1] < tube[1] + BEHIND_TUBE_MM:
        yield (
            f"lies {seen.here[1] - tube[1]:.1f} mm behind the tube; hooks stand about level with it, so the strap is "
            f"expected at least {BEHIND_TUBE_MM:g} mm behind it."
        )


def _strap_level(seen: _Seen) -> Found:
    level, high = seen.level_mm(seen.here), seen.kind.name.startswith("high_")
    if level is None:
        return
    if high and level < 0.0:
        yield f"lies {-level:.0f} mm below the occlusal plane; a head cap's strap comes from above it."
    if not high and level > 10.0:
        yield f"lies {level:.0f} mm above the occlusal plane; a neck strap comes from below it, by about 25 degrees."


def _incisor(seen: _Seen) -> Found:
    tubes = [seen.at(f"tube_{s}_mesial_mm") for s in ("right", "left")]
    known = [t for t in tubes if t is not None]
    if known:
        depth = float(min(t[1] for t in known) - seen.here[1])
        if depth < FRONT_MM:
            yield f"lies {depth:.1f} mm in front of the tubes; a bow needs at least {FRONT_MM:g} mm."
    plane = midsagittal(seen.draft)
    off = None if plane is None else abs(float(plane.height_mm(seen.placed)))
    if off is not None and off > _ASYMMETRY_MM["tube"]:
        yield f"lies {off:.1f} mm from the middle between both sides; check it, or the midline is shifted."


def _occlusal(seen: _Seen) -> Found:
    points = seen.placed
    if len(points) < 3:
        yield f"{len(points)} of at least 3 points are placed: a molar's cusp on each side and an incisal edge."
        return
    try:
        treatment_rotation(points)
    except BowtrueError as err:
        yield str(err).removeprefix("landmarks.occlusal_plane_mm ")
        return
    yield from _rolled(seen)
    off = np.abs((points - points.mean(axis=0)) @ seen.rotation[2])
    worst = int(np.argmax(off))
    if off[worst] > _OFF_PLANE_MM:
        yield f"point {worst + 1} lies {off[worst]:.1f} mm off their plane; more than {_OFF_PLANE_MM:g} mm is unusual."


def _rolled(seen: _Seen) -> Found:
    """The plane against the line between the sides, in front view."""
    right, left = seen.at("tube_right_mesial_mm"), seen.at("tube_left_mesial_mm")
    if right is None or left is None or np.linalg.norm(left - right) < FRONT_MM:
        return
    roll = float(np.degrees(np.arctan2(left[2] - right[2], left[0] - right[0])))
    if abs(roll) > _ROLL_DEG:
        yield (
            f"in front view the plane leans {abs(roll):.1f} degrees against the line between the tubes; more than "
            f"{_ROLL_DEG:g} is unusual: check the molars' points."
        )


_CHECKS: Mapping[str, tuple[Check, ...]] = {
    "tube": (_on_its_scan, _on_its_side, _tube, _tube_level, _like_its_partner),
    "occlusal plane": (_on_its_scan, _occlusal),
    "incisors": (_on_its_scan, _incisor),
    "mouth": (_on_its_scan, _on_its_side, _mouth, _mouth_in_front, _like_its_partner),
    "strap": (_on_its_scan, _on_its_side, _strap_behind, _strap_level, _like_its_partner),
}  # fmt: skip
