"""What an upper arch scan shows: planes, arch form, incisor contact, first molars and where their tubes would sit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array
from mesh_tools.finding.arch_form import ArchForm, arch_form
from mesh_tools.finding.arch_frame import ArchFrame, arch_frame
from mesh_tools.finding.molars import Molar, first_molar
from mesh_tools.finding.occlusal import SAMPLES
from mesh_tools.finding.record import NotFoundError, Proposal, squashed
from mesh_tools.finding.tooth_row import ToothRow, side_rows
from mesh_tools.registration.samples import sampled
from mesh_tools.surface import Surface

SIDES = ("right", "left")
_CONTACT_UP_MM = 4.5  # above the edges: about the middle of an incisor's crown (10.5 mm tall, Ash/Nelson)
_CONTACT_ASIDE_MM = 4.5
_MOLAR_MD_MM, _MOLAR_BL_MM = (8.0, 13.0), (9.0, 14.5)
_TUBE_SEEN, _TUBE_GUESSED = 0.5, 0.3
_CURVE_POINTS = 61


@dataclass(frozen=True, eq=False)
class ArchFound:
    """Everything found on an arch, in the scan's frame; a side whose molar is not seen is missing in ``molars``."""

    frame: ArchFrame
    form: ArchForm
    rows: dict[str, ToothRow]
    molars: dict[str, Molar]
    samples: Array


def arch_found(surface: Surface) -> ArchFound:
    """What is found on the upper arch ``surface`` (mm, any axes, normals outward, repaired). Raises NotFoundError."""
    frame = arch_frame(surface)
    points = frame.to_arch(sampled(surface, SAMPLES).points_mm)
    form = arch_form(points)
    rows = {side: row for side, row in side_rows(form, points).items() if row is not None}
    molars = {}
    for side, row in rows.items():
        try:
            molars[side] = first_molar(surface, frame, form, row, side)
        except NotFoundError:
            continue
    return ArchFound(frame, form, rows, molars, points)


def arch_proposals(surface: Surface) -> tuple[Proposal, ...]:
    """Proposals on the upper arch ``surface`` (mm, any axes, normals outward, repaired), in its frame.

    Names that are landmarks of a case are those of the case file. Raises NotFoundError when it shows no arch.
    """
    return proposals_of(arch_found(surface))


def proposals_of(found: ArchFound) -> tuple[Proposal, ...]:
    """The proposals that ``found`` makes."""
    sure = _frame_confidence(found.frame)
    made = [_occlusal(found, sure), _midline(found, sure), _form(found, sure), *_incisor(found, sure)]
    for side, molar in found.molars.items():
        made += _molar_proposals(found, side, molar, sure)
    return tuple(made)


def molar_confidence(found: ArchFound, side: str) -> float:
    """How sure it is that the patch of ``side`` is the first molar's crown."""
    row, molar = found.rows[side], found.molars[side]
    md, bl = molar.size_mm[:2]
    fits = _MOLAR_MD_MM[0] <= md <= _MOLAR_MD_MM[1] and _MOLAR_BL_MM[0] <= bl <= _MOLAR_BL_MM[1]
    told = squashed(row.rival - row.cost, nothing=-1.0, sure=3.0)
    whole = squashed(molar.patch.in_valley, nothing=0.2, sure=0.8)
    return round((0.95 if fits else 0.3) * told * whole * (0.6 if row.missing else 1.0), 2)


def _frame_confidence(frame: ArchFrame) -> float:
    tight = squashed(frame.plane.rms_mm, nothing=1.6, sure=0.8)
    alike = squashed(frame.mirror.residual_mm, nothing=1.2, sure=0.5)
    alike *= squashed(frame.mirror.share, nothing=0.6, sure=0.95)
    return 0.95 * tight * alike * min(frame.plane.margin, frame.front_margin, 1.0)


def _occlusal(found: ArchFound, sure: float) -> Proposal:
    """Through the edges of the central incisors and the mesiobuccal cusps of the first molars where these are seen."""
    frame, name = found.frame, "occlusal_plane_mm"
    seen = {s: m for s, m in found.molars.items() if molar_confidence(found, s) > 0.3}
    edges = _incisor_edges(found)
    if len(seen) < 2 or len(edges) < 2:
        why = f"plane through {len(frame.plane.tips_mm)} tips of teeth, rms {frame.plane.rms_mm:.2f} mm"
        return Proposal(name, frame.plane.tips_mm, round(0.8 * sure, 2), why, normal=-frame.plane.normal)
    points = np.array([*(seen[s].mesiobuccal_mm for s in SIDES), *frame.to_scan(edges)])
    normal = np.linalg.svd(points - points.mean(axis=0))[2][2]
    normal = normal * np.sign(normal @ frame.axes[2])
    off = float(np.degrees(np.arccos(np.clip(normal @ frame.axes[2], -1.0, 1.0))))
    why = (
        f"mesiobuccal cusps of the first molars and edges of the central incisors; {off:.1f} degrees from the plane "
        f"through {len(frame.plane.tips_mm)} tips"
    )
    return Proposal(name, points, round(sure * squashed(off, nothing=10.0, sure=4.0), 2), why, normal=normal)


