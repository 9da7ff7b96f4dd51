"""The face-bow as a geometrically exact elastic rod, held by two tubes and pulled by straps."""

from mechanics.rod.newton import NoEquilibriumError
from mechanics.rod.wear import ideal_tube_wear

elastic_wear = ideal_tube_wear

__all__ = ["NoEquilibriumError", "elastic_wear", "ideal_tube_wear"]
