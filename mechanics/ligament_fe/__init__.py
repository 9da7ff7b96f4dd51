"""Periodontal ligament as a solid finite-element layer: the reference for the two quicker ligament models."""

from mechanics.ligament_fe.stiffness import FeResult, fe_stiffness
from mechanics.ligament_fe.thickness import hour_glass_thickness, thickness_from_socket

__all__ = ["FeResult", "fe_stiffness", "hour_glass_thickness", "thickness_from_socket"]
