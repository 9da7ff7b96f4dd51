"""One scan laid on another: start by landmarks, as given, or from everywhere; refined; judged; or refused."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from mesh_tools.arrays import Array, frozen
from mesh_tools.registration.agreement import Agreement, Tolerance, agreement_of, check_agreement, is_good
from mesh_tools.registration.errors import AmbiguousFitError, MirroredDataError, PoorOverlapError
from mesh_tools.registration.hold import slack
from mesh_tools.registration.landmark_fit import LandmarkFit
from mesh_tools.registration.motion import RigidMotion
from mesh_tools.registration.nearest import signed_distances
from mesh_tools.registration.refine import Refined, refined
from mesh_tools.registration.samples import Samples, sampled
from mesh_tools.registration.size import check_sizes
from mesh_tools.registration.starts import best_starts, is_part, starts_near
from mesh_tools.registration.trimmed import Poses, paired
from mesh_tools.surface import Surface
from mesh_tools.units import longest_extent

StartKind = Literal["landmarks", "landmarks alone", "as given", "everywhere"]
_SMALLER_SAMPLES, _LARGER_SAMPLES, _SEARCH_SAMPLES = 6000, 60_000, 8000
_GATE_SHARE, _LANDMARK_GATE = 0.1, 3.0
_SAME_POSE_SHARE, _AS_GOOD, _WORTH = 0.1, 1.15, 1.6
_SLIDES = 40.0
_MIRROR_GAIN = 2.0


@dataclass(frozen=True, eq=False)
class Registration:
    """How ``moving`` was laid on ``fixed``.

    ``distances_mm`` (n,): of every moving point from the fixed surface, positive outside of it, for a distance map.
    ``start``: what the search began with; ``landmark_fit``: the pairs' own fit, where pairs were given.
    """

    motion: RigidMotion
    agreement: Agreement
    tolerance: Tolerance
    distances_mm: Array
    iterations: int
    converged: bool
    start: StartKind
    landmark_fit: LandmarkFit | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "distances_mm", frozen(self.distances_mm, (None,), name="distances_mm"))


@dataclass(frozen=True, eq=False)
class _Task:
    """Both scans as samples, the smaller one as the one that is moved; ``swapped`` when that is the fixed scan."""

    small: Samples
    large: Samples
    swapped: bool
    tolerance: Tolerance

    @property
    def radius_mm(self) -> float:
        """Radius of gyration of the smaller scan."""
        return self.small.radius_mm


def register(
    moving: Surface,
    fixed: Surface,
    *,
    start: RigidMotion | None = None,
    landmarks: LandmarkFit | None = None,
    same_mm: float | None = None,
) -> Registration:
    """Lay ``moving`` on ``fixed``, both mm, normals outward (repair first).

    The search begins at the landmarks' fit; without one at ``start``; without that, or when ``start`` leads to
    nothing that agrees, from everywhere. ``same_mm``: distance at which two places count as the same (None: by size).
    Raises UnitMismatchError, MirroredDataError, PoorOverlapError, ResidualError, AmbiguousFitError.
    """
    check_sizes(moving, fixed)
    task = _task(moving, fixed, same_mm)
    kind: StartKind = (
        "landmarks" if landmarks is not None else "as given" if start is not None else "everywhere"
    )
    begin = landmarks.motion if landmarks is not None else start
    best = None if begin is None else refined(
        _pose(begin, task), task.small, task.large, gate_mm=_first_gate(task, landmarks)
    )  # fmt: skip
    if best is not None and not is_good(_agreement(best, task), task.tolerance):
        best = _from_nearby(_pose(begin or RigidMotion.still(), task), best, task)
    if landmarks is None and (best is None or not is_good(_agreement(best, task), task.tolerance)):
        wide = _from_everywhere(task)
        if best is None or wide.score < best.score:
            best, kind = wide, "everywhere"
    assert best is not None
    _check(best, task, searched=kind == "everywhere")
    return _result(best, task, (moving, fixed), kind, landmarks)


def laid_by_landmarks(
    moving: Surface, fixed: Surface, landmarks: LandmarkFit, *, same_mm: float | None = None
) -> Registration:
    """``moving`` where the ``landmarks`` put it, for scans that share landmarks but no surface; nothing is refused."""
    task = _task(moving, fixed, same_mm)
    pose = _pose(landmarks.motion, task)
    pairing = paired(pose, task.small, task.large, gate_mm=task.tolerance.reach_mm)
    return _result(Refined(pose, pairing, 0, True), task, (moving, fixed), "landmarks alone", landmarks)


def _task(moving: Surface, fixed: Surface, same_mm: float | None) -> _Task:
    swapped = float(moving.areas_mm2.sum()) > float(fixed.areas_mm2.sum())
    small, large = (fixed, moving) if swapped else (moving, fixed)
    tolerance = Tolerance.for_extent(longest_extent(small), same_mm)
    return _Task(sampled(small, _SMALLER_SAMPLES), sampled(large, _LARGER_SAMPLES), swapped, tolerance)


def _pose(motion: RigidMotion, task: _Task) -> Poses:
    m = motion.inverse if task.swapped else motion
    return Poses(m.rotation[None], m.shift_mm[None])


def _first_gate(task: _Task, landmarks: LandmarkFit | None) -> float:
    """Farthest partner at first, mm: a tenth of the smaller scan, or three times the landmarks' rms and 1 mm."""
    plain = _GATE_SHARE * 2.0 * task.radius_mm
    return plain if landmarks is None else max(plain, _LANDMARK_GATE * landmarks.rms_mm + 1.0)


