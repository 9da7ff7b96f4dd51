"""The cautions that every plan, sheet and page carries: one sentence each, with its source beside it.

"Common practice, no source" marks a fact of the trade that patient leaflets repeat and no study was found for.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Caution:
    """One caution: what to say, and where it comes from."""

    text: str
    source: str


_LEAFLETS = "patient leaflets in general use; common practice, no source"
_SOCIETY = "British Orthodontic Society, Development and Standards Committee, Advice on the use of headgear"

SHORT_CAUTION = (
    "Planning aid for licensed practitioners, not a medical device cleared for diagnosis: verify on the patient. "
    "A bow under tension that comes loose can blind: self-releasing strap AND bow secured in the tubes, always."
)

CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "Planning aid for licensed practitioners, not a medical device cleared for diagnosis: "
        "verify every number on the patient.",
        "the authors of bowtrue, on its limits",
    ),
    Caution(
        "Local rules and the maker's instructions for the bow and the release module come first.",
        "the authors of bowtrue, on its limits",
    ),
    Caution(
        "A face-bow under tension that comes loose can blind: of 11 eyes with a penetrating injury, "
        "10 were left with hand-movement vision or less.",
        "Blum-Hareuveni T, Rehany U, Rumelt S 2006 Graefes Arch Clin Exp Ophthalmol 244:253-258",
    ),
    Caution(
        "Use a self-releasing strap module AND a means that keeps the bow in the tubes: "
        "guarding against recoil alone is not enough.",
        f"Samuels RHA, Doll GM 1998 Turk J Orthod 11:55-63; {_SOCIETY}",
    ),
    Caution("Take the strap off before the bow; never lift both over the face in one piece.", _LEAFLETS),
    Caution("Nobody may pull at the bow or the strap.", _LEAFLETS),
    Caution("No play and no sport with the bow in.", _LEAFLETS),
    Caution("Found loose at night: stop wearing it and phone the practice.", _LEAFLETS),
    Caution(
        "Any eye injury is an emergency, however slight it looks: say that the bow was in the mouth and is "
        "contaminated.",
        f"Arch Ophthalmol 1985;103:649-651 (mixed flora, few symptoms at first); {_LEAFLETS}",
    ),
    Caution("Check bow, tubes and release module at every visit and record it.", _SOCIETY),
    Caution(
        "In a growing child correction comes mostly from growth restraint, not from molar movement: "
        "this plan promises no distal movement.",
        "common practice, no source",
    ),
)
