"""From a tooth's surface and number to its anatomy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mesh_tools.anatomy import checks, naming
from mesh_tools.anatomy import landmarks as marks
from mesh_tools.anatomy.below_line import below_line
from mesh_tools.anatomy.cervical_line import CervicalLine, cervical_line, expected_crown_height
from mesh_tools.anatomy.closed_rim import line_through
from mesh_tools.anatomy.frame import ToothFrame, straightened, tooth_frame, used_points
from mesh_tools.anatomy.furcation import Furcation, furcation
from mesh_tools.anatomy.record import Finding, Root, ToothAnatomy
from mesh_tools.anatomy.roots import SEPARATE_MM, RootPeak, root_peaks
from mesh_tools.arrays import Array, IntArray
from mesh_tools.fdi import ToothNumber
from mesh_tools.surface import Surface

_UNSURE = 0.15


@dataclass(frozen=True, eq=False)
class _InFrame:
    """A tooth in its own frame, with its number."""

    points: Array
    faces: IntArray
    frame: ToothFrame
    tooth: ToothNumber


def tooth_anatomy(
    surface: Surface, tooth: ToothNumber, *, landmarks: Mapping[str, ArrayLike] | None = None
) -> ToothAnatomy:
    """Anatomy of the whole tooth ``surface`` (LPS, mm, repaired) with FDI number ``tooth``.

    ``landmarks`` override what is found; their names are in ``mesh_tools.anatomy.landmarks``. The answer
    moves,
    turns and mirrors with the tooth. Raises CrownOnlyError, ToothUpsideDownError, ToothOnItsSideError,
    ToothNumberError, NoCervicalLineError, LandmarkError, or BadValueError for a surface that is no single
    tooth.
    """
    checks.check_dense(surface, tooth)
    given = marks.checked(landmarks, near_mm=surface.points_mm.mean(axis=0))
    body = _framed(surface, tooth, given)
    line, line_found = _line(body, given)
    floor = float(line.heights_mm.max())
    peaks = root_peaks(body.points, body.faces, above_mm=floor)
    centres = naming.root_centres(body.points, peaks)
    arch = naming.arch_axes(body.frame, tooth)
    checks.check_number(centres @ arch.T, checks.crown_width(body.points, floor), tooth)
    names = naming.root_names(centres, arch, tooth)
    marks.check_apices(given, names)
    parted = furcation(body.points, body.faces, peaks, neck_mm=floor) if len(peaks) > 1 else None
    roof, roof_found = _roof(body, parted, peaks, given)
    entrances, entrances_found = _entrances(body, parted, names, given)
    buccal, mesial, by_roots = naming.axes_from_roots(centres, names, body.frame, arch)
    return ToothAnatomy(
        tooth=tooth, frame=body.frame, line=line, crown_height_mm=_crown_height(line, body.frame, buccal),
        roots=_roots(body, line, peaks, names, given), trifurcation_mm=roof, furcation_entrances_mm=entrances,
        buccal_axis=buccal, mesial_axis=mesial,
        findings=(_axis_found(given), line_found, _count_found(peaks, tooth), *roof_found, *entrances_found,
                  _axes_found(by_roots)),
    )  # fmt: skip


def height_below_cej(surface: Surface, anatomy: ToothAnatomy) -> Array:
    """Distance (n,) mm of every point from the cervical line along the long axis, negative on the crown."""
    return anatomy.below_line_mm(surface.points_mm)


def _framed(surface: Surface, tooth: ToothNumber, given: Mapping[str, Array]) -> _InFrame:
    frame = tooth_frame(surface, tooth, long_axis=marks.axis_given(given))
    points = frame.to_tooth(surface.points_mm)
    used = points[used_points(surface)]
    checks.check_extent(used, tooth)
    checks.check_whole(used, tooth)
    checks.check_upright(points, surface.faces, tooth)
    if "axis_apical" not in given:
        frame = straightened(surface, frame, tooth, split_mm=expected_crown_height(points, tooth))
        points = frame.to_tooth(surface.points_mm)
    return _InFrame(points, surface.faces, frame, tooth)


def _line(body: _InFrame, given: Mapping[str, Array]) -> tuple[CervicalLine, Finding]:
    points = marks.line_given(given)
    if points is None:
        line = cervical_line(body.points, body.faces, body.tooth)
        how = "concave band around the neck, cheapest closed path on the unrolled tooth"
        if line.confidence < _UNSURE:
            how = "hardly any bend at the neck; placed mostly by the usual height of a crown this wide"
        return line, Finding("cervical_line_mm", how, line.confidence)
    line = line_through(body.frame.to_tooth(points), name="landmark cervical_line")
    return line, Finding("cervical_line_mm", "landmark", 1.0)


def _roots(
    body: _InFrame,
    line: CervicalLine,
    peaks: Sequence[RootPeak],
    names: Sequence[str],
    given: Mapping[str, Array],
) -> tuple[Root, ...]:
    apices = np.array([peak.apex for peak in peaks])
    for k, name in enumerate(names):
        if f"apex_{name}" in given:
            apices[k] = body.frame.to_tooth(given[f"apex_{name}"])
    starts = np.array([peak.begins_at for peak in peaks])
    lengths, trunk = below_line(line, apices), below_line(line, starts)
    roots = [
        Root(
            name, body.frame.to_lps(apices[k]), float(lengths[k]), body.frame.to_lps(starts[k]),
            float(trunk[k]),
            1.0 if f"apex_{name}" in given else _free_confidence(peaks, k),
        )
        for k, name in enumerate(names)
    ]  # fmt: skip
    order = {name: k for k, name in enumerate(marks.ROOTS)}
    return tuple(sorted(roots, key=lambda root: order.get(root.name, len(order))))


def _free_confidence(peaks: Sequence[RootPeak], k: int) -> float:
    if len(peaks) == 1:
        return 0.95
    return float(np.clip(0.5 + 0.25 * (peaks[k].separate_mm / SEPARATE_MM - 1.0), 0.5, 0.98))


def _roof(
    body: _InFrame, parted: Furcation | None, peaks: Sequence[RootPeak], given: Mapping[str, Array]
) -> tuple[Array | None, list[Finding]]:
    if "trifurcation" in given:
        return np.array(given["trifurcation"]), [Finding("trifurcation_mm", "landmark", 1.0)]
    if parted is None:
        return None, []
    if parted.roof is not None:
        how = "surface met from the apical side midway between the separate roots"
        return body.frame.to_lps(parted.roof), [Finding("trifurcation_mm", how, 0.9)]
    last = min(peaks, key=lambda peak: peak.begins_mm)
    how = "highest pass between the separate roots; no roof met midway between them"
    return body.frame.to_lps(last.begins_at), [Finding("trifurcation_mm", how, 0.5)]


def _entrances(
    body: _InFrame, parted: Furcation | None, names: Sequence[str], given: Mapping[str, Array]
) -> tuple[dict[str, Array], list[Finding]]:
    found: dict[str, Array] = {}
    findings = []
    for (a, b), point in parted.entrances if parted else ():
        arch = naming.arch_axes(body.frame, body.tooth)
        middle = np.zeros(2) if parted is None or parted.roof is None else parted.roof[:2]
        side = naming.entrance_name((names[a], names[b]), point[:2] - middle, arch, body.tooth)
        found[side] = body.frame.to_lps(point)
        how = f"trunk wall turns 45 degrees inward in the gap between {names[a]} and {names[b]}"
        findings.append(Finding(f"furcation_entrances_mm.{side}", how, 0.8))
    for side in marks.SIDES:
        if f"furcation_{side}" in given:
            found[side] = np.array(given[f"furcation_{side}"])
            findings = [f for f in findings if f.item != f"furcation_entrances_mm.{side}"]
            findings.append(Finding(f"furcation_entrances_mm.{side}", "landmark", 1.0))
    return {side: found[side] for side in marks.SIDES if side in found}, findings


def _crown_height(line: CervicalLine, frame: ToothFrame, buccal: Array) -> float:
    turn = np.arctan2(*(frame.axes[:2] @ buccal)[::-1])
    angle = 2.0 * np.pi * np.arange(len(line.heights_mm)) / len(line.heights_mm)
    return float(np.interp(turn, angle, line.heights_mm, period=2.0 * np.pi))


def _axis_found(given: Mapping[str, Array]) -> Finding:
    if "axis_apical" in given:
        return Finding("long_axis", "landmarks", 1.0)
    return Finding("long_axis", "from the centroid of the crown's surface to that of the root's", 0.85)


def _count_found(peaks: Sequence[RootPeak], tooth: ToothNumber) -> Finding:
    count, usual = len(peaks), tooth.usual_roots
    frees = [peak.separate_mm for peak in peaks[1:]]
    sure = 0.95 if not frees else float(np.clip(0.5 + 0.25 * (min(frees) / SEPARATE_MM - 1.0), 0.5, 0.98))
    note = "" if count >= usual else f"; {usual} are usual, so roots are fused or incomplete"
    return Finding("separate_roots", f"peaks free for more than {SEPARATE_MM} mm: {count}{note}", sure)


def _axes_found(by_roots: bool) -> Finding:
    if by_roots:
        return Finding("buccal_axis", "lines through the named roots", 0.9)
    return Finding("buccal_axis", "principal axes across the long axis, named by the arch", 0.6)
