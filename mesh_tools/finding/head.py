"""What a scan of head and neck shows: plane of symmetry, nose, chin, mouth corners, nape, the region of the ears."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array, BoolArray, IntArray
from mesh_tools.finding.concavity import FacePairs, face_pairs
from mesh_tools.finding.head_frame import SAMPLES, HeadFrame, head_frame, length_along, turning
from mesh_tools.finding.record import Proposal, squashed
from mesh_tools.registration.samples import sampled
from mesh_tools.surface import Surface

_CHIN_MM, _CHIN_CHORD_MM = (35.0, 110.0), 14.0
_LIPS, _LIPS_CHORD_MM = (0.38, 0.68), 5.0  # of the drop from nose to chin
_NAPE_MM, _NAPE_CHORD_MM = (30.0, 170.0), 25.0
_MOUTH_HALF_MM, _MOUTH_HIGH_MM, _MOUTH_GAP_MM = 36.0, 7.0, 6.0
_MOUTH_CORNER_MM, _MOUTH_INNER_MM = 4.0, 14.0
_SIGNS = {"right": -1.0, "left": 1.0}
_MOUTH_CONCAVE, _EAR_CONCAVE = 0.10, 0.12  # 1/mm
_SCALE_MM = 1.5
_EAR_OUT, _EAR_BACK_MM, _EAR_UP_MM = 0.72, (55.0, 170.0), (-45.0, 75.0)
_EAR_RADIUS_MM = 38.0


@dataclass(frozen=True, eq=False)
class _Head:
    """A head turned into its own frame, with the valleys on it."""

    frame: HeadFrame
    surface: Surface
    pairs: FacePairs
    middle: Array  # of the edge of each pair, (e, 3): left, back, up


def head_proposals(surface: Surface) -> tuple[Proposal, ...]:
    """Proposals on the head ``surface`` (LPS within about 30 degrees, mm, normals outward, repaired), in its frame.

    Names that are landmarks of a case are those of the case file. Raises NotFoundError when it shows no head.
    """
    frame = head_frame(surface, sampled(surface, SAMPLES))
    own = Surface(frame.to_head(surface.points_mm), surface.faces)
    pairs = face_pairs(own, scale_mm=_SCALE_MM)
    head = _Head(frame, own, pairs, own.face_centres_mm[pairs.faces].mean(axis=1))
    sure = _sure(frame)
    made = [_symmetry(frame, sure), _nose(frame, sure)]
    chin = _chin_index(frame)
    if chin is not None:
        made.append(_chin(frame, chin, sure))
        made += _mouth(head, _stomion(frame, chin), sure)
    made += _nape(frame, sure)
    return (*made, *_ears(head, sure))


def _sure(frame: HeadFrame) -> float:
    alike = squashed(frame.mirror.residual_mm, nothing=4.0, sure=1.5)
    stands = squashed(frame.nose_turn_deg, nothing=35.0, sure=50.0)
    return 0.95 * alike * stands


def _symmetry(frame: HeadFrame, sure: float) -> Proposal:
    mirror = frame.mirror
    three = frame.to_scan(np.array([[0.0, 0.0, 0.0], [0.0, 60.0, 0.0], [0.0, 60.0, 60.0]]))
    why = f"the mirror image lies {mirror.residual_mm:.2f} mm off on average"
    return Proposal("symmetry_plane", three, round(sure, 2), why, normal=mirror.normal)


def _nose(frame: HeadFrame, sure: float) -> Proposal:
    why = f"the profile turns most here, {frame.nose_turn_deg:.0f} degrees, and is hollow below and above"
    return Proposal("nose_tip", frame.origin_mm, round(sure, 2), why)


def _at(frame: HeadFrame, index: int) -> Array:
    back, up = frame.profile_mm[index]
    return frame.to_scan(np.array([[0.0, back, up]]))


def _chin_index(frame: HeadFrame) -> int | None:
    """Index of the most forward point of the chin, or None."""
    length = length_along(frame.profile_mm)
    below = length - length[frame.nose]
    bend = turning(frame.profile_mm * [-1.0, 1.0], chord_mm=_CHIN_CHORD_MM)
    near = (below > _CHIN_MM[0]) & (below < _CHIN_MM[1]) & (frame.profile_mm[:, 1] < -30.0)
    if not near.any():
        return None
    turn = int(np.where(near, bend, -np.inf).argmax())
    window = (below > below[turn] - 18.0) & (below <= below[turn] + 2.0) & (below > _CHIN_MM[0] - 10.0)
    return int(np.where(window, frame.profile_mm[:, 0], np.inf).argmin())


def _chin(frame: HeadFrame, chin: int, sure: float) -> Proposal:
    bend = float(turning(frame.profile_mm * [-1.0, 1.0], chord_mm=_CHIN_CHORD_MM)[chin : chin + 25].max())
    why = f"most forward point of the chin on the profile, which turns {bend:.0f} degrees below it"
    return Proposal("chin", _at(frame, chin), round(sure * squashed(bend, nothing=10.0, sure=40.0), 2), why)


def _stomion(frame: HeadFrame, chin: int) -> int:
    """Index of the notch between the lips."""
    share = frame.profile_mm[:, 1] / frame.profile_mm[chin, 1]
    bend = turning(frame.profile_mm * [-1.0, 1.0], chord_mm=_LIPS_CHORD_MM)
    between = (np.arange(len(share)) > frame.nose) & (np.arange(len(share)) < chin)
    return int(np.where(between & (share > _LIPS[0]) & (share < _LIPS[1]), bend, np.inf).argmin())


def _mouth(head: _Head, stomion: int, sure: float) -> list[Proposal]:
    """Ends of the furrow between the lips: followed outward from the midline, or else where it is deepest."""
    back, up = head.frame.profile_mm[stomion]
    level = np.abs(head.middle[:, 2] - up)
    furrow = (head.pairs.concave > _MOUTH_CONCAVE) & (np.abs(head.middle[:, 0]) < _MOUTH_HALF_MM)
    furrow &= head.middle[:, 1] < back + 30.0
    wide, narrow = furrow & (level < _MOUTH_HIGH_MM), furrow & (level < _MOUTH_CORNER_MM)
    ends, usual = {side: _furrow_end(head, wide, sign) for side, sign in _SIGNS.items()}, 0.55
    if any(end is None for end in ends.values()):
        ends, usual = {side: _furrow_pit(head, narrow, sign) for side, sign in _SIGNS.items()}, 0.35
    known = {side: end for side, end in ends.items() if end is not None}
    if len(known) < 2:
        return []
    reach = [abs(float(end[0])) for end in known.values()]
    usual = usual if all(14.0 < r < 34.0 for r in reach) else 0.2
    share = usual * sure * squashed(abs(reach[0] - reach[1]), nothing=10.0, sure=2.0)
    why = "end of the furrow between the lips, {0:.0f} mm from the midline; pick it on the scan"
    return [
        Proposal(
            f"mouth_corner_{side}_mm", head.frame.to_scan(end[None]), round(share, 2), why.format(abs(end[0]))
        )
        for side, end in known.items()
    ]


def _furrow_pit(head: _Head, furrow: BoolArray, sign: float) -> Array | None:
    """Middle (3,) of the most concave places off the midline, or None."""
    here = furrow & (sign * head.middle[:, 0] > _MOUTH_INNER_MM)
    if here.sum() < 5:
        return None
    weight = (head.pairs.length_mm * head.pairs.concave)[here]
    return np.asarray(np.average(head.middle[here], axis=0, weights=weight))


def _furrow_end(head: _Head, furrow: BoolArray, sign: float) -> Array | None:
    """Outermost point (3,) of the furrow reached from the midline without a gap, or None."""
    points = head.middle[furrow & (sign * head.middle[:, 0] > -3.0)]
    if len(points) < 3:
        return None
    points = points[np.argsort(sign * points[:, 0])]
    gaps = np.diff(sign * points[:, 0]) > _MOUTH_GAP_MM
    end = int(np.flatnonzero(gaps)[0]) if gaps.any() else len(points) - 1
    outer = points[: end + 1]
    outer = outer[sign * outer[:, 0] > sign * outer[-1, 0] - 1.5]
    return np.asarray(outer.mean(axis=0)) if sign * outer[-1, 0] > 8.0 else None


def _nape(frame: HeadFrame, sure: float) -> list[Proposal]:
    """The hollow of the neck below the back of the head, on the plane of symmetry."""
    line = frame.profile_mm
    length = length_along(line)
    behind = np.flatnonzero(length < length[frame.nose])
    occiput = int(behind[line[behind, 0].argmax()])
    top = line[: frame.nose, 1].max()
    skull = np.flatnonzero((np.arange(len(line)) < frame.nose) & (line[:, 1] > top - 130.0))
    occiput = int(skull[line[skull, 0].argmax()]) if len(skull) else occiput
    below = length[occiput] - length
    bend = turning(line * [-1.0, 1.0], chord_mm=_NAPE_CHORD_MM)
    near = (below > _NAPE_MM[0]) & (below < _NAPE_MM[1]) & (np.arange(len(line)) < occiput)
    if not near.any():
        return []
    at = int(np.where(near, bend, np.inf).argmin())
    if bend[at] > -4.0:
        return []
    why = (
        f"hollow of the neck below the back of the head: the profile turns inward by {-bend[at]:.0f} degrees"
    )
    return [
        Proposal("nape", _at(frame, at), round(sure * squashed(-bend[at], nothing=3.0, sure=18.0), 2), why)
    ]


def _ears(head: _Head, sure: float) -> list[Proposal]:
    """Where the sides of the head are most folded."""
    found = []
    low, high = np.array([_EAR_BACK_MM[0], _EAR_UP_MM[0]]), np.array([_EAR_BACK_MM[1], _EAR_UP_MM[1]])
    inside = ((head.middle[:, 1:] > low) & (head.middle[:, 1:] < high)).all(axis=1)
    for side, sign in _SIGNS.items():
        here = inside & (sign * head.middle[:, 0] > 0.0)
        if not here.any():
            continue
        wide = np.quantile(sign * head.middle[here, 0], 0.9)
        folds = here & (sign * head.middle[:, 0] > _EAR_OUT * wide) & (head.pairs.concave > _EAR_CONCAVE)
        weight = (head.pairs.length_mm * head.pairs.concave)[folds]
        if len(weight) < 8:
            continue
        found.append(_ear(head, side, head.middle[folds], weight, sure))
    return found


def _ear(head: _Head, side: str, points: Array, weight: Array, sure: float) -> Proposal:
    centre = np.average(points, axis=0, weights=weight)
    for _ in range(4):
        near = np.linalg.norm(points - centre, axis=1) < _EAR_RADIUS_MM
        if near.sum() < 4:
            break
        centre = np.average(points[near], axis=0, weights=weight[near])
    share = float(weight[near].sum() / weight.sum())
    faces = _faces_near(head.surface, centre)
    why = f"the side of the head is folded most here: {share:.0%} of its folds lie within {_EAR_RADIUS_MM:.0f} mm"
    confidence = round(0.8 * sure * squashed(share, nothing=0.3, sure=0.8), 2)
    return Proposal(f"ear_{side}", head.frame.to_scan(centre[None]), confidence, why, faces=faces)


def _faces_near(surface: Surface, centre: Array) -> IntArray:
    far = np.linalg.norm(surface.face_centres_mm - centre, axis=1)
    outer = np.sign(centre[0]) * surface.face_centres_mm[:, 0] > np.abs(centre[0]) - 12.0
    return np.asarray(np.flatnonzero((far < _EAR_RADIUS_MM) & outer))
