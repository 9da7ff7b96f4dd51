"""Stress of round wire along a rod under load."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mechanics.bow.wire import BowWire, PartName
from mechanics.rod.element import ElementState
from mechanics.rod.mesh import BowMesh, StationMap
from mechanics.rod.model import RodState
from mesh_tools.arrays import Array
from mesh_tools.errors import NoAnswerError

SPREAD_MM = 1.0


class YieldError(NoAnswerError):
    """The wire is bent beyond its proof stress, so it would not spring back."""


def station_stress(mesh: BowMesh, state: RodState) -> dict[PartName, Array]:
    """Largest von Mises stress in MPa over the round section at every station of both wires.

    Bending E kappa d/2 plus stretch, and twisting G tau d/2, with the moments between an element's ends
    taken as straight lines; where both wires are joined each takes the curvature of the pair.
    """
    carried = mesh.model.element_state(state)
    moments = _wire_moments(carried)
    return {part: _stress(mesh, carried, moments, stations) for part, stations in mesh.stations.items()}


def _stress(mesh: BowMesh, carried: ElementState, moments: Array, stations: StationMap) -> Array:
    model, e, t = mesh.model, stations.element, stations.fraction[:, None]
    moment = (1.0 - t) * moments[e, 0] + t * moments[e, 1]
    strain = moment / model.bend[e] * (0.5 * stations.diameter_mm[:, None])
    area = np.pi * model.diameter_mm[e] ** 2 / 4.0
    bending = model.e_mpa * np.hypot(strain[:, 1], strain[:, 2]) + np.abs(carried.force_n[e, 0]) / area
    return np.asarray(np.sqrt(bending**2 + 3.0 * (model.g_mpa * strain[:, 0]) ** 2))


def _wire_moments(carried: ElementState) -> Array:
    """Moments (e, 2, 3) in the wire at both ends of every element, in its half-way frame."""
    q, p = carried.end_moments
    return np.stack([q - 0.5 * p, q + 0.5 * p], axis=1)


def check_yield(
    bow: BowWire, stress_mpa: Mapping[PartName, Array], *, gap_mm: float, refuse: bool
) -> tuple[str, ...]:
    """A line for each wire whose stress passes the proof stress; raises YieldError instead if ``refuse``.

    ``gap_mm``: how far the farther terminal of the free bow lies off its tube.
    """
    spread = f" and fit it nearer to its tubes, {gap_mm:.1f} mm off now" if gap_mm > SPREAD_MM else ""
    lines = []
    for part in (bow.inner, bow.outer):
        stress = stress_mpa[part.part]
        k = int(np.argmax(stress))
        if stress[k] > bow.material.proof_mpa:
            lines.append(
                f"{part.part} wire yields: {stress[k]:.0f} MPa at {part.s_mm[k]:.0f} mm from its right end, proof "
                f"stress {bow.material.proof_mpa:.0f} MPa; lower the force, shorten the arms "
                f"or take thicker wire{spread}."
            )
    if refuse and lines:
        raise YieldError(" ".join(lines))
    return tuple(lines)
