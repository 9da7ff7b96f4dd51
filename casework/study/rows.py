"""The teeth of a study: from a table of mesh paths, as spreadsheets write it, or from a folder of named files.

Columns: ``mesh`` (path; relative to the table), ``tooth`` (FDI), ``axes``; optional ``id``, ``unit``,
``crest_below_cej_mm``; every other column is a covariate and is carried along. A wrong row is told and left out, the
rest goes on.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from mesh_tools.axes import axes_matrix
from mesh_tools.errors import BadFileError, BadValueError, BowtrueError, MissingFileError, one_line
from mesh_tools.fdi import ToothNumber
from mesh_tools.units import mm_per

KNOWN = ("id", "mesh", "tooth", "axes", "unit", "crest_below_cej_mm")
ENDINGS = (".stl", ".ply", ".obj", ".vtk", ".vtu", ".msh")
_MOST_BYTES = 200_000_000
_FIELD = re.compile(r"\{(\w+)\}")


@dataclass(frozen=True)
class StudyRow:
    """One tooth of a study. ``line``: its line in the table, or its place in the folder, from 1."""

    line: int
    id: str
    mesh: str
    tooth: int
    axes: str
    unit: str | None = None
    crest_below_cej_mm: float | None = None
    covariates: Mapping[str, str | float] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """What makes the row one and the same from run to run, wherever it stands in the table."""
        return "|".join(
            (self.mesh, str(self.tooth), self.axes, self.unit or "", str(self.crest_below_cej_mm))
        )


@dataclass(frozen=True)
class RowProblem:
    """A row that cannot be used, and why, in one line."""

    line: int
    id: str
    mesh: str
    tooth: str
    reason: str


@dataclass(frozen=True)
class StudyTable:
    """The teeth to estimate, the rows that cannot be, and the names of the covariates in order."""

    rows: tuple[StudyRow, ...]
    problems: tuple[RowProblem, ...]
    covariates: tuple[str, ...]


def read_table(path: Path) -> StudyTable:
    """The study in the CSV file at ``path``: comma, semicolon or tab, point or comma decimals, with or without a BOM.

    Raises MissingFileError, and BadFileError for a file that is no table or lacks a needed column.
    """
    text = _text(path)
    separator, text = _separated(text)
    reader = csv.DictReader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        names = [n.strip() for n in reader.fieldnames or ()]
        reader.fieldnames = names
        _check_names(path, names)
        records = [(reader.line_num, {k: v for k, v in r.items() if k}) for r in reader]
    except csv.Error as err:
        raise BadFileError(
            f"{path}: line {reader.line_num}: is not a table ({err}); save it as CSV."
        ) from err
    covariates = tuple(n for n in names if n and n not in KNOWN)
    return _sorted_out(records, covariates, path.parent)


def rows_of_folder(folder: Path, pattern: str, *, axes: str, unit: str | None = None) -> StudyTable:
    """The teeth in ``folder`` whose names fit ``pattern``, such as ``{id}_{tooth}.stl``; other fields are covariates.

    Raises MissingFileError without such a folder, BadValueError for a pattern without ``{tooth}`` or when no file fits.
    """
    if not folder.is_dir():
        raise MissingFileError(f"{folder} is not a folder; give a folder of meshes, or a CSV table.")
    fields = _FIELD.findall(pattern)
    if "tooth" not in fields or len(set(fields)) != len(fields):
        raise BadValueError(
            f"naming pattern {pattern!r} must hold {{tooth}}, and each field once; such as {{id}}_{{tooth}}.stl."
        )
    parts = _FIELD.split(pattern)
    rule = "".join(f"(?P<{p}>.+?)" if k % 2 else re.escape(p) for k, p in enumerate(parts))
    files = sorted(p for p in folder.iterdir() if p.is_file() and p.suffix.lower() in ENDINGS)
    found = [(p, m) for p in files if (m := re.fullmatch(rule, p.name)) is not None]
    if not found:
        raise BadValueError(f"{folder}: none of {len(files)} mesh files is named like {pattern!r}.")
    known = {"axes": axes, "unit": unit or ""}
    records: list[tuple[int, dict[str, str | None]]] = [
        (k, {"id": p.stem, "mesh": p.name, **known, **m.groupdict()}) for k, (p, m) in enumerate(found, 1)
    ]
    return _sorted_out(records, tuple(f for f in fields if f not in KNOWN), folder)


def group_name(tooth: int) -> str:
    """Place in the arch whatever the side: ``upper 6`` for 16 and 26."""
    return f"{'upper' if tooth // 10 in (1, 2) else 'lower'} {tooth % 10}"


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise BadFileError(f"{path}: larger than {_MOST_BYTES // 10**6} MB; a study's table is smaller.")
        data = path.read_bytes()
    except (FileNotFoundError, NotADirectoryError) as err:
        raise MissingFileError(f"table {path} does not exist; give a CSV table or a folder.") from err
    for encoding in ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252"):
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise BadFileError(f"{path}: is not text; save the table as CSV in UTF-8.")


def _separated(text: str) -> tuple[str, str]:
    """What parts the cells, and the text without the line ``sep=;`` that some spreadsheets put first."""
    first, _, rest = text.partition("\n")
    if re.fullmatch(r"sep=[;,\t]\r?", first.lower()):
        return first[4], rest
    return max(";\t,", key=first.count), text


def _check_names(path: Path, names: Sequence[str]) -> None:
    missing = [n for n in ("mesh", "tooth", "axes") if n not in names]
    if missing:
        raise BadFileError(
            f"{path}: column {missing[0]!r} is missing; the first line must name mesh, tooth and axes; "
            f"got {one_line(', '.join(names[:12])) or 'nothing'}."
        )
    twice = sorted({n for n in names if n and names.count(n) > 1})
    if twice:
        raise BadFileError(f"{path}: column {twice[0]!r:.80} stands there twice; name each column once.")


def _sorted_out(
    records: Iterable[tuple[int, dict[str, str | None]]], covariates: tuple[str, ...], folder: Path
) -> StudyTable:
    rows: list[StudyRow] = []
    problems: list[RowProblem] = []
    seen: dict[str, int] = {}
    for line, record in records:
        cells = {k: (v or "").strip() for k, v in record.items()}
        if not any(cells.values()):
            continue
        try:
            row = _row(line, cells, covariates, folder)
            if row.name in seen:
                raise BadValueError(
                    f"is the same tooth as line {seen[row.name]}; one of the two is left out."
                )
            seen[row.name] = line
            rows.append(row)
        except BowtrueError as err:
            problems.append(
                RowProblem(line, cells.get("id", ""), cells["mesh"], cells["tooth"], _one_line(err))
            )
    return StudyTable(tuple(rows), tuple(problems), covariates)


def _row(line: int, cells: Mapping[str, str], covariates: Sequence[str], folder: Path) -> StudyRow:
    if not cells["mesh"]:
        raise BadValueError("mesh: is empty; give the path of the tooth's surface.")
    mesh = folder / cells["mesh"]
    try:
        there = mesh.is_file()
    except (OSError, ValueError):  # a name too long, or with a zero in it, for the system to ask about
        raise BadValueError(f"mesh {cells['mesh']!r:.80} is not a usable file name.") from None
    if not there:
        raise MissingFileError(f"mesh {cells['mesh']} does not exist; paths start at the table's folder.")
    tooth = ToothNumber(_whole(cells["tooth"], "tooth"))
    axes_matrix(cells["axes"])
    unit = cells.get("unit") or None
    if unit is not None:
        mm_per(unit)
    crest = cells.get("crest_below_cej_mm")
    return StudyRow(
        line, cells.get("id") or mesh.stem, str(mesh), tooth.fdi, cells["axes"], unit,
        None if not crest else _number(crest, "crest_below_cej_mm"),
        {name: _value(cells.get(name, "")) for name in covariates},
    )  # fmt: skip


def _whole(text: str, name: str) -> int:
    try:
        return int(text)
    except ValueError as err:
        raise BadValueError(f"{name}: must be a whole number, an FDI tooth number; got {text!r}.") from err


def _number(text: str, name: str) -> float:
    value = _value(text)
    if not isinstance(value, float):
        raise BadValueError(f"{name}: must be a number; got {text!r}.")
    return value


def _value(text: str) -> str | float:
    """A number where it is one (point or comma decimals), else the text as it is."""
    plain = text.replace(",", ".") if text.count(",") == 1 and "." not in text else text
    return float(plain) if re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,2})?", plain) else text


def _one_line(err: BaseException) -> str:
    return " ".join(str(err).split())
