"""The scans of a case: read, turned to LPS, checked for their unit, repaired, fingerprinted."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from casework.case_file import CaseModel, ScanModel
from mesh_tools.axes import to_lps
from mesh_tools.errors import BadValueError, BowtrueError
from mesh_tools.fdi import ToothNumber
from mesh_tools.read import read_surface, sha256_of
from mesh_tools.repair import repaired
from mesh_tools.surface import Surface
from mesh_tools.units import in_mm

ScanKind = Literal["tooth", "arch", "head", "bow"]
_KIND: dict[str, ScanKind] = {
    "right_molar": "tooth",
    "left_molar": "tooth",
    "arch": "arch",
    "face": "head",
    "bow": "bow",
}


@dataclass(frozen=True, eq=False)
class Scan:
    """A surface of the case in LPS mm, with where it came from and what repair changed."""

    name: str
    file: str
    sha256: str
    surface: Surface
    tooth: ToothNumber | None
    changes: tuple[str, ...]


class ScanError(BadValueError):
    """A scan of the case was refused; the text names the scan's key."""


def read_scans(case: CaseModel, folder: Path) -> dict[str, Scan]:
    """Every scan the case names, by key; relative paths start at ``folder``. Raises ScanError naming the key."""
    given = {name: getattr(case.scans, name) for name in _KIND}
    return {name: read_scan(name, model, folder) for name, model in given.items() if model is not None}


def read_scan(name: str, model: ScanModel, folder: Path) -> Scan:
    """One scan of a case file; raises ScanError naming the key."""
    try:
        return scan_from_file(name, folder / model.file, kind=_KIND[name], axes=model.axes, unit=model.unit,
                              tooth=_tooth(name, model), shown_as=model.file)  # fmt: skip
    except ScanError:
        raise
    except BowtrueError as err:
        raise ScanError(f"scans.{name}: {err}") from err


def scan_from_file(
    name: str, path: Path, *, kind: ScanKind, axes: str, unit: str | None, tooth: ToothNumber | None,
    shown_as: str | None = None,
) -> Scan:  # fmt: skip
    """The surface in the file at ``path`` in LPS mm, repaired. Raises BowtrueError in one line."""
    raw = read_surface(path)
    fixed = repaired(in_mm(to_lps(raw, axes), unit, kind))
    return Scan(
        name,
        shown_as or path.name,
        sha256_of(path),
        fixed.surface,
        tooth,
        tuple(c.text for c in fixed.changes),
    )


def _tooth(name: str, model: ScanModel) -> ToothNumber | None:
    if _KIND[name] != "tooth":
        return None
    if model.tooth is None:
        raise ScanError(
            f"scans.{name}.tooth: is missing; give the FDI number, 16 or 26 for an upper first molar."
        )
    tooth = ToothNumber(model.tooth)
    left = name.startswith("left")
    if not tooth.upper or tooth.left != left or tooth.kind != "molar":
        raise ScanError(
            f"scans.{name}.tooth: must be an upper molar of the {'left' if left else 'right'} side "
            f"({'26 or 27' if left else '16 or 17'}); got {model.tooth}."
        )
    return tooth
