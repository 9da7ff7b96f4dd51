"""Do two scans share one unit? Told from their sizes."""

from __future__ import annotations

from mesh_tools.errors import BadValueError
from mesh_tools.registration.errors import LandmarkPairError, UnitMismatchError
from mesh_tools.surface import Surface
from mesh_tools.units import MM_PER_UNIT, longest_extent

SAME_SIZE = 1.05
"""Two landmark sets of one thing in one unit agree in size to 5 %: their scatter over their span."""
_NEAR_RATIO = 1.12
PARTS_RATIO = 7.0
"""A part and its whole: a crown of 9 mm against an arch of 63 mm."""
SMALLEST_MM, LARGEST_MM = 4.0, 650.0


def check_scale(scale: float, *, what: str) -> None:
    """Refuse landmark sets whose sizes differ: ``scale`` is fixed over moving.

    Raises UnitMismatchError naming the units, or LandmarkPairError for a ratio that is no ratio of units.
    """
    if 1.0 / SAME_SIZE < scale < SAME_SIZE:
        return
    named = _named_ratio(scale, within=_NEAR_RATIO)
    if named is not None:
        raise UnitMismatchError(f"{what}: {named}")
    if not 0.5 < scale < 2.0:
        raise LandmarkPairError(
            f"{what}: the fixed set is {scale:.3g} times the size of the moving one, which is no ratio of units; check "
            "that the pairs name the same points."
        )


def check_sizes(moving: Surface, fixed: Surface) -> None:
    """Refuse two surfaces whose longest extents show different units, or are no size of a scan in mm.

    Raises UnitMismatchError naming the unit.
    """
    own, other = longest_extent(moving), longest_extent(fixed)
    if not (own > 0.0 and other > 0.0):
        raise BadValueError("a scan without any extent cannot be registered; export it again.")
    for name, extent in (("moving", own), ("fixed", other)):
        if extent > LARGEST_MM:
            raise UnitMismatchError(
                f"the {name} scan is {extent:.4g} mm long, where scans are {SMALLEST_MM:g}-{LARGEST_MM:g} mm: its "
                "unit is smaller than the one named; name its unit."
            )
    ratio = other / own
    if not 1.0 / PARTS_RATIO <= ratio <= PARTS_RATIO:
        named = _named_ratio(ratio, within=3.0) or f"the fixed scan is {ratio:.3g} times as large."
        raise UnitMismatchError(f"longest extents {own:.4g} (moving) and {other:.4g} (fixed): {named}")
    for name, extent in (("moving", own), ("fixed", other)):
        if extent < SMALLEST_MM:
            raise UnitMismatchError(
                f"the {name} scan is {extent:.4g} long, where scans are {SMALLEST_MM:g}-{LARGEST_MM:g} mm: it looks "
                f"like {_unit_for(extent)}; name its unit."
            )


def _named_ratio(ratio: float, *, within: float) -> str | None:
    """The line that names the unit of the scan that is not in mm, when ``ratio`` (fixed over moving) is near it."""
    off, unit, smaller = min(
        (max(r / (k if r > 1 else 1 / k), (k if r > 1 else 1 / k) / r), name, r > 1)
        for name, k in (("cm", 10.0), ("in", 25.4), ("dm", 100.0), ("m", 1000.0))
        for r in (ratio,)
    )
    if off > within:
        return None
    which = "moving" if smaller else "fixed"
    factor = ratio if smaller else 1.0 / ratio
    return (
        f"the {which} scan is {factor:.4g} times too small for the other, so it looks like {unit} beside mm; name its "
        "unit."
    )


def _unit_for(extent: float) -> str:
    fits = [u for u, k in MM_PER_UNIT.items() if u != "mm" and 12.0 <= extent * k <= 350.0]
    return " or ".join(fits) if fits else "no unit that fits"
