"""The wire settled in two tubes: with play, one-way stops, and molars that give."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from mechanics.bow.wire import BowWire, TubeSupport
from mechanics.rod.contact import TubeContact
from mechanics.rod.mesh import BowMesh
from mechanics.rod.model import RodState
from mechanics.rod.newton import Equilibrium, NoEquilibriumError, equilibrium, equilibrium_near
from mechanics.rod.problem import RodProblem
from mechanics.rod.release import relaxed
from mechanics.sides import SIDES, Side
from mesh_tools.arrays import Array, BoolArray
from mesh_tools.errors import BadValueError, NoAnswerError

LEAST_SLACK_MM = 1e-3
TOUCH_N = 1e-3
LEAST_INSIDE_MM = 1.0


class BowSlipsOutError(NoAnswerError):
    """Nothing keeps the bow in its tubes."""


@dataclass(frozen=True, eq=False)
class TubeSeat:
    """How the wire lies in one tube.

    ``mesial_n``, ``distal_n`` (3,): what the wire presses on each rim; ``stop_n``: what the stop presses
    distally, zero when it has lifted by ``stop_gap_mm``. ``tilt_deg``: between wire and tube.
    ``molar_move_mm``, ``molar_turn_rad`` (3,): the molar's own motion.
    """

    mesial_n: Array
    distal_n: Array
    stop_n: float
    stop_gap_mm: float
    tilt_deg: float
    molar_move_mm: Array
    molar_turn_rad: Array

    @property
    def touches(self) -> tuple[bool, bool]:
        """Whether the wire touches the mesial and the distal end."""
        return bool(np.linalg.norm(self.mesial_n) > TOUCH_N), bool(np.linalg.norm(self.distal_n) > TOUCH_N)


def tube_contact(
    bow: BowWire, mesh: BowMesh, supports: Mapping[Side, TubeSupport], *, slide_mm: Mapping[Side, float]
) -> TubeContact:
    """Contacts in the order right mesial, right distal, left mesial, left distal; ``slide_mm`` of a stop that
    is known to have lifted. Raises BadValueError for a terminal that reaches less than 1 mm behind its stop.
    """
    for side in SIDES:
        _check_terminal(bow, side)
    moving = [s for s in SIDES if supports[s].stiffness is not None]
    index = {s: moving.index(s) if s in moving else -1 for s in SIDES}
    rows = [(s, mesial) for s in SIDES for mesial in (True, False)]
    tubes = bow.tubes
    return TubeContact(
        model=mesh.model,
        node=np.array([(mesh.stop_node if mesial else mesh.terminal_node)[s] for s, mesial in rows]),
        end_mm=np.array([_end(bow, s, mesial=mesial) for s, mesial in rows]),
        axis=np.array([tubes[s].axis for s, _ in rows]),
        slack_mm=np.array([max(0.5 * bow.play_mm(s), LEAST_SLACK_MM) for s, _ in rows]),
        stops=np.array([mesial for _, mesial in rows]),
        slide_mm=np.array([slide_mm[s] if mesial else 0.0 for s, mesial in rows]),
        molar=np.array([index[s] for s, _ in rows]),
        about_mm=np.array([supports[s].about_mm for s, _ in rows]),
        stiffness=np.array([supports[s].stiffness for s in moving]).reshape(-1, 6, 6),
    )


def settled(
    problem: RodProblem, contact: TubeContact, start: RodState, *, shares: tuple[float, float]
) -> tuple[RodProblem, Equilibrium]:
    """Equilibrium with play and one-way stops, from ``start``: free (``shares`` (0, 1)), or loaded in ideal
    tubes ((1, 1)).

    First the wire is pinned in the axis at both ends of each tube, then let go into the play to first order,
    then the rims hold it. A stop that would have to pull is let go and the wire settles again.
    Raises NoEquilibriumError, and BowSlipsOutError when both stops lift.
    """
    molars = np.zeros((contact.moving_molars, 6))
    state, stops = replace(start, molar=molars), contact.stops & (contact.slide_mm == 0.0)
    for _ in range(4):
        with_stops, found = _settled_on(problem, contact.with_stops(stops), state, shares)
        held = _stop_force(with_stops, found)
        wanted = _wanted_stops(contact, with_stops, found)
        if bool((wanted == stops).all()):
            return with_stops, found
        if not wanted.any():
            raise BowSlipsOutError(
                f"the bow slips forward out of both tubes: its stops would have to pull with "
                f"{-held.min():.2f} N; pull it backward or reduce what pushes it forward."
            )
        stops = wanted
    raise NoEquilibriumError("the stops of the bow settle on no side; make the pulls less unequal.")


def _settled_on(
    problem: RodProblem, contact: TubeContact, start: RodState, shares: tuple[float, float]
) -> tuple[RodProblem, Equilibrium]:
    pinned = replace(problem, contact=replace(contact, pinned=True))
    found = equilibrium(pinned, start, shares=shares, proven=False)
    resting = replace(problem, contact=contact.with_rims())
    return resting, equilibrium(resting, relaxed(pinned, found.state), shares=(1.0, 1.0))


def settled_near(
    problem: RodProblem, contact: TubeContact, start: RodState, stops: BoolArray
) -> tuple[RodProblem, Equilibrium] | None:
    """As ``settled``, straight from a near state under load with the ``stops`` that held there; None where Newton's
    method or the stops do not agree with that."""
    resting = replace(problem, contact=contact.with_stops(stops).with_rims())
    found = equilibrium_near(resting, start)
    if found is None or not found.stable or not stops.any():
        return None
    return (resting, found) if bool((_wanted_stops(contact, resting, found) == stops).all()) else None


def _wanted_stops(contact: TubeContact, resting: RodProblem, found: Equilibrium) -> BoolArray:
    """Mask of the stops that ought to hold: those that push, and lifted ones that would go in."""
    held = resting.contact
    assert isinstance(held, TubeContact)
    pushes = _stop_force(resting, found) > -TOUCH_N
    return np.asarray(contact.stops & np.where(held.stops, pushes, _stop_depth(contact, found.state) > 0.0))


def contact_forces(problem: RodProblem, found: Equilibrium) -> Array:
    """Forces (k, 3) of the wire on the tube ends, in the patient's frame, read with the last Newton step."""
    contact = problem.contact
    assert isinstance(contact, TubeContact)
    blocks, slopes = contact.forces(found.state)[0], contact.tangents(found.state)[0]
    unknowns = problem.pattern.groups[2]
    step = np.where(unknowns >= 0, found.correction[unknowns], 0.0)
    return np.asarray((blocks + np.einsum("kij,kj->ki", slopes, step))[:, :3])


