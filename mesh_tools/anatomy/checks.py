"""Whether the surface can be the tooth that its number says: only clear contradictions are refused."""

from __future__ import annotations

import numpy as np

from mesh_tools.anatomy.crown import is_crown_only
from mesh_tools.anatomy.errors import CrownOnlyError, ToothNumberError, ToothUpsideDownError
from mesh_tools.arrays import Array, IntArray
from mesh_tools.errors import BadValueError
from mesh_tools.fdi import ToothNumber
from mesh_tools.surface import Surface

# Volume centroid over length from the occlusal end: 0.38-0.45 on fifteen open teeth, so 0.55-0.62 upside
# down.
_HEAVY_END = 0.5
_FEWEST_FACES = 200
_WIDEST_MM, _LONGEST_MM, _SHORTEST_MM = 20.0, 38.0, 4.0
# Mean of crown width and depth: molars 8.5-11.5, premolars 7-9 (from memory; the open teeth are 10 % small).
_MOLAR_WIDTH_MM, _MOLAR_SLENDER, _PREMOLAR_WIDTH_MM, _NARROW_MM = 8.0, 1.3, 9.4, 7.8


def check_dense(surface: Surface, tooth: ToothNumber) -> None:
    """Raises BadValueError for a surface of too few facets, or none with an area, to show a tooth's shape."""
    if len(surface.faces) < _FEWEST_FACES or not surface.areas_mm2.sum() > 0.0:
        raise BadValueError(
            f"tooth {tooth.fdi}: a tooth's surface needs at least {_FEWEST_FACES} triangles with an area; got "
            f"{len(surface.faces)} of {surface.areas_mm2.sum():.1f} mm2 in all. Is this the tooth's mesh?"
        )


def check_extent(points_tooth: Array, tooth: ToothNumber) -> None:
    """Raises BadValueError for a surface larger or smaller than any one tooth."""
    size = np.ptp(points_tooth, axis=0)
    if size[:2].max() > _WIDEST_MM or size[2] > _LONGEST_MM or size.max() < _SHORTEST_MM:
        raise BadValueError(
            f"tooth {tooth.fdi}: one tooth is at most {_WIDEST_MM:.0f} mm wide and "
            f"{_SHORTEST_MM:.0f}-{_LONGEST_MM:.0f} mm long; got {size[:2].max():.1f} mm by {size[2]:.1f} "
            "mm. Cut the one tooth out, or check the unit."
        )


def check_whole(points_tooth: Array, tooth: ToothNumber) -> None:
    """Raises CrownOnlyError when the surface is too short for its width to hold a root.

    Raises ToothNumberError for a front tooth or premolar as wide as a molar and long enough to be a whole
    one.
    """
    if not is_crown_only(points_tooth, tooth):
        return
    size = np.ptp(points_tooth, axis=0)
    width = float(size[:2].mean())
    if width > _MOLAR_WIDTH_MM and size[2] > _MOLAR_SLENDER * width:
        raise ToothNumberError(
            f"tooth {tooth.fdi} is given as {_a(tooth.kind)}, but {width:.1f} mm wide and {size[2]:.1f} mm "
            "long is a molar's shape: check the tooth number."
        )
    raise CrownOnlyError(
        f"tooth {tooth.fdi}: {size[2]:.1f} mm long and {width:.1f} mm wide is a crown without root; only "
        "the rule of thumb and average anatomy apply."
    )


def check_upright(points_tooth: Array, faces: IntArray, tooth: ToothNumber) -> None:
    """Raises ToothUpsideDownError when the heavy end, the crown, lies on the apical side."""
    share = volume_centroid_share(points_tooth, faces)
    if share > _HEAVY_END:
        jaw, way = ("an upper", "up") if tooth.upper else ("a lower", "down")
        raise ToothUpsideDownError(
            f"tooth {tooth.fdi} is wrong way up: its crown points {way}, where {jaw} tooth's root belongs; check "
            "the axes code or the tooth number."
        )