def _agreement(found: Refined, task: _Task) -> Agreement:
    return agreement_of(found.pose, task.small, task.large, task.tolerance)


def _from_nearby(begin: Poses, best: Refined, task: _Task) -> Refined:
    """``best``, or what a start turned and shifted a little from ``begin`` leads to, whichever fits better."""
    starts = starts_near(begin, task.small, task.large.first(_SEARCH_SAMPLES))
    return min([best, *_all_refined(starts, task.small, task.large)], key=lambda end: end.score)


def _from_everywhere(task: _Task) -> Refined:
    """The best of many starts; raises AmbiguousFitError when another pose fits as well, PoorOverlapError for none."""
    ends = _searched(task.small, task.large)
    if not np.isfinite(ends[0].score):
        raise PoorOverlapError(
            "no start makes the scans lie on one another: check the files, or give three landmark pairs."
        )
    if is_good(_agreement(ends[0], task), task.tolerance):
        _check_alone(ends, task)
    return ends[0]


def _searched(small: Samples, large: Samples) -> list[Refined]:
    starts = best_starts(small, large.first(_SEARCH_SAMPLES))
    return sorted(_all_refined(starts, small, large), key=lambda end: end.score)


def _all_refined(starts: Poses, small: Samples, large: Samples) -> list[Refined]:
    """Where the ``starts`` worth it end, begun with a narrow gate since the search has brought them close."""
    gate = _GATE_SHARE * small.radius_mm
    each = (starts.chosen(np.array([k])) for k in range(len(starts.rotations)))
    coarse = [refined(one, small, large, gate_mm=gate, levels=2) for one in each]
    worth = _WORTH * min(end.score for end in coarse)
    return [refined(end.pose, small, large, gate_mm=gate) for end in coarse if end.score <= worth]


def _check_alone(ends: list[Refined], task: _Task) -> None:
    """Refuse when a clearly different pose scores as well as the best."""
    points = task.small.points_mm[:200]
    best = ends[0].pose.applied(points)[0]
    for other in ends[1:]:
        apart = float(np.linalg.norm(other.pose.applied(points)[0] - best, axis=1).mean())
        if other.score < _AS_GOOD * ends[0].score and apart > _SAME_POSE_SHARE * task.radius_mm:
            raise AmbiguousFitError(
                f"the scans fit one another equally well in two poses {apart:.1f} mm apart on average, so their shape "
                "alone does not tell; give three landmark pairs."
            )


def _check(best: Refined, task: _Task, *, searched: bool) -> None:
    found = _agreement(best, task)
    good = is_good(found, task.tolerance)
    _check_mirrored(best, task, thorough=not good, searched=searched)
    check_agreement(found, task.tolerance)
    if slack(best.pairing) > _SLIDES:
        raise AmbiguousFitError(
            "the scans slide along one another (a flat, round or turned shape fits in many ways): give three landmark "
            "pairs and register by landmarks alone."
        )


def _check_mirrored(best: Refined, task: _Task, *, thorough: bool, searched: bool) -> None:
    """Refuse when the mirror image fits clearly better and well; ``thorough`` looks for its pose from everywhere.

    Otherwise only the mirror images in the scan's own principal planes are tried, which is where a face or an arch
    is nearly its own mirror image. A small part of a large scan is never looked for everywhere: the mirror image of a
    right molar does fit the left side of an arch. ``searched``: ``best`` itself was looked for everywhere.
    """
    gate = _first_gate(task, None)
    ends = [(refined(best.pose, m, task.large, gate_mm=gate, levels=2), m) for m in _mirrors(task)]
    thorough = thorough and not is_part(task.small, task.large)
    if thorough:
        image = mirrored(task.small, 0)
        ends.append((_searched(image, task.large)[0], image))
    end, image = min(ends, key=lambda e: e[0].score)
    fits = is_good(agreement_of(end.pose, image, task.large, task.tolerance), task.tolerance)
    if not fits or _MIRROR_GAIN * end.score >= best.score:
        return
    unsure = thorough and not searched
    other = _searched(task.small, task.large)[0].score if unsure else best.score
    if _MIRROR_GAIN * end.score < other:
        raise MirroredDataError(
            f"one scan fits the other as its mirror image (score {end.score:.3g} mm, as it is {best.score:.3g} mm): "
            "right and left are exchanged in one of them; check its axes code."
        )


def _mirrors(task: _Task) -> list[Samples]:
    return [mirrored(task.small, k) for k in range(3)]


def mirrored(samples: Samples, axis: int) -> Samples:
    """``samples`` mirrored in the plane through their middle and square to their principal axis number ``axis``."""
    middle = samples.points_mm.mean(axis=0)
    normal = np.linalg.svd(samples.points_mm - middle, full_matrices=False)[2][axis]
    flip = np.eye(3) - 2.0 * np.outer(normal, normal)
    return Samples(
        (samples.points_mm - middle) @ flip + middle, samples.normals @ flip, samples.face, samples.at_border,
        samples.spacing_mm,
    )  # fmt: skip


def _result(
    best: Refined, task: _Task, scans: tuple[Surface, Surface], kind: StartKind, landmarks: LandmarkFit | None
) -> Registration:
    carried = RigidMotion(best.pose.rotations[0], best.pose.shifts_mm[0])
    motion = carried.inverse if task.swapped else carried
    moving, fixed = scans
    samples = sampled(fixed, _LARGER_SAMPLES) if task.swapped else task.large
    distances = signed_distances(motion.applied(moving.points_mm), fixed, samples)
    return Registration(
        motion,
        _agreement(best, task),
        task.tolerance,
        distances,
        best.iterations,
        best.converged,
        kind,
        landmarks,
    )
