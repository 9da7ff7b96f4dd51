"""Load dependence: a ligament that is soft at first and stiffens, by secant iteration on the elastic foundation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mechanics.centres.stiffness_centres import sagittal_centre
from mechanics.ligament.facets import Facets, facets_of
from mechanics.ligament.foundation import UnitStiffness, isotropic_stiffness
from mechanics.ligament.springs import Ligament
from mesh_tools.arrays import Array, unit
from mesh_tools.errors import BadValueError, NoAnswerError

RELAXATION = 0.4
"""Share of each secant step taken: the map's slope is at worst 1 - E_second/E_first = -3, so 0.4 always contracts."""
MAX_STEPS = 400
TOLERANCE = 1e-8


@dataclass(frozen=True)
class BilinearLigament:
    """Modulus ``e_first_mpa`` up to ``break_strain``, then slope ``e_second_mpa``; nu and thickness as ever.

    Defaults 0.05 and 0.20 MPa, 7 % strain, nu 0.30: table in Prog Orthod 2017 (PMC5326743). The strain is the Frobenius
    norm of the layer's strain tensor (normal d_n/t, shear d_t/2t twice), |d_n|/t where only squeezed or stretched;
    tension and compression alike: our choice, no source. Raises BadValueError out of range.
    """

    e_first_mpa: float = 0.05
    e_second_mpa: float = 0.20
    break_strain: float = 0.07
    nu: float = 0.30
    thickness_mm: float = 0.2

    def __post_init__(self) -> None:
        for e in (self.e_first_mpa, self.e_second_mpa):
            Ligament(e, self.nu, self.thickness_mm)
        if not 0.0 < self.break_strain < 1.0:
            raise BadValueError(f"break strain must lie between 0 and 1; got {self.break_strain:g}.")
        if not 0.25 <= self.e_second_mpa / self.e_first_mpa <= 4.0:
            raise BadValueError(
                "the second modulus must be a quarter to four times the first for the secant iteration; "
                f"got {self.e_first_mpa:g} and {self.e_second_mpa:g} MPa."
            )

    def secant_mpa(self, strain: Array) -> Array:
        """Secant modulus (m,) at the strains (m,)."""
        beyond = np.maximum(strain - self.break_strain, 0.0)
        within = np.minimum(strain, self.break_strain)
        stress = self.e_first_mpa * within + self.e_second_mpa * beyond
        return np.divide(stress, strain, out=np.full_like(strain, self.e_first_mpa), where=strain > 0.0)


@dataclass(frozen=True, eq=False)
class LoadedLigament:
    """Equilibrium under a load.

    Secant ``stiffness`` (6, 6) and ``motion`` (6,) about the origin; ``residual``, the relative step left; ``steps``
    taken; ``beyond_share`` of the root's area strained past the break; the largest strain ``max_strain``.
    """

    stiffness: Array
    motion: Array
    residual: float
    steps: int
    beyond_share: float
    max_strain: float


@dataclass(frozen=True, eq=False)
class CentreUnderForce:
    """Sagittal centre (3,) of the loaded ligament for ``force_n`` through that very point."""

    force_n: float
    centre_mm: Array
    loaded: LoadedLigament


def loaded_ligament(
    points_mm: ArrayLike,
    faces: ArrayLike,
    ligament: BilinearLigament,
    *,
    force_n: ArrayLike,
    through_mm: ArrayLike,
) -> LoadedLigament:
    """Equilibrium of the root ``points_mm``, ``faces`` under ``force_n`` (3,) acting ``through_mm`` (3,).

    Raises NoAnswerError where the secant iteration does not reach a relative residual of 1e-8.
    """
    f = np.asarray(force_n, dtype=np.float64)
    wrench = np.concatenate([f, np.cross(np.asarray(through_mm, dtype=np.float64), f)])
    return _loaded(facets_of(points_mm, faces), ligament, wrench)


def centre_against_force(
    points_mm: ArrayLike,
    faces: ArrayLike,
    ligament: BilinearLigament,
    *,
    forces_n: Sequence[float],
    direction: ArrayLike = (0.0, 1.0, 0.0),
    x_axis: ArrayLike = (1.0, 0.0, 0.0),
) -> tuple[CentreUnderForce, ...]:
    """How the sagittal centre moves as a force along ``direction`` grows; the force always passes through it."""
    facets, d = facets_of(points_mm, faces), unit(direction, name="direction of force")
    centre = sagittal_centre(_stiffness(facets, ligament, np.zeros(len(facets.areas_mm2))), x_axis=x_axis)
    found = []
    for force in forces_n:
        centre, loaded = _self_consistent(facets, ligament, force * d, start=centre, x_axis=x_axis)
        found.append(CentreUnderForce(float(force), centre, loaded))
    return tuple(found)


def _self_consistent(
    facets: Facets, ligament: BilinearLigament, force: Array, *, start: Array, x_axis: ArrayLike
) -> tuple[Array, LoadedLigament]:
    """Centre that the force passes through and that its own loading makes, to 1e-6 mm."""
    centre = start
    for _ in range(50):
        loaded = _loaded(facets, ligament, np.concatenate([force, np.cross(centre, force)]))
        moved = sagittal_centre(loaded.stiffness, x_axis=x_axis)
        if np.linalg.norm(moved - centre) < 1e-6:
            return moved, loaded
        centre = moved
    raise NoAnswerError(
        f"the centre under {np.linalg.norm(force):g} N did not settle within 50 rounds; try a smaller force."
    )


def _loaded(facets: Facets, ligament: BilinearLigament, wrench: Array) -> LoadedLigament:
    strain = np.zeros(len(facets.areas_mm2))
    stiffness = _stiffness(facets, ligament, strain)
    motion = np.asarray(np.linalg.solve(stiffness, wrench), dtype=np.float64)
    for step in range(1, MAX_STEPS + 1):
        strain = _strain(facets, ligament, motion)
        stiffness = _stiffness(facets, ligament, strain)
        goal = np.asarray(np.linalg.solve(stiffness, wrench), dtype=np.float64)
        residual = float(np.linalg.norm(goal - motion)) / max(float(np.linalg.norm(goal)), 1e-300)
        if residual < TOLERANCE:
            beyond = float(facets.areas_mm2[strain > ligament.break_strain].sum() / facets.areas_mm2.sum())
            return LoadedLigament(stiffness, motion, residual, step, beyond, float(strain.max()))
        motion = motion + RELAXATION * (goal - motion)
    raise NoAnswerError(
        f"the secant iteration left {residual:.1e} after {MAX_STEPS} steps; try a smaller force."
    )


def _strain(facets: Facets, ligament: BilinearLigament, motion: Array) -> Array:
    moved = motion[:3] + np.cross(motion[3:], facets.centres_mm)
    normal = np.einsum("ij,ij->i", moved, facets.normals)
    along = np.maximum(np.einsum("ij,ij->i", moved, moved) - normal**2, 0.0)
    return np.asarray(np.sqrt(normal**2 + 0.5 * along) / ligament.thickness_mm)


def _stiffness(facets: Facets, ligament: BilinearLigament, strain: Array) -> Array:
    unit_layer = Ligament(1.0, ligament.nu, ligament.thickness_mm)
    weights = ligament.secant_mpa(strain) * facets.areas_mm2
    arms = facets.arms
    normal = (arms.T * weights) @ arms
    shear = isotropic_stiffness(facets.centres_mm, weights) - normal
    return UnitStiffness(normal, shear).stiffness(k_normal=unit_layer.k_normal, k_shear=unit_layer.k_shear)
