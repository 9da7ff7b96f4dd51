"""The ligament as springs per unit area: a thin layer bonded to rigid tooth and rigid bone (standard elasticity)."""

from __future__ import annotations

from dataclasses import dataclass

from mesh_tools.errors import BadValueError

_E_MPA = (1e-4, 100.0)
_THICKNESS_MM = (0.005, 1.0)


@dataclass(frozen=True)
class Ligament:
    """Young's modulus (MPa), Poisson's ratio and thickness (mm) of the periodontal ligament.

    Defaults: E 0.68 MPa (Tanne K, Sakuda M, Burstone CJ 1987 AJODO 92:499-505, from memory), nu 0.45 (Jones ML et al.
    2001 J Orthod 28:29-38; Kojima Y, Fukui H 2005 AJODO 127:542-551), 0.2 mm (Wilding, Applied Oral Physiology).
    E only scales the stiffness; published values span 0.01-69 MPa, so patterns are reported and not magnitudes.
    Raises BadValueError outside plausible ranges.
    """

    e_mpa: float = 0.68
    nu: float = 0.45
    thickness_mm: float = 0.2

    def __post_init__(self) -> None:
        if not _E_MPA[0] <= self.e_mpa <= _E_MPA[1]:
            raise BadValueError(f"ligament E must be {_E_MPA[0]} to {_E_MPA[1]} MPa; got {self.e_mpa}.")
        if not 0.0 <= self.nu < 0.5:
            raise BadValueError(f"ligament nu must be at least 0 and below 0.5; got {self.nu}.")
        if not _THICKNESS_MM[0] <= self.thickness_mm <= _THICKNESS_MM[1]:
            raise BadValueError(
                f"ligament thickness must be {_THICKNESS_MM[0]} to {_THICKNESS_MM[1]} mm; got {self.thickness_mm}."
            )

    @property
    def k_normal(self) -> float:
        """Normal spring E(1-nu)/((1+nu)(1-2nu)t), N/mm per mm2."""
        e, nu = self.e_mpa, self.nu
        return e * (1.0 - nu) / ((1.0 + nu) * (1.0 - 2.0 * nu) * self.thickness_mm)

    @property
    def k_shear(self) -> float:
        """Tangential spring E/(2(1+nu)t), N/mm per mm2."""
        return self.e_mpa / (2.0 * (1.0 + self.nu) * self.thickness_mm)
