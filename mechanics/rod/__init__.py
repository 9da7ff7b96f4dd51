"""The face-bow as a geometrically exact elastic rod, held by two tubes and pulled by straps."""

from mechanics.rod.insertion import Insertion, insertion
from mechanics.rod.newton import NoEquilibriumError
from mechanics.rod.seat import BowSlipsOutError, TubeSeat
from mechanics.rod.stress import YieldError
from mechanics.rod.wear import ElasticWear, elastic_wear, elastic_wear_in_full, ideal_tube_wear

__all__ = [
    "BowSlipsOutError",
    "ElasticWear",
    "Insertion",
    "NoEquilibriumError",
    "TubeSeat",
    "YieldError",
    "elastic_wear",
    "elastic_wear_in_full",
    "ideal_tube_wear",
    "insertion",
]
