"""Periodontal ligament as a solid finite-element layer: the reference for the two quicker ligament models."""

from mechanics.ligament_fe.stiffness import FeResult, fe_stiffness

__all__ = ["FeResult", "fe_stiffness"]
