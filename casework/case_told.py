"""Every choice and every default of a case in one list, each with where it comes from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from casework.case_file import CaseModel

_OURS = "our assumption"
_TRADE = "common practice, no source"
SOURCES: dict[str, str] = {
    "bow.inner_diameter_mm": f"0.045 inch; {_TRADE}",
    "bow.outer_diameter_mm": f"0.072 inch; {_TRADE}",
    "bow.arm_length_mm": f"{_TRADE}; lengths sold as short or long are not standardised: measure the bow",
    "bow.anterior_clearance_mm": f"{_TRADE}: a few mm ahead of the incisors",
    "bow.cheek_clearance_mm": _OURS,
    "bow.joint_length_mm": f"{_OURS}: measure the bow",
    "bow.tube_bore_mm": f"0.045 inch nominal; {_TRADE}; measure the tube",
    "bow.e_gpa": "heavily drawn 18-8 steel: Goldberg AJ, Vanderby R, Burstone CJ 1977 J Dent Res 56:1227-1231",
    "bow.proof_mpa": "from memory, no source at hand",
    "bow.activation": f"{_OURS}: a passive inner bow",
    "pull.kind": "the clinician's choice",
    "pull.strap_width_mm": _OURS,
    "pull.right": f"{_OURS}: straight back, force as given",
    "pull.left": f"{_OURS}: straight back, force as given",
    "ligament.e_mpa": "Tanne K, Sakuda M, Burstone CJ 1987 AJODO 92:499-505, from memory",
    "ligament.nu": "Jones ML et al. 2001 J Orthod 28:29-38; Kojima Y, Fukui H 2005 AJODO 127:542-551",
    "ligament.thickness_mm": "Wilding, Applied Oral Physiology (textbook)",
    "choices.target": "elastic foundation: Johnson KL 1985 Contact Mechanics, section 4.3",
    "choices.aim": "the line of force is brought to the target",
    "choices.unknowns": f"{_OURS}: only the bend is changed",
    "choices.bow": "a bow that bends under its straps, as a real one does",
    "choices.ideal_tubes": "tubes with play, on molars that give way",
    "choices.wanted_offset_mm": "0: the line of force runs through the target",
    "choices.bend_limit_deg": _OURS,
    "choices.arm_limits_mm": _OURS,
    "choices.crest_below_cej_mm": "middle of the healthy 0 to 1.5 mm at 9 to 16 years: Needleman HL et al. 1997 J Dent "
    "Child 64:188; Dummer PMH et al. 1995 J Oral Rehabil 22:249-255",
    "choices.samples": f"{_OURS}; 0 draws none",
}
"""Key path of a default (or of a table of them), and its source or assumption."""


@dataclass(frozen=True)
class ToldValue:
    """One value of the case: its key path, the value in words, whether it is the default, and a default's source."""

    key: str
    value: str
    default: bool
    source: str


def told_values(case: CaseModel) -> tuple[ToldValue, ...]:
    """Every value of ``case`` but its scans and landmarks (which are measured, and in the case as used)."""
    skipped = {"schema_version", "case_id", "scans", "landmarks", "landmarks_in"}
    return tuple(row for row in _rows(case, "") if row.key.split(".")[0] not in skipped)


def landmark_words(case: CaseModel) -> str:
    """How many landmarks were given, and which."""
    given = sorted(case.landmarks.model_dump(exclude_none=True))
    for name, table in case.landmarks_in.model_dump(exclude_none=True).items():
        given += [f"{key} (on {name})" for key in sorted(table)]
    return f"{len(given)} landmarks: {', '.join(given)}" if given else "no landmarks beside the scans' own"


def _rows(model: BaseModel, path: str) -> Iterator[ToldValue]:
    for name, field in type(model).model_fields.items():
        key, value = f"{path}{name}", getattr(model, name)
        if isinstance(value, BaseModel):
            yield from _rows(value, f"{key}.")
        elif value is not None:
            standard = not field.is_required() and value == field.get_default(call_default_factory=True)
            yield ToldValue(key, _words(value), standard, _source(key) if standard else "")


def _source(key: str) -> str:
    parts = key.split(".")
    paths = (".".join(parts[:n]) for n in range(len(parts), 0, -1))
    return next((SOURCES[p] for p in paths if p in SOURCES), "")


def _words(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, list):
        return ", ".join(_words(v) for v in value)
    return str(value)
