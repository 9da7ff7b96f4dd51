"""What a mesh is: size, likely unit, shells, holes, orientation, the kind of scan, and what repair would change."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import Any

import numpy as np

from mesh_tools.errors import BowtrueError
from mesh_tools.look_kind import KindGuess, guessed
from mesh_tools.read import read_surface
from mesh_tools.repair import repaired
from mesh_tools.repair_points import coincident_merged
from mesh_tools.repair_record import Step
from mesh_tools.self_crossing import self_crossings
from mesh_tools.surface import Surface
from mesh_tools.topology import (
    boundary_loops,
    edges,
    face_pieces,
    genus,
    is_closed,
    loop_length,
    volume_of_faces,
)


@dataclass(frozen=True)
class Look:
    """What was seen, in the file's own axes and unit; ``volume`` is None for an open surface.

    ``holes`` are the loop lengths, longest first. ``orientation`` is outward, inward, mixed or unknown (open).
    """

    points: int
    faces: int
    extent: tuple[float, float, float]
    shells: int
    holes: tuple[float, ...]
    closed: bool
    crowded_edges: int
    self_crossings: int
    tunnels: int
    orientation: str
    area: float
    volume: float | None
    kind: KindGuess
    repair_changes: tuple[str, ...]
    repair_notes: tuple[str, ...]


def look_at(source: Surface | str | os.PathLike[str]) -> Look:
    """What the surface, or the mesh file at a path, is; raises what ``read_surface`` raises."""
    surface = source if isinstance(source, Surface) else read_surface(source)
    whole = coincident_merged(Step.start(surface)).surface
    closed, known = is_closed(whole), edges(whole)
    changes, notes, fixed = _repair_told(surface)
    loops = tuple(loop_length(whole.points_mm, p) for p in boundary_loops(whole))
    x, y, z = (float(v) for v in surface.extent_mm)
    return Look(
        points=len(np.unique(surface.faces)),
        faces=len(surface.faces),
        extent=(x, y, z),
        shells=face_pieces(whole)[0],
        holes=loops,
        closed=closed,
        crowded_edges=int((known.use > 2).sum()),
        self_crossings=self_crossings(whole).count,
        tunnels=0 if (known.use > 2).any() else max(0, genus(whole)),
        orientation=_orientation(whole, closed=closed),
        area=float(surface.areas_mm2.sum()),
        volume=abs(volume_of_faces(whole)) if closed else None,
        kind=guessed(fixed),
        repair_changes=changes,
        repair_notes=notes,
    )


def report(look: Look) -> str:
    """The look as lines for a person."""
    x, y, z = look.extent
    rows = [
        ("size", f"{look.points} points, {look.faces} faces, {_pieces(look.shells)}"),
        ("extent", f"{x:.4g} x {y:.4g} x {z:.4g} in the file's unit"),
        ("unit", _unit_text(look)),
        ("holes", _holes_text(look.holes)),
        ("closed", "yes" if look.closed else "no"),
        ("normals", look.orientation),
        ("area", f"{look.area:.4g}" + (f", volume {look.volume:.4g}" if look.volume is not None else "")),
        ("kind", f"{look.kind.kind}: {'; '.join(look.kind.reasons)}"),
        ("repair", "; ".join(look.repair_changes) or "would change nothing"),
        ("notes", "; ".join(look.repair_notes)),
    ]
    if look.crowded_edges:
        rows.insert(5, ("crowded", f"{look.crowded_edges} edges carry more than two faces"))
    if look.tunnels:
        count = "one tunnel" if look.tunnels == 1 else f"{look.tunnels} tunnels"
        rows.insert(5, ("tunnels", f"{count} through it: two places may have grown together in the scan"))
    if look.self_crossings:
        rows.insert(5, ("crosses", f"itself at {look.self_crossings} places (edges through faces)"))
    return "\n".join(f"  {name:<8} {text}" for name, text in rows if text)


def as_dict(look: Look) -> dict[str, Any]:
    """The look as plain values for JSON; lengths in the file's own unit."""
    return {
        "points": look.points,
        "faces": look.faces,
        "extent": list(look.extent),
        "unit_guess": look.kind.units[0] if look.kind.units else None,
        "units_that_fit": list(look.kind.units),
        "shells": look.shells,
        "holes": len(look.holes),
        "hole_loop_lengths": list(look.holes),
        "closed": look.closed,
        "crowded_edges": look.crowded_edges,
        "self_crossings": look.self_crossings,
        "tunnels": look.tunnels,
        "orientation": look.orientation,
        "area": look.area,
        "volume": look.volume,
        "kind": look.kind.kind,
        "kind_reasons": list(look.kind.reasons),
        "repair_changes": list(look.repair_changes),
        "repair_notes": list(look.repair_notes),
    }


def _repair_told(surface: Surface) -> tuple[tuple[str, ...], tuple[str, ...], Surface]:
    """What repair would change and note, and the surface to judge the kind by."""
    try:
        done = repaired(surface)
    except BowtrueError as refusal:
        return (), (f"repair refuses: {refusal}",), surface
    return tuple(c.text for c in done.changes), tuple(n.text for n in done.notes), done.surface


def _orientation(surface: Surface, *, closed: bool) -> str:
    """Which way the normals point."""
    known = edges(surface)
    runs = np.bincount(known.of_half_edge, weights=known.forward, minlength=len(known.use))
    if ((known.use == 2) & (runs != 1)).any():
        return "mixed: neighbouring faces disagree"
    if not closed:
        return "consistent (open, so outward is not certain)"
    return "outward" if volume_of_faces(surface) > 0 else "inward"


def _pieces(count: int) -> str:
    """Number of shells in words."""
    return "one shell" if count == 1 else f"{count} shells"


def _holes_text(holes: tuple[float, ...]) -> str:
    """Holes with the longest loops."""
    if not holes:
        return "none"
    shown = ", ".join(f"{h:.3g}" for h in holes[:6]) + (", ..." if len(holes) > 6 else "")
    return f"{len(holes)}, loop lengths {shown}"


def _unit_text(look: Look) -> str:
    """The unit that the kind suggests."""
    if not look.kind.units:
        return "cannot be told from the size"
    first, *rest = look.kind.units
    return f"looks like {first}" + (f" (or {', '.join(rest)})" if rest else "")
