"""Stress of round wire along a rod under load."""

from __future__ import annotations

import numpy as np

from mechanics.rod.element import ElementState, end_forces
from mechanics.rod.mesh import BowMesh, StationMap
from mechanics.rod.model import RodState
from mesh_tools.arrays import Array


def station_stress(mesh: BowMesh, state: RodState, stations: StationMap) -> Array:
    """Largest von Mises stress (k,) in MPa over the round section at every station.

    Bending E kappa d/2 plus stretch, and twisting G tau d/2, with the moments between an element's ends
    taken as straight lines; where both wires are joined each takes the curvature of the pair.
    """
    model = mesh.model
    carried = model.element_state(state)
    moments = _end_moments(carried, model.length_mm)
    e, t = stations.element, stations.fraction[:, None]
    moment = (1.0 - t) * moments[e, 0] + t * moments[e, 1]
    strain = moment / model.bend[e] * (0.5 * stations.diameter_mm[:, None])
    area = np.pi * model.diameter_mm[e] ** 2 / 4.0
    pull = np.abs(carried.force_n[e, 0]) / area
    bending = model.e_mpa * np.hypot(strain[:, 1], strain[:, 2]) + pull
    return np.asarray(np.sqrt(bending**2 + 3.0 * (model.g_mpa * strain[:, 0]) ** 2))


def _end_moments(carried: ElementState, length_mm: Array) -> Array:
    """Moments (e, 2, 3) in the wire at both ends of every element, in its half-way frame."""
    forces = end_forces(carried, length_mm=length_mm)
    first = np.einsum("nji,nj->ni", carried.frame, -forces[:, 3:6])
    second = np.einsum("nji,nj->ni", carried.frame, forces[:, 9:])
    return np.stack([first, second], axis=1)
