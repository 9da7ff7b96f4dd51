"""Two scans of one patient: the later laid on the earlier by what is held still, then each crown found in it."""

from __future__ import annotations

from dataclasses import dataclass

from mechanics.sides import Side
from mesh_tools.arrays import Array, BoolArray
from mesh_tools.errors import BadValueError, BowtrueError
from mesh_tools.registration.landmark_fit import LandmarkFit
from mesh_tools.registration.motion import RigidMotion
from mesh_tools.registration.register import Registration, register
from mesh_tools.registration.resample import FitDraws, fit_draws
from mesh_tools.registration.samples import sampled
from mesh_tools.surface import Surface

MOST_TRAVEL_MM, MOST_TURN_DEG = 9.0, 30.0
_GATE_MM = 0.4  # pairs farther apart are not the same place any more
_ROUND_MM = 9.0  # how far round a crown it is looked for: the farthest it may have gone
_SMALL, _LARGE = 6000, 60_000


class TrackError(BadValueError):
    """A scan or a crown could not be followed; the text says which and why."""


@dataclass(frozen=True, eq=False)
class Held:
    """The later scan in the earlier one's frame, and how well what is held still fits."""

    later: Surface
    motion: RigidMotion
    found: Registration
    draws: FitDraws
    area_mm2: float


@dataclass(frozen=True, eq=False)
class Tracked:
    """How one crown moved, in the earlier scan's frame: p -> motion(p), with its fit and the fit's draws."""

    motion: RigidMotion
    found: Registration
    draws: FitDraws
    middle_mm: Array


def held_still(
    earlier: Surface, later: Surface, faces: BoolArray, *, landmarks: LandmarkFit | None = None, seed: int = 0
) -> Held:
    """``later`` laid on ``earlier`` by the ``faces`` of it that are held still. ``landmarks`` lead later to earlier.

    Raises TrackError when the scans share nothing, and for whatever else the registration refuses.
    """
    part = earlier.with_faces(faces)
    try:
        whole = register(later, earlier, start=RigidMotion.still(), landmarks=landmarks)
        found = register(part, later, start=whole.motion.inverse)
        draws = fit_draws(
            found.motion, sampled(part, _SMALL), sampled(later, _LARGE), gate_mm=_GATE_MM, seed=seed
        )
    except BowtrueError as err:
        raise TrackError(f"the later scan does not fit the earlier one: {err}") from err
    back = found.motion.inverse
    return Held(back.moved(later), back, found, _drawn_back(draws, back), float(part.areas_mm2.sum()))


def tracked(earlier: Surface, held: Held, faces: BoolArray, side: Side, *, seed: int = 0) -> Tracked:
    """Where the crown on the ``faces`` of ``earlier`` went. Raises TrackError naming the side."""
    crown = earlier.with_faces(faces)
    near = _around(held.later, crown)
    try:
        found = register(crown, near, start=RigidMotion.still())
        draws = fit_draws(
            found.motion, sampled(crown, _SMALL), sampled(near, _SMALL * 3), gate_mm=_GATE_MM, seed=seed
        )
    except BowtrueError as err:
        raise TrackError(f"the {side} molar's crown was not found in the later scan: {err}") from err
    _check_possible(found.motion, crown, side)
    return Tracked(found.motion, found, draws, crown.face_centres_mm.mean(axis=0))


def _drawn_back(draws: FitDraws, back: RigidMotion) -> FitDraws:
    """Draws of a fit of the earlier on the later scan, told in the earlier one's frame."""
    r = back.rotation
    return FitDraws(
        draws.turns @ r.T,
        draws.shifts_mm @ r.T,
        back.applied(draws.about_mm[None])[0],
        draws.rms_mm,
        draws.patches,
    )


def _around(later: Surface, crown: Surface) -> Surface:
    low, high = crown.points_mm.min(axis=0) - _ROUND_MM, crown.points_mm.max(axis=0) + _ROUND_MM
    centres = later.face_centres_mm
    inside = ((centres > low) & (centres < high)).all(axis=1)
    if not inside.any():
        raise TrackError("the later scan shows nothing where the earlier one has a molar: check both files.")
    return later.with_faces(inside)


def _check_possible(motion: RigidMotion, crown: Surface, side: Side) -> None:
    far = motion.travel_mm(crown.points_mm)
    if far > MOST_TRAVEL_MM or motion.angle_deg > MOST_TURN_DEG:
        raise TrackError(
            f"the {side} molar would have gone {far:.1f} mm and turned {motion.angle_deg:.0f} degrees, more than "
            f"{MOST_TRAVEL_MM:g} mm or {MOST_TURN_DEG:g}: it was taken for a neighbour, or the scans are of two people."
        )
