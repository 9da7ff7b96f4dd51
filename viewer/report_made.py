"""How a report was made: versions, choices and defaults with their sources, and how to get the same numbers again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from casework.case_copy import COPY_NAME, CaseUsed
from casework.case_told import ToldValue, landmark_words, told_values
from casework.versions import machine_words, versions_used

if TYPE_CHECKING:
    from casework.plan import Plan


@dataclass(frozen=True)
class MadeWords:
    """The section "How this was made"; ``values`` is empty where the case itself is not at hand."""

    versions: str
    machine: str
    values: tuple[ToldValue, ...]
    landmarks: str
    again: str


def made_words(plan: Plan, used: CaseUsed | None) -> MadeWords:
    """What is said of how ``plan`` was made from ``used``."""
    versions = {**versions_used(), "bowtrue": plan.version}
    again = (
        "The same numbers again: plan the saved case with the same version and the scans named below unchanged "
        "(their SHA-256 tells)."
    )
    if used is not None:
        again = (
            f"The same numbers again: bowtrue plan {COPY_NAME} --out again, with the same version and the scans named "
            f"below unchanged (their SHA-256 tells). {COPY_NAME} lies beside this report: what was given, what was "
            "chosen on the command line, and every default."
        )
    return MadeWords(
        versions=", ".join(f"{name} {number}" for name, number in versions.items()),
        machine=machine_words(),
        values=() if used is None else told_values(used.case),
        landmarks="" if used is None else landmark_words(used.case),
        again=again,
    )


def from_words(row: ToldValue) -> str:
    """Where a value comes from, in words."""
    if not row.default:
        return "given"
    return f"default: {row.source}" if row.source else "default"
