"""Landmarks a case leaves out: filled from the arch scan where that is sure, otherwise offered in the refusal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from casework.axes_check import wrong_axes
from casework.bow_needs import PLAN_LANDMARKS, check_landmarks
from casework.case_file import CaseError, CaseModel
from casework.finding import SURE_ENOUGH, proposals_for
from casework.landmark_frames import Located, located_case
from casework.scans import Scan
from mesh_tools.finding.record import NotFoundError, Proposal

FILLED = ("occlusal_plane_mm", "incisor_contact_mm")
"""What may be filled without being picked: the arch shows both to a few tenths of a millimetre. Never tubes or skin."""


def ready_case(case: CaseModel, scans: Mapping[str, Scan]) -> Located:
    """``case`` with all landmarks a plan needs, in its own frame, LPS mm; ``scans`` as read, in that frame.

    A missing occlusal plane or incisor contact is taken from the arch scan when it is found with a confidence of at
    least ``SURE_ENOUGH``, and warned of. Raises LandmarkOffScanError, and CaseError with a line for every landmark
    that is still missing, with the place that its scan proposes.
    """
    located = located_case(case, scans)
    missing = [name for name in PLAN_LANDMARKS if getattr(located.case.landmarks, name) is None]
    if not missing:
        return located
    found = {name: seen for name, seen in proposed(scans, missing).items() if name in missing}
    sure = {n: seen for n, seen in found.items() if n in FILLED and seen[1].confidence >= SURE_ENOUGH}
    whole = located.case.landmarks.model_copy(update={n: _rounded(n, p) for n, (_, p) in sure.items()})
    filled = located.case.model_copy(update={"landmarks": whole})
    check_landmarks(filled, offers={n: _offer(n, *seen) for n, seen in found.items()})
    warnings = (*located.warnings, *(_warning(n, *seen) for n, seen in sure.items()))
    return Located(filled, located.findings, warnings)


def proposed(scans: Mapping[str, Scan], names: list[str]) -> dict[str, tuple[Scan, Proposal]]:
    """By landmark, the scan that proposes it and the proposal, in the case's frame; only scans that may show ``names``
    are looked at, and one that shows nothing proposes nothing."""
    found: dict[str, tuple[Scan, Proposal]] = {}
    for scan_name, kind in (("arch", "arch"), ("face", "head")):
        on_skin = [n for n in names if n.startswith("mouth_")]
        wanted = on_skin if kind == "head" else [n for n in names if n not in on_skin]
        if scan_name not in scans or not wanted:
            continue
        try:
            seen = proposals_for(scans[scan_name].surface, kind)
        except NotFoundError:
            continue
        if kind == "arch":
            _check_frame(seen)
        found |= {p.name: (scans[scan_name], p) for p in seen}
    return found


def _check_frame(seen: Sequence[Proposal]) -> None:
    """Raises CaseError for an arch that lies far from LPS: what it shows would be believed in the wrong places."""
    if wrong_axes(seen, "LPS") is not None:
        raise CaseError(
            [
                "scans.arch: lies more than 30 degrees from the case's LPS frame, so no landmark is taken from it; "
                'check scans.arch.axes ("bowtrue find" names the code that fits), or lay it with a register table.'
            ]
        )


def _rounded(name: str, proposal: Proposal) -> list[float] | list[list[float]]:
    """The landmark's coordinates to a hundredth of a millimetre, as a case file holds them."""
    rows: list[list[float]] = (np.round(proposal.points_mm, 2) + 0.0).tolist()
    return rows if name == "occlusal_plane_mm" else rows[0]


def _offer(name: str, scan: Scan, proposal: Proposal) -> str:
    return (
        f" The scan {scan.file} proposes {_rounded(name, proposal)} (confidence {proposal.confidence:.2f}: "
        f"{proposal.why}); check that place on the scan before it is entered."
    )


def _warning(name: str, scan: Scan, proposal: Proposal) -> str:
    return (
        f"landmarks.{name} was not given; it was found on the scan {scan.file} (confidence {proposal.confidence:.2f}: "
        f"{proposal.why}). Check it on the scan, then enter it: {name} = {_rounded(name, proposal)}"
    )