def _incisor_edges(found: ArchFound) -> Array:
    """Middle (k, 3) of the edge of each central incisor, right first, in the arch's frame."""
    along, _ = found.form.unrolled(found.samples[:, :2])
    edges = []
    for sign, side in ((-1.0, "right"), (1.0, "left")):
        row = found.rows.get(side)
        start, end = (0.0, 8.5) if row is None else row.edges_mm[:2]
        width = end - start
        near = (sign * along > start + 0.3 * width) & (sign * along < end - 0.3 * width)
        near &= found.samples[:, 2] < 3.0
        part = found.samples[near]
        if len(part) >= 10:
            lowest = part[part[:, 2] <= np.quantile(part[:, 2], 0.03)]
            edges.append(lowest.mean(axis=0))
    return np.array(edges).reshape(-1, 3)


def _midline(found: ArchFound, sure: float) -> Proposal:
    mirror, frame = found.frame.mirror, found.frame
    normal = mirror.normal * np.sign(mirror.normal @ frame.axes[0])
    line = frame.to_scan(np.array([[0.0, 0.0, 0.0], [0.0, 30.0, 0.0], [0.0, 0.0, 15.0]]))
    line = line - np.outer(line @ mirror.normal - mirror.offset_mm, mirror.normal)
    why = f"plane of symmetry of the teeth: the mirror image lies {mirror.residual_mm:.2f} mm off on average"
    return Proposal("midline", line, round(sure, 2), why, normal=normal)


def _form(found: ArchFound, sure: float) -> Proposal:
    at = np.linspace(0, len(found.form.curve_mm) - 1, _CURVE_POINTS).astype(int)
    curve = found.frame.to_scan(np.column_stack([found.form.curve_mm[at], np.zeros(len(at))]))
    spread = found.form.spread_mm
    why = f"smooth curve along the tops of the teeth, rms {spread:.2f} mm from them"
    return Proposal("arch_form", curve, round(sure * squashed(spread, nothing=2.5, sure=1.0), 2), why)


def _incisor(found: ArchFound, sure: float) -> list[Proposal]:
    """Edge between the central incisors, and where a bow's front would touch them."""
    edges = _incisor_edges(found)
    if not len(edges):
        return []
    frame, points = found.frame, found.samples
    edge = edges.mean(axis=0) * [0.0, 1.0, 1.0]
    level = edge[2] + _CONTACT_UP_MM
    band = points[(np.abs(points[:, 0]) < _CONTACT_ASIDE_MM) & (np.abs(points[:, 2] - level) < 0.4)]
    ahead = band[band[:, 1] < edge[1] + 4.0]
    made = [Proposal("incisor_edge_mm", frame.to_scan(edge[None]), round(0.9 * sure, 2),
                     "between the edges of the central incisors, on the midline")]  # fmt: skip
    if len(ahead):
        contact = np.array([[0.0, float(ahead[:, 1].min()), level]])
        why = f"most forward surface of the central incisors {_CONTACT_UP_MM:g} mm above their edges, on the midline"
        made.append(Proposal("incisor_contact_mm", frame.to_scan(contact), round(0.85 * sure, 2), why))
    return made


def _molar_proposals(found: ArchFound, side: str, molar: Molar, frame_sure: float) -> list[Proposal]:
    sure = round(molar_confidence(found, side) * min(frame_sure / 0.8, 1.0), 2)
    md, bl, tall = molar.size_mm
    gone = "; a premolar seems to be missing" if found.rows[side].missing else ""
    crown = Proposal(
        f"molar_{side}", molar.centre_mm, sure,
        f"sixth crown from the midline, {md:.1f} x {bl:.1f} x {tall:.1f} mm, cut along the valleys around it "
        f"({molar.patch.in_valley:.0%} of the cut runs in one){gone}",
        direction=molar.mesial, faces=molar.patch.faces,
    )  # fmt: skip
    cusp = Proposal(
        f"cusp_{side}_mm", molar.mesiobuccal_mm, sure, "highest point of the crown's mesiobuccal quarter"
    )
    share = _TUBE_SEEN if molar.tube_seen else _TUBE_GUESSED
    why = (
        "axis of what sticks out of the crown's buccal face" if molar.tube_seen
        else "a 4 mm tube laid on the middle of the bare buccal face"
    )  # fmt: skip
    tubes = [
        Proposal(f"tube_{side}_{end}_mm", point, round(share * sure, 2), f"{why}; pick it on the scan",
                 direction=molar.mesial)
        for end, point in zip(("mesial", "distal"), molar.tube_mm, strict=True)
    ]  # fmt: skip
    return [crown, cusp, *tubes]
