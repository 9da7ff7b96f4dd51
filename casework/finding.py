"""What a scan shows by itself, as proposals: ``bowtrue find``, the page, and a case with a landmark left out.

from casework.finding import proposals_for
for found in proposals_for(surface, "arch"):
    print(found.name, found.point_mm, found.confidence, found.why)
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from casework.axes_check import wrong_axes
from casework.cautions import SHORT_CAUTION
from casework.scans import ScanKind, scan_from_file
from mesh_tools.errors import BadValueError
from mesh_tools.finding.record import Proposal
from mesh_tools.surface import Surface

KINDS = ("arch", "head", "jaw")
SURE_ENOUGH = 0.6  # less sure than this, a proposal is never used silently: our choice
WRONG_AXES_SURE = 0.3  # the most that a proposal keeps when the arch lies far from its axes: our choice


@dataclass(frozen=True, eq=False)
class FoundOnFile:
    """The proposals on the scan in one file; ``surface`` in LPS mm once axes and unit are applied.

    ``axes_note``: why the axes do not look right, then no proposal has a confidence above ``WRONG_AXES_SURE``.
    """

    file: str
    sha256: str
    kind: str
    surface: Surface
    changes: tuple[str, ...]
    proposals: tuple[Proposal, ...]
    axes_note: str | None = None


def proposals_for(surface: Surface, kind: str) -> tuple[Proposal, ...]:
    """Proposals on ``surface`` (mm, repaired), in its own frame; ``kind`` is "arch", "jaw" or "head".

    An arch may lie in any frame; a head must have its axes right within about 30 degrees. ``name`` of a proposal that
    can stand for a landmark of a case is that landmark's key. Raises NotFoundError when the scan shows none.
    """
    if kind in ("arch", "jaw"):
        from mesh_tools.finding.arch import arch_proposals  # slow to import

        return arch_proposals(surface)
    if kind == "head":
        from mesh_tools.finding.head import head_proposals

        return head_proposals(surface)
    raise BadValueError(f"kind of scan must be one of {', '.join(KINDS)}; got {kind!r}.")


def found_on_file(path: Path, *, kind: str, axes: str, unit: str | None) -> FoundOnFile:
    """The proposals on the scan in the file at ``path``. Raises BowtrueError in one line."""
    if kind not in KINDS:
        raise BadValueError(f"kind of scan must be one of {', '.join(KINDS)}; got {kind!r}.")
    size: ScanKind = "head" if kind == "head" else "arch"
    scan = scan_from_file("scan", path, kind=size, axes=axes, unit=unit, tooth=None)
    seen = proposals_for(scan.surface, kind)
    note = None if kind == "head" else wrong_axes(seen, axes)
    if note is not None:
        seen = tuple(replace(p, confidence=min(p.confidence, WRONG_AXES_SURE)) for p in seen)
    return FoundOnFile(path.name, scan.sha256, kind, scan.surface, scan.changes, seen, note)


def found_dict(found: FoundOnFile) -> dict[str, Any]:
    """The tree of ``bowtrue find --json``: LPS mm in the scan's own frame."""
    return {
        "file": found.file,
        "sha256": found.sha256,
        "kind": found.kind,
        "changes": list(found.changes),
        "sure_enough": SURE_ENOUGH,
        "axes_note": found.axes_note,
        "proposals": [proposal_dict(p) for p in found.proposals],
    }


def proposal_dict(proposal: Proposal) -> dict[str, Any]:
    """Plain values of one proposal."""
    return {
        "name": proposal.name,
        "point_mm": proposal.point_mm.tolist(),
        "points_mm": proposal.points_mm.tolist(),
        "normal": None if proposal.normal is None else proposal.normal.tolist(),
        "direction": None if proposal.direction is None else proposal.direction.tolist(),
        "faces": None if proposal.faces is None else proposal.faces.tolist(),
        "confidence": proposal.confidence,
        "why": proposal.why,
    }


def found_text(found: FoundOnFile) -> str:
    """What ``bowtrue find`` prints."""
    rows = [f"{found.file}: proposals to be verified on the scan, LPS mm in its own frame."]
    if found.axes_note is not None:
        rows.append(f"  ! {found.axes_note}")
    for p in found.proposals:
        place = ", ".join(f"{v:.2f}" for v in p.point_mm)
        mark = " " if p.confidence >= SURE_ENOUGH else "?"
        rows.append(f"  {mark} {p.name:<23} ({place})  confidence {p.confidence:.2f}: {p.why}")
    if any(p.confidence < SURE_ENOUGH for p in found.proposals):
        rows.append(
            f"  ? confidence below {SURE_ENOUGH:g}: a case never uses it by itself; pick it on the scan."
        )
    return "\n".join([*rows, SHORT_CAUTION])
