"""The elastic face-bow under its straps, held by both tubes, with what each molar feels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

import numpy as np

from mechanics.bow.wire import BowWire, TubeSupport, WirePart, WornBow
from mechanics.rod.contact import TubeContact
from mechanics.rod.ideal import fits, free_gap_mm, ideal_problem, inserted
from mechanics.rod.mesh import SPACING_MM, BowMesh, bow_mesh, worn_points
from mechanics.rod.model import RodState
from mechanics.rod.newton import Equilibrium, NoEquilibriumError
from mechanics.rod.problem import RodProblem
from mechanics.rod.seat import (
    LEAST_INSIDE_MM,
    TubeSeat,
    check_slide,
    contact_forces,
    seat_notes,
    seats,
    settled,
    settled_near,
    tube_contact,
)
from mechanics.rod.stress import check_yield, station_stress
from mechanics.sides import SIDES, Side, other_side
from mechanics.strap.direction import check_behind
from mechanics.strap.pull import StrapPull
from mesh_tools.arrays import Array

SLIDINGS = 12
SLID_MM = 0.01
Yielding = Literal["refuse", "note"]
Wrenches = dict[Side, tuple[Array, Array]]


@dataclass(frozen=True, eq=False)
class ElasticWear:
    """A worn bow with how its wire lies in each tube (``seats`` is None in ideal tubes)."""

    worn: WornBow
    seats: Mapping[Side, TubeSeat] | None
    equilibrium: Equilibrium


def elastic_wear(
    bow: BowWire,
    straps: Mapping[Side, StrapPull],
    supports: Mapping[Side, TubeSupport],
    *,
    ideal_tubes: bool = False,
    yielding: Yielding = "refuse",
    spacing_mm: float = SPACING_MM,
) -> WornBow:
    """The bow in equilibrium, bent by its straps, with the wrench on each molar about its own point.

    The wire lies in the tubes with play and a one-way stop and each molar stands on its ligament
    (``stiffness``; None: it does not move); ``ideal_tubes`` holds the wire in place and direction at the
    mesial end of each tube instead. A bow that does not fit its tubes is bent into them first. With straps
    of no force the answer is the bow as inserted.

    Raises BadValueError (strap point in front of its hook, terminal far off its tube), NoEquilibriumError
    (buckles or slips), BowSlipsOutError, and YieldError where the stress passes the proof stress, unless
    ``yielding`` is "note".
    """
    return elastic_wear_in_full(
        bow, straps, supports, ideal_tubes=ideal_tubes, yielding=yielding, spacing_mm=spacing_mm
    ).worn


def ideal_tube_wear(
    bow: BowWire, straps: Mapping[Side, StrapPull], supports: Mapping[Side, TubeSupport]
) -> WornBow:
    """``elastic_wear`` in ideal tubes, with the signature of every wear."""
    return elastic_wear(bow, straps, supports, ideal_tubes=True)


def elastic_wear_in_full(
    bow: BowWire,
    straps: Mapping[Side, StrapPull],
    supports: Mapping[Side, TubeSupport],
    *,
    ideal_tubes: bool = False,
    yielding: Yielding = "refuse",
    spacing_mm: float = SPACING_MM,
) -> ElasticWear:
    """``elastic_wear`` with the wire's lie in each tube and the solver's account."""
    for side in SIDES:
        check_behind(side, straps[side], bow.hook_mm[side])
    if not ideal_tubes:
        return _with_play(bow, straps, supports, yielding=yielding, spacing_mm=spacing_mm)
    mesh = bow_mesh(bow, spacing_mm=spacing_mm)
    problem = ideal_problem(bow, mesh, straps)
    found = inserted(problem, bow, mesh)
    wrench = _held_wrenches(bow, mesh, problem, found, supports)
    return ElasticWear(_worn(bow, mesh, found, straps, supports, wrench, yielding, ()), None, found)


def _with_play(
    bow: BowWire,
    straps: Mapping[Side, StrapPull],
    supports: Mapping[Side, TubeSupport],
    *,
    yielding: Yielding,
    spacing_mm: float,
) -> ElasticWear:
    """The bow in tubes with play; where a stop lifts, again with the nodes of that wire under the rims."""
    slide: dict[Side, float] = {"right": 0.0, "left": 0.0}
    for _ in range(SLIDINGS):
        mesh = bow_mesh(bow, spacing_mm=spacing_mm, slide_mm=slide)
        problem = ideal_problem(bow, mesh, straps)
        passive = fits(problem, bow, mesh)
        start = mesh.model.free_state() if passive else inserted(problem, bow, mesh).state
        free, basis = np.ones_like(problem.free), np.tile(np.eye(3), (len(problem.free), 1, 1))
        problem = replace(problem, free=free, basis=basis)
        contact = tube_contact(bow, mesh, supports, slide_mm=slide)
        resting, found = settled(problem, contact, start, shares=(0.0, 1.0) if passive else (1.0, 1.0))
        lie = seats(resting, found)
        if all(abs(lie[s].stop_gap_mm - slide[s]) < SLID_MM for s in SIDES):
            known = _Known(mesh, resting, found.state, slide, spacing_mm)
            return _in_play(bow, straps, supports, known, found, lie, yielding)
        if any(slide.values()):
            check_slide(lie, bow)
        slide = {s: min(lie[s].stop_gap_mm, bow.tubes[s].length_mm - LEAST_INSIDE_MM) for s in SIDES}
    raise NoEquilibriumError(
        f"the bow slides in its tubes without coming to rest, by {max(slide.values()):.2f} mm so far; make the two "
        "pulls less unequal."
    )


@dataclass(frozen=True, eq=False)
class _Known:
    """A bow at rest in its tubes, from which a near one may start."""

    mesh: BowMesh
    resting: RodProblem
    state: RodState
    slide_mm: Mapping[Side, float]
    spacing_mm: float


def _in_play(
    bow: BowWire,
    straps: Mapping[Side, StrapPull],
    supports: Mapping[Side, TubeSupport],
    known: _Known,
    found: Equilibrium,
    lie: Mapping[Side, TubeSeat],
    yielding: Yielding,
) -> ElasticWear:
    """The account of a bow that rests as ``known`` says."""
    wrench = _contact_wrenches(known.resting, found, supports)
    worn = _worn(bow, known.mesh, found, straps, supports, wrench, yielding, seat_notes(lie, bow))
    return ElasticWear(replace(worn, near=partial(_worn_near, known, yielding)), lie, found)


def _worn_near(
    known: _Known,
    yielding: Yielding,
    bow: BowWire,
    straps: Mapping[Side, StrapPull],
    supports: Mapping[Side, TubeSupport],
) -> WornBow:
    """``elastic_wear`` started from ``known``; from the free bow where that does not lead to rest."""
    for side in SIDES:
        check_behind(side, straps[side], bow.hook_mm[side])
    mesh = bow_mesh(bow, spacing_mm=known.spacing_mm, slide_mm=known.slide_mm)
    if np.array_equal(mesh.model.ends, known.mesh.model.ends) and mesh.stop_node == known.mesh.stop_node:
        contact = tube_contact(bow, mesh, supports, slide_mm=known.slide_mm)
        held = known.resting.contact
        assert isinstance(held, TubeContact)
        problem = replace(
            ideal_problem(bow, mesh, straps), free=known.resting.free, basis=known.resting.basis
        )
        near = settled_near(problem, contact, known.state, held.stops)
        if near is not None:
            resting, found = near
            lie = seats(resting, found)
            if all(abs(lie[s].stop_gap_mm - known.slide_mm[s]) < SLID_MM for s in SIDES):
                rest = _Known(mesh, resting, found.state, known.slide_mm, known.spacing_mm)
                return _in_play(bow, straps, supports, rest, found, lie, yielding).worn
    return elastic_wear(bow, straps, supports, yielding=yielding, spacing_mm=known.spacing_mm)


def _held_wrenches(
    bow: BowWire,
    mesh: BowMesh,
    problem: RodProblem,
    found: Equilibrium,
    supports: Mapping[Side, TubeSupport],
) -> Wrenches:
    """Force and moment (3,) on each molar about its own point, from the reactions of ideal tubes."""
    reaction = problem.nodal(found.element_forces)
    out: Wrenches = {}
    for side in SIDES:
        node, tube = mesh.stop_node[side], bow.tubes[side]
        force = -reaction[node, :3]
        arm = tube.mesial_mm - supports[side].about_mm
        out[side] = force, -reaction[node, 3:] + np.cross(arm, force)
    return out


def _contact_wrenches(
    problem: RodProblem, found: Equilibrium, supports: Mapping[Side, TubeSupport]
) -> Wrenches:
    contact = problem.contact
    assert isinstance(contact, TubeContact)
    press = contact_forces(problem, found)
    place = problem.model.node_mm[contact.node] + found.state.move_mm[contact.node]
    out: Wrenches = {}
    for k, side in ((0, SIDES[0]), (2, SIDES[1])):
        arm = place[k : k + 2] - supports[side].about_mm
        out[side] = press[k : k + 2].sum(axis=0), np.cross(arm, press[k : k + 2]).sum(axis=0)
    return out


def _worn(
    bow: BowWire,
    mesh: BowMesh,
    found: Equilibrium,
    straps: Mapping[Side, StrapPull],
    supports: Mapping[Side, TubeSupport],
    wrench: Wrenches,
    yielding: Yielding,
    notes: tuple[str, ...],
) -> WornBow:
    if not found.stable:
        raise NoEquilibriumError(
            "the bow buckles: the equilibrium found is not stable; lower the force or choose a thicker wire."
        )
    state = found.state
    hooks: dict[Side, Array] = {
        s: mesh.model.node_mm[mesh.hook_node[s]] + state.move_mm[mesh.hook_node[s]] for s in SIDES
    }
    pull = {s: straps[s].force_at(hooks[s], hooks[other_side(s)]) for s in SIDES}
    size = {s: float(np.linalg.norm(pull[s])) for s in SIDES}
    parts = {
        part.part: WirePart(worn_points(mesh, state, part.part), part.diameter_mm, part.part)
        for part in (bow.inner, bow.outer)
    }
    stress = station_stress(mesh, state)
    yields = check_yield(bow, stress, gap_mm=free_gap_mm(bow), refuse=yielding == "refuse")
    return WornBow(
        inner=parts["inner"],
        outer=parts["outer"],
        hook_mm=hooks,
        strap_force_n=size,
        strap_direction={
            s: pull[s] / size[s] if size[s] > 0.0 else straps[s].straps[0].direction_at(hooks[s])
            for s in SIDES
        },
        about_mm={s: supports[s].about_mm for s in SIDES},
        force_n={s: wrench[s][0] for s in SIDES},
        moment_n_mm={s: wrench[s][1] for s in SIDES},
        stress_mpa=stress,
        converged=True,
        residual=found.residual_n,
        notes=notes + yields,
    )
