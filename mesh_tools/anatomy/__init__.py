"""Tooth anatomy from the surface alone: long axis, cervical line, roots, furcation, apices."""

from mesh_tools.anatomy.crown import CrownMeasures, crown_measures
from mesh_tools.anatomy.errors import (
    CrownOnlyError,
    LandmarkError,
    NoCervicalLineError,
    ToothNumberError,
    ToothOnItsSideError,
    ToothUpsideDownError,
)
from mesh_tools.anatomy.record import Finding, Root, ToothAnatomy
from mesh_tools.anatomy.tooth import height_below_cej, tooth_anatomy

__all__ = [
    "CrownMeasures",
    "CrownOnlyError",
    "Finding",
    "LandmarkError",
    "NoCervicalLineError",
    "Root",
    "ToothAnatomy",
    "ToothNumberError",
    "ToothOnItsSideError",
    "ToothUpsideDownError",
    "crown_measures",
    "height_below_cej",
    "tooth_anatomy",
]
