"""Names of roots and furcation entrances, and the buccal and mesial axes that the roots show."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from mesh_tools.anatomy.frame import ToothFrame, facial_direction, mesial_direction
from mesh_tools.anatomy.roots import RootPeak
from mesh_tools.arrays import Array, unit
from mesh_tools.fdi import ToothNumber

_BUCCAL_NAMES = ("mesiobuccal", "distobuccal")


def inner_side(tooth: ToothNumber) -> str:
    """What the tongue's side is called: palatal in the upper jaw, lingual in the lower."""
    return "palatal" if tooth.upper else "lingual"


def arch_axes(frame: ToothFrame, tooth: ToothNumber) -> Array:
    """Rows facial and mesial (2, 2) in the frame's cross coordinates: the average arch seen from this
    tooth."""
    rows = np.stack([facial_direction(tooth), mesial_direction(tooth)]) @ frame.axes[:2].T
    return np.asarray(rows / np.linalg.norm(rows, axis=1, keepdims=True))


def root_centres(points_tooth: Array, roots: Sequence[RootPeak]) -> Array:
    """Mean cross position (k, 2) of the points of every root's free part."""
    return np.array([points_tooth[root.points, :2].mean(axis=0) for root in roots])


def root_names(centres: Array, arch: Array, tooth: ToothNumber) -> tuple[str, ...]:
    """A name for every root at ``centres`` (k, 2), most usual names for this tooth and number of roots."""
    seen = centres @ arch.T
    if len(seen) == 1:
        return ("single",)
    if len(seen) == 2:
        return _two_names(seen, tooth)
    if len(seen) == 3:
        return _three_names(seen, tooth)
    middle = seen.mean(axis=0)
    names = [
        ("mesio" if m > middle[1] else "disto") + ("buccal" if b > middle[0] else inner_side(tooth))
        for b, m in seen
    ]
    return tuple(f"{n}_{names[:k].count(n) + 1}" if n in names[:k] else n for k, n in enumerate(names))


def _two_names(seen: Array, tooth: ToothNumber) -> tuple[str, ...]:
    across = np.abs(seen[1] - seen[0])
    if across[1] > across[0]:
        return ("mesial", "distal") if seen[0, 1] > seen[1, 1] else ("distal", "mesial")
    return ("buccal", inner_side(tooth)) if seen[0, 0] > seen[1, 0] else (inner_side(tooth), "buccal")


def _three_names(seen: Array, tooth: ToothNumber) -> tuple[str, ...]:
    names = [""] * 3
    if tooth.upper:
        lone = int(seen[:, 0].argmin())
        pair = [k for k in range(3) if k != lone]
        names[lone], pair_names = "palatal", _BUCCAL_NAMES
        order = sorted(pair, key=lambda k: -float(seen[k, 1]))
    else:
        lone = int(seen[:, 1].argmax())
        pair = [k for k in range(3) if k != lone]
        names[lone], pair_names = "mesial", ("distobuccal", "distolingual")
        order = sorted(pair, key=lambda k: -float(seen[k, 0]))
    for k, name in zip(order, pair_names, strict=True):
        names[k] = name
    return tuple(names)


def entrance_name(pair: tuple[str, str], point: Array, arch: Array, tooth: ToothNumber) -> str:
    """Side on which the furcation opens between the named ``pair`` of roots, at ``point`` (2,) from the
    middle."""
    known = {
        frozenset(_BUCCAL_NAMES): "buccal",
        frozenset(("mesiobuccal", "palatal")): "mesial",
        frozenset(("distobuccal", "palatal")): "distal",
    }
    if frozenset(pair) in known:
        return known[frozenset(pair)]
    facial, mesial = arch @ point
    if set(pair) == {"mesial", "distal"}:
        return "buccal" if facial > 0 else inner_side(tooth)
    if abs(facial) > abs(mesial):
        return "buccal" if facial > 0 else inner_side(tooth)
    return "mesial" if mesial > 0 else "distal"


def axes_from_roots(
    centres: Array, names: Sequence[str], frame: ToothFrame, arch: Array
) -> tuple[Array, Array, bool]:
    """Buccal and mesial unit axes (3,) each, LPS, across the long axis; and whether the roots showed them.

    Three roots of an upper molar: mesial from the distobuccal to the mesiobuccal root, buccal from the
    palatal
    to both, made square to share the difference. Two roots: the line through them, unless fused roots turn it
    more than 30 degrees off the ``arch``. Else the principal axes of the shape.
    """
    place = dict(zip(names, centres, strict=True))
    buccal, mesial = _buccal_way(place), _mesial_way(place)
    ways = [w for w in (buccal, None if mesial is None else _squared(mesial, arch)) if w is not None]
    if not ways:
        return np.array(frame.axes[0]), np.array(frame.axes[1]), False
    flat = unit(np.sum(ways, axis=0))
    if len(names) == 2 and flat @ arch[0] < np.cos(np.radians(30.0)):
        return np.array(frame.axes[0]), np.array(frame.axes[1]), False
    across = np.array([-flat[1], flat[0]])
    across = across * np.sign(across @ arch[1])
    return flat @ frame.axes[:2], across @ frame.axes[:2], True


def _squared(mesial: Array, arch: Array) -> Array:
    """The direction (2,) at right angles to ``mesial`` on the facial side."""
    square = np.array([mesial[1], -mesial[0]])
    return np.asarray(square * np.sign(square @ arch[0]))


def _buccal_way(place: dict[str, Array]) -> Array | None:
    if "mesiobuccal" in place and "distobuccal" in place and "palatal" in place:
        return unit(0.5 * (place["mesiobuccal"] + place["distobuccal"]) - place["palatal"])
    for inner in ("palatal", "lingual"):
        if "buccal" in place and inner in place:
            return unit(place["buccal"] - place[inner])
    return None


def _mesial_way(place: dict[str, Array]) -> Array | None:
    pairs = (("mesiobuccal", "distobuccal"), ("mesial", "distal"))
    for mesial, distal in pairs:
        if mesial in place and distal in place:
            return unit(place[mesial] - place[distal])
    if {"mesial", "distobuccal", "distolingual"} <= set(place):
        return unit(place["mesial"] - 0.5 * (place["distobuccal"] + place["distolingual"]))
    return None
