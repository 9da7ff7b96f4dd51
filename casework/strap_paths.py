"""The strap paths of a solved plan: taut bands as they lie at the loaded hooks, given points joined over the scan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from casework.case_file import CaseModel
from casework.straps import StrapGround, untaut_reason
from mechanics.bend.solve import BendCase
from mechanics.sides import SIDES, Side
from mechanics.strap.given import path_through
from mechanics.strap.path import BandName, StrapPath
from mechanics.strap.pressure import friction_along
from mesh_tools.arrays import Array
from mesh_tools.errors import BowtrueError
from mesh_tools.surface import Surface

# Cotton on skin, static: 0.31 +- 0.07 at the forearm to 0.90 +- 0.19 at the chest: Temel M, Johnson AA, Lloyd AB 2022
# Tribol Lett 70(1).
_SURE_GRIP, _MOST_GRIP = 0.31, 0.90
# Capillaries close at about 32 mmHg, 4.3 kPa (Landis 1930; from memory).
_CAPILLARY_KPA = 4.3


@dataclass(frozen=True, eq=False)
class PathsFound:
    """Paths in LPS, what to warn of, and how they came about."""

    paths: tuple[StrapPath, ...]
    warnings: tuple[str, ...]
    findings: tuple[str, ...]


def strap_paths(
    case: CaseModel, bend: BendCase, hooks_mm: Mapping[Side, Array], rotation: Array, face: Surface | None
) -> PathsFound:
    """Every strap that lies on skin, at the hooks' loaded places ``hooks_mm`` (treatment frame, like ``bend``).

    ``face`` in LPS. Straps given by points are drawn over the scan where it allows; that changes nothing in the plan.
    """
    paths: list[StrapPath] = []
    warnings: list[str] = []
    findings: list[str] = []
    skin = None if face is None else face.moved(rotation)
    for k in range(len(bend.straps["right"].straps)):
        straps = {s: bend.straps[s].straps[k] for s in SIDES}
        tension = {s: straps[s].force_n for s in SIDES}
        end = straps["right"].band
        if end is not None:
            try:
                path = end.line.path(hooks_mm, tension_n=tension)
            except BowtrueError as err:
                warnings.append(f"{end.line.band} strap, with the bow under load: {err}")
                continue
            warnings += _taut_warnings(path, tension)
            findings += end.line.told
        else:
            drawn = _drawn(case, k, _points(bend, k), hooks_mm, skin, tension)
            if drawn is None:
                continue
            path = drawn
        paths.append(path.moved(rotation.T))
    if not any(s.band for s in bend.straps["right"].straps):
        findings += untaut_reason(case, rotation, StrapGround(bend.bow.hook_mm, skin))
    return PathsFound(tuple(paths), tuple(warnings), tuple(findings))


def _points(bend: BendCase, k: int) -> dict[Side, Array] | None:
    """The fixed points that the ``k``-th straps lead to, or None where one has none."""
    points = {s: bend.straps[s].straps[k].toward_mm for s in SIDES}
    return (
        {s: p for s, p in points.items() if p is not None}
        if all(p is not None for p in points.values())
        else None
    )


def _drawn(
    case: CaseModel, k: int, points: dict[Side, Array] | None, hooks_mm: Mapping[Side, Array], skin: Surface | None,
    tension: Mapping[Side, float],
) -> StrapPath | None:  # fmt: skip
    """The path through given points over the scan, for the eye; None where the scan does not allow it."""
    if points is None or skin is None:
        return None
    band: BandName = "head" if case.pull.kind == "high_pull" or k == 1 else "neck"
    try:
        return path_through(
            skin, hooks_mm, points, band=band, tension_n=tension, width_mm=case.pull.strap_width_mm
        )
    except BowtrueError:
        return None


def _taut_warnings(path: StrapPath, tension: Mapping[Side, float]) -> list[str]:
    found = [t for t in path.told if t.startswith(("neck strap: its", "neck strap: on", "head strap: its"))]
    if path.grip > _SURE_GRIP:
        sure = (
            "more than cotton holds anywhere"
            if path.grip > _MOST_GRIP
            else "not every pad and skin give that"
        )
        found.append(
            f"{path.band} strap: to stay at its place it needs a grip (coefficient of friction) of {path.grip:.2f}; "
            f"cotton on skin gives 0.31 to 0.90 ({sure}). If it slides up, the line of force rises with it."
        )
    uneven = friction_along(tension, wrap_rad=path.wrap_rad)
    if uneven > 0.0:
        found.append(
            f"{path.band} strap: {tension['right']:.1f} N right and {tension['left']:.1f} N left are asked of one; "
            f"free to slide it evens them out, and friction of at least {uneven:.2f} along the skin must hold it. Sew "
            "or pin it at the nape, or ask for equal forces."
        )
    most = float(path.pressure_kpa.max())
    if most > 2.0 * _CAPILLARY_KPA:
        found.append(
            f"{path.band} strap: it presses with about {most:.0f} kPa at its worst place, twice what closes the skin's "
            f"small vessels ({_CAPILLARY_KPA} kPa): use a wider or softer pad."
        )
    return found