def seats(problem: RodProblem, found: Equilibrium) -> dict[Side, TubeSeat]:
    """How the wire lies in each tube."""
    contact = problem.contact
    assert isinstance(contact, TubeContact)
    press, seen = contact_forces(problem, found), contact.seen_mm(found.state)
    along, across = contact.split(press)
    depth = _stop_depth(contact, found.state)
    out: dict[Side, TubeSeat] = {}
    for k, side in ((0, SIDES[0]), (2, SIDES[1])):
        m = contact.molar[k]
        motion = found.state.molar[m] if m >= 0 else np.zeros(6)
        way = seen[k + 1] + contact.end_mm[k + 1] - seen[k] - contact.end_mm[k]
        cosine = float(way @ contact.axis[k]) / float(np.linalg.norm(way))
        out[side] = TubeSeat(
            mesial_n=across[k],
            distal_n=across[k + 1],
            stop_n=float(along[k]) if contact.stops[k] else 0.0,
            stop_gap_mm=0.0 if contact.stops[k] else float(-depth[k]),
            tilt_deg=float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))),
            molar_move_mm=motion[:3],
            molar_turn_rad=motion[3:],
        )
    return out


def seat_notes(seat: Mapping[Side, TubeSeat], bow: BowWire) -> tuple[str, ...]:
    """What a person should know about the wire in its tubes, one line each."""
    notes = []
    for side in SIDES:
        mesial, distal = seat[side].touches
        if seat[side].stop_gap_mm > 0.0:
            notes.append(f"{side} stop lifts off its tube by {seat[side].stop_gap_mm:.2f} mm.")
        if not (mesial and distal):
            where = (
                "neither end"
                if not (mesial or distal)
                else f"only the {'mesial' if mesial else 'distal'} end"
            )
            notes.append(
                f"{side} wire touches {where} of its tube: the play of {bow.play_mm(side):.3f} mm is not taken "
                "up and the bow is loose there."
            )
    return tuple(notes)


def check_slide(seat: Mapping[Side, TubeSeat], bow: BowWire) -> None:
    """Raises BowSlipsOutError where a lifted stop leaves less than 1 mm of wire in its tube."""
    for side in SIDES:
        gap, length = seat[side].stop_gap_mm, bow.tubes[side].length_mm
        if gap > length - LEAST_INSIDE_MM:
            raise BowSlipsOutError(
                f"{side} terminal slides {gap:.1f} mm forward and leaves less than {LEAST_INSIDE_MM:.0f} mm in its "
                f"tube of {length:.1f} mm; make the two pulls less unequal or secure the bow in its tubes."
            )


def _end(bow: BowWire, side: Side, *, mesial: bool) -> Array:
    """Tube end, or the place on the axis that the end of a shorter wire reaches."""
    tube = bow.tubes[side]
    if mesial:
        return tube.mesial_mm
    return np.asarray(tube.mesial_mm + min(_reach_mm(bow, side), tube.length_mm) * tube.axis)


def _reach_mm(bow: BowWire, side: Side) -> float:
    return bow.stop_mm[side] if side == "right" else bow.inner.length_mm - bow.stop_mm[side]


def _check_terminal(bow: BowWire, side: Side) -> None:
    reach = _reach_mm(bow, side)
    if reach < LEAST_INSIDE_MM:
        raise BadValueError(
            f"{side} terminal reaches {reach:.2f} mm behind its stop; at least {LEAST_INSIDE_MM:.0f} mm must lie in "
            "the tube: move the stop forward or fit another bow."
        )


def _stop_force(problem: RodProblem, found: Equilibrium) -> Array:
    contact = problem.contact
    assert isinstance(contact, TubeContact)
    along, _ = contact.split(contact_forces(problem, found))
    return np.where(contact.stops, along, 0.0)


def _stop_depth(contact: TubeContact, state: RodState) -> Array:
    along, _ = contact.split(contact.seen_mm(state))
    return along - contact.slide_mm
