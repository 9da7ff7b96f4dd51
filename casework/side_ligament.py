"""The ligament that a side of a plan stands on."""

from __future__ import annotations

from casework.plan import SidePlan
from mesh_tools.arrays import Array

_MODELS = ("finite_elements", "thin_layer", "elastic_foundation")


def side_ligament(side: SidePlan) -> Array | None:
    """Stiffness (6, 6) about the origin of LPS by the best model that was asked for; None when no root was seen."""
    for name in _MODELS:
        found = side.centre.methods.get(name)
        if found is not None and found.ligament is not None:
            return found.ligament.stiffness
    return None
