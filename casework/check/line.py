"""From readings to the line of force in the sagittal plane: many readings at once, so that errors can be sampled.

All places are (back, up) in mm from the tube's mark, treatment frame; angles to the occlusal plane, positive up.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from casework.check.errors import CheckError
from casework.check.readings import MOST_ANGLE_DEG, MeasuringErrors, PhotoReading, Reading, RulerReading
from mechanics.sides import Side
from mesh_tools.arrays import Array


@dataclass(frozen=True, eq=False)
class Seen:
    """n readings: hook (n, 2) as (back, up), angle (n, k) in rad and force (n, k) in N of each of k straps."""

    hook_mm: Array
    angle: Array
    force_n: Array


@dataclass(frozen=True, eq=False)
class Expected:
    """What the plan expects of one side, seen from the side: (back, up) mm from the mark.

    ``strap_mm`` (k, 2): where each strap leads, NaN for one that keeps its direction; ``angle`` (k,) rad and
    ``force_n`` (k,) of each; ``share`` (k,): the part of each force that lies in the sagittal plane.
    """

    side: Side
    hook_mm: Array
    target_mm: Array
    strap_mm: Array
    angle: Array
    force_n: Array
    share: Array


@dataclass(frozen=True, eq=False)
class Numbers:
    """A reading as numbers (m,) with their standard deviations (m,), and how many rows (n, m) of them are seen."""

    values: Array
    sd: Array
    see: Callable[[Array], Seen]


def numbers_of(reading: Reading, expected: Expected, errors: MeasuringErrors) -> Numbers:
    """``reading`` as numbers; what was not measured stands at the plan's value. Raises CheckError."""
    if isinstance(reading, RulerReading):
        return _ruler_numbers(reading, expected, errors)
    return _photo_numbers(reading, expected, errors)


def offset_and_moment(seen: Seen, expected: Expected) -> tuple[Array, Array]:
    """Offset (n,) of the line from the target, mm, positive apical, and force in plane times it, N mm.

    The definition of ``mechanics.line_of_force.force_line``, for many readings at once.
    """
    force = seen.force_n * expected.share
    back, up = (force * np.cos(seen.angle)).sum(axis=1), (force * np.sin(seen.angle)).sum(axis=1)
    lever = seen.hook_mm - expected.target_mm
    moment = lever[:, 1] * back - lever[:, 0] * up
    return moment / np.hypot(back, up), moment


def _ruler_numbers(reading: RulerReading, expected: Expected, errors: MeasuringErrors) -> Numbers:
    count = _same_count(len(reading.straps), expected)
    asked = [s.angle_deg is not None for s in reading.straps]
    turn = np.array([0.0 if s.angle_deg is None else np.radians(s.angle_deg) for s in reading.straps])
    turn_sd = np.radians(np.where(asked, errors.protractor_deg, errors.unmeasured_angle_deg))
    force, force_sd = _forces([s.force_n for s in reading.straps], expected, errors)

    def see(rows: Array) -> Seen:
        hook = rows[:, :2]
        straight = _led(hook, expected)
        angle = rows[:, 2 : 2 + count] + np.where(asked, 0.0, straight)
        return Seen(hook, angle, rows[:, 2 + count :])

    values = np.concatenate([[reading.back_mm, reading.up_mm], turn, force])
    sd = np.concatenate([[errors.ruler_mm, errors.ruler_mm], turn_sd, force_sd])
    return Numbers(values, sd, see)


def _led(hook_mm: Array, expected: Expected) -> Array:
    """Angle (n, k) of each strap that was not measured: toward its point, or as the plan has it."""
    way = expected.strap_mm[None] - hook_mm[:, None]
    return np.asarray(np.where(np.isnan(way[..., 0]), expected.angle, np.arctan2(way[..., 1], way[..., 0])))


def _photo_numbers(reading: PhotoReading, expected: Expected, errors: MeasuringErrors) -> Numbers:
    count = _same_count(len(reading.strap_px), expected)
    if len(reading.forces_n) != count:
        raise CheckError(
            f"{expected.side} photo: give one force a strap, {count} in all; got {len(reading.forces_n)}."
        )
    force, force_sd = _forces(reading.forces_n, expected, errors)
    points = np.concatenate([reading.plane_px, [reading.mark_px, reading.hook_px], reading.strap_px])
    point_sd = errors.photo_point_mm * reading.px_per_mm
    values = np.concatenate([points.ravel(), [1.0 / reading.px_per_mm], force])
    scale_sd = np.hypot(
        errors.photo_scale_share, np.sqrt(2.0) * errors.photo_point_mm / reading.scale_mm
    ) / reading.px_per_mm  # fmt: skip
    sd = np.concatenate([np.full(points.size, point_sd), [scale_sd], force_sd])

    def see(rows: Array) -> Seen:
        marked = rows[:, : points.size].reshape(len(rows), -1, 2)
        front, back, mark, hook = (marked[:, k] for k in range(4))
        along = back - front
        strap = _upright(marked[:, 4:] - hook[:, None], along)
        angle = np.arctan2(strap[..., 1], strap[..., 0])
        place = _upright((hook - mark)[:, None], along)[:, 0] * rows[:, points.size, None]
        return Seen(place, angle, rows[:, points.size + 1 :])

    seen = see(values[None])
    if np.abs(np.degrees(seen.angle)).max() > MOST_ANGLE_DEG:
        raise CheckError(
            f"{expected.side} photo: the strap runs {np.degrees(seen.angle[0]).max():+.0f} degrees to the occlusal "
            f"plane, more than {MOST_ANGLE_DEG:g}; plane_px goes from front to back, and a strap pulls back."
        )
    return Numbers(values, sd, see)


def _upright(px: Array, along: Array) -> Array:
    """Pixel vectors (n, k, 2) as (back, up), ``along`` (n, 2) leading back; up is toward the picture's upper edge."""
    back = along / np.linalg.norm(along, axis=1)[:, None]
    up = np.stack([back[:, 1], -back[:, 0]], axis=1) * np.where(back[:, :1] < 0.0, -1.0, 1.0)
    return np.stack([np.einsum("nkj,nj->nk", px, back), np.einsum("nkj,nj->nk", px, up)], axis=-1)


def _forces(
    given: list[float | None] | tuple[float | None, ...], expected: Expected, errors: MeasuringErrors
) -> tuple[Array, Array]:
    force = np.array([p if f is None else f for f, p in zip(given, expected.force_n, strict=True)])
    share = [errors.unmeasured_force_share if f is None else errors.gauge_share for f in given]
    return force, force * np.array(share)


def _same_count(given: int, expected: Expected) -> int:
    count = len(expected.force_n)
    if given != count:
        raise CheckError(
            f"{expected.side} side: the plan has {count} strap{'s' if count > 1 else ''}, but {given} "
            f"{'were' if given > 1 else 'was'} measured; give each once, neck before head."
        )
    return count