def volume_centroid_share(points_tooth: Array, faces: IntArray) -> float:
    """Height of the enclosed volume's centroid over the tooth's length, from the occlusal end (0-1)."""
    corners = points_tooth[faces] - points_tooth.mean(axis=0)
    a, b, c = np.moveaxis(corners, 1, 0)
    volume = _triple(a, b, c)
    if abs(float(volume.sum())) < 1e-9 * max(float(np.abs(volume).sum()), 1e-30):
        raise BadValueError(
            "the surface encloses no volume; it is flat or turned inside out in places: scan it again."
        )
    z = (volume * (a[:, 2] + b[:, 2] + c[:, 2])).sum() / (4.0 * volume.sum()) + points_tooth[:, 2].mean()
    return float((z - points_tooth[:, 2].min()) / np.ptp(points_tooth[:, 2]))


def _triple(a: Array, b: Array, c: Array) -> Array:
    """Triple products (m,) of the rows of three arrays (m, 3)."""
    x = b[:, 1] * c[:, 2] - b[:, 2] * c[:, 1]
    y = b[:, 2] * c[:, 0] - b[:, 0] * c[:, 2]
    z = b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0]
    return np.asarray(a[:, 0] * x + a[:, 1] * y + a[:, 2] * z)


def check_number(seen_centres: Array, crown_width_mm: float, tooth: ToothNumber) -> None:
    """Raises ToothNumberError where roots and number clearly contradict each other.

    ``seen_centres`` (k, 2) are the separate roots' places along the facial and mesial directions of the arch,
    ``crown_width_mm`` the mean of crown width and depth.
    """
    count = len(seen_centres)
    usual = {"incisor": 1, "canine": 2, "premolar": 3, "molar": 4}[tooth.kind]
    if count > usual:
        raise ToothNumberError(
            f"tooth {tooth.fdi} is given as {_a(tooth.kind)}, but the surface shows {count} separate roots: "
            "check the tooth number."
        )
    broadest = _PREMOLAR_WIDTH_MM - (1.0 if count == 3 else 0.0)
    if tooth.kind == "premolar" and crown_width_mm > broadest:
        raise ToothNumberError(
            f"tooth {tooth.fdi} is given as a premolar, but a {crown_width_mm:.1f} mm wide crown on {count} "
            "separate roots is a molar's: check the tooth number."
        )
    if tooth.fdi % 10 in (6, 7) and count < 3 and crown_width_mm < _NARROW_MM:
        raise ToothNumberError(
            f"tooth {tooth.fdi} is given as a molar, but a {crown_width_mm:.1f} mm wide crown on {count} "
            "separate root(s) is a front tooth's or a premolar's: check the tooth number."
        )
    _check_side(seen_centres, tooth)


def _check_side(seen: Array, tooth: ToothNumber) -> None:
    """An upper molar's lone root lies on the palate's side; on the cheek's side the quadrant is the other
    one."""
    if len(seen) != 3 or not tooth.upper or tooth.fdi % 10 not in (6, 7):
        return
    facial = np.sort(seen[:, 0])
    inner_gap, outer_gap = facial[1] - facial[0], facial[2] - facial[1]
    if outer_gap > 2.0 and outer_gap > 2.0 * inner_gap:
        other = tooth.fdi + (10 if tooth.fdi < 20 else -10)
        raise ToothNumberError(
            f"tooth {tooth.fdi}: the lone root lies on the cheek's side by {outer_gap:.1f} mm, as it does "
            f"in tooth {other}; check the tooth number or the axes code."
        )


def _a(word: str) -> str:
    return ("an " if word[0] in "aeiou" else "a ") + word


def crown_width(points_tooth: Array, line_mm: float) -> float:
    """Mean of the crown's width and depth in mm; the crown is what lies under the height ``line_mm``."""
    return float(np.ptp(points_tooth[points_tooth[:, 2] < line_mm, :2], axis=0).mean())
