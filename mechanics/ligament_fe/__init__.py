"""Periodontal ligament as a solid finite-element layer: the reference for the two quicker ligament models."""

from mechanics.ligament_fe.deformable import DeformableCheck, deformable_check
from mechanics.ligament_fe.stiffness import FeResult, fe_stiffness
from mechanics.ligament_fe.thickness import hour_glass_thickness, thickness_from_socket

__all__ = [
    "DeformableCheck",
    "FeResult",
    "deformable_check",
    "fe_stiffness",
    "hour_glass_thickness",
    "thickness_from_socket",
]
