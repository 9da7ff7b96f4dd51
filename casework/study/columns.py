"""The data dictionary: every column of a study's results, with its type, unit and meaning."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

ColumnType = Literal["text", "whole", "number", "yes_no"]


@dataclass(frozen=True)
class Column:
    """One column: its name, what it holds, its unit and what it means."""

    name: str
    type: ColumnType
    unit: str
    meaning: str


_LOCAL = "in the tooth's own frame (origin: see origin; right and left teeth compare)"
COLUMNS = (
    Column("line", "whole", "", "line of the table, or place in the folder, that the tooth came from"),
    Column("id", "text", "", "name of the tooth as the table gives it, else the mesh's name"),
    Column("mesh", "text", "", "file name of the mesh"),
    Column("sha256", "text", "", "fingerprint of the mesh file"),
    Column("tooth", "whole", "FDI", "tooth number, ISO 3950"),
    Column("side", "text", "", "the patient's right or left"),
    Column("method", "text", "", "method of the estimate; empty when the whole tooth failed"),
    Column("status", "text", "", "ok or failed"),
    Column("reason", "text", "", "why it failed"),
    Column("fallback", "yes_no", "", "whether the method was used without what it really needs"),
    Column("information", "text", "", "what the scan showed: whole tooth, crown only"),
    Column("x_mm", "number", "mm", "the centre, +x the patient's left, in the mesh's own place (LPS)"),
    Column("y_mm", "number", "mm", "the centre, +y back (LPS)"),
    Column("z_mm", "number", "mm", "the centre, +z up (LPS)"),
    Column("centre_apical_mm", "number", "mm", f"the centre towards the apex {_LOCAL}"),
    Column("centre_distal_mm", "number", "mm", f"the centre distally {_LOCAL}"),
    Column("centre_buccal_mm", "number", "mm", f"the centre towards the cheek {_LOCAL}"),
    Column("elastic_apical_mm", "number", "mm", f"the elastic centre towards the apex {_LOCAL}"),
    Column("elastic_distal_mm", "number", "mm", f"the elastic centre distally {_LOCAL}"),
    Column("elastic_buccal_mm", "number", "mm", f"the elastic centre towards the cheek {_LOCAL}"),
    Column("from_rule_of_thumb_mm", "number", "mm", "distance from the rule of thumb's point"),
    Column("from_furcation_mm", "number", "mm", "distance from the roof of the furcation"),
    Column("band_mm", "number", "mm", "95 % half-width of the sampled centre along its longest axis"),
    Column("radius_of_resistance_mm", "number", "mm", "radius of resistance for a distal force"),
    Column("axes_miss_mm", "number", "mm", "how far the axes of resistance miss one common point"),
    Column("origin", "text", "", "origin of the tooth's own frame: furcation, or cervical line without one"),
    Column("buccal_face_apical_mm", "number", "mm", f"middle of the buccal crown face, apically {_LOCAL}"),
    Column("buccal_face_distal_mm", "number", "mm", f"middle of the buccal crown face, distally {_LOCAL}"),
    Column("buccal_face_buccal_mm", "number", "mm", f"middle of the buccal crown face, buccally {_LOCAL}"),
    Column("roots", "whole", "", "separate roots found"),
    Column("root_length_mm", "number", "mm", "mean length of the separate roots from the cervical line"),
    Column("divergence_deg", "number", "deg", "largest angle between two roots, seen from the neck"),
    Column("crown_height_mm", "number", "mm", "height of the crown along the long axis"),
    Column("crest_below_cej_mm", "number", "mm", "alveolar crest apical of the cervical line that was used"),
    Column("faces", "whole", "", "faces of the mesh after repair"),
    Column("warnings", "text", "", "what the estimate warned of, parted by ' / '"),
)  # fmt: skip


def columns_of(covariates: Sequence[str], values: dict[str, bool]) -> tuple[Column, ...]:
    """Every column of a study; ``values`` tells of each covariate whether all its values are numbers."""
    own = tuple(
        Column(f"cov_{c}", "number" if values.get(c) else "text", "", f"covariate {c!r} of the table")
        for c in covariates
    )
    return (*COLUMNS, *own)


def cell(column: Column, record: dict[str, Any]) -> Any:
    """The record's value for ``column``: None where it has none."""
    value = record.get(column.name)
    if value is None or (value == "" and column.type != "text"):
        return None
    return str(value) if column.type == "text" else value
