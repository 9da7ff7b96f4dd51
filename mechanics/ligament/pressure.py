"""Pressure and traction of the ligament on the root under a load, for pictures and for checking the balance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mechanics.ligament.facets import facets_of
from mechanics.ligament.foundation import unit_stiffness
from mechanics.ligament.springs import Ligament
from mechanics.rigid import compliance
from mesh_tools.arrays import Array, frozen


@dataclass(frozen=True, eq=False)
class RootPressure:
    """``pressure_mpa`` (m,) on each face, positive where the ligament is squeezed and negative where it is stretched;
    ``traction_mpa`` (m, 3) of the ligament on the tooth; ``motion`` (6,) of the tooth, [u; theta] about the origin.

    The pressures scale with the force and not with the modulus; the motion scales with the modulus, which is
    uncertain by two orders of magnitude: show the pressures, not the motion.
    """

    pressure_mpa: Array
    traction_mpa: Array
    motion: Array


def foundation_pressure(
    points_mm: ArrayLike, faces: ArrayLike, ligament: Ligament, *, force_n: ArrayLike, through_mm: ArrayLike
) -> RootPressure:
    """Pressure of the elastic foundation under ``force_n`` (3,) on the tooth acting ``through_mm`` (3,).

    The faces (m, 3) must be wound outward. Raises what ``facets_of`` and ``compliance`` raise.
    """
    facets = facets_of(points_mm, faces)
    force = frozen(force_n, (3,), name="force_n")
    wrench = np.concatenate([force, np.cross(frozen(through_mm, (3,), name="through_mm"), force)])
    k = unit_stiffness(facets).stiffness(k_normal=ligament.k_normal, k_shear=ligament.k_shear)
    motion = compliance(k) @ wrench
    moved = motion[:3] + np.cross(motion[3:], facets.centres_mm)
    approach = np.einsum("ij,ij->i", moved, facets.normals)
    along = moved - approach[:, None] * facets.normals
    pressure = ligament.k_normal * approach
    traction = -pressure[:, None] * facets.normals - ligament.k_shear * along
    return RootPressure(pressure, traction, motion)
