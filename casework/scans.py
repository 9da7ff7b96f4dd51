"""The scans of a case: read, turned to LPS, checked for their unit, repaired, fingerprinted."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from casework.case_file import CaseModel, ScanModel
from casework.registration import Laid, laid_scans
from mechanics.sides import SIDES, Side
from mesh_tools.axes import to_lps
from mesh_tools.errors import BadValueError, BowtrueError
from mesh_tools.fdi import ToothNumber
from mesh_tools.read import read_surface, sha256_of
from mesh_tools.registration.motion import RigidMotion
from mesh_tools.repair import repaired
from mesh_tools.surface import Surface
from mesh_tools.units import UnitError, in_mm, longest_extent, mm_per

ScanKind = Literal["tooth", "arch", "head", "bow"]
_KIND: dict[str, ScanKind] = {
    "right_molar": "tooth",
    "left_molar": "tooth",
    "arch": "arch",
    "face": "head",
    "bow": "bow",
}
_FARTHEST_MM = (
    5000.0  # far beyond any scanner's room; double precision still holds 1e-9 mm in the sums over a root
)
_CROWN_MM = (7.0, 12.0)  # longest extent of a scan that ends at the gum (common practice, no source)


@dataclass(frozen=True, eq=False)
class Scan:
    """A surface of the case in LPS mm, with where it came from and what repair changed.

    ``bone``: of a tooth, the bone around it, LPS mm. ``motion``: how it came into the case's
    frame from one of its own.
    """

    name: str
    file: str
    sha256: str
    surface: Surface
    tooth: ToothNumber | None
    changes: tuple[str, ...]
    bone: Surface | None = None
    motion: RigidMotion | None = None

    def laid(self, where: Laid) -> Scan:
        """This scan and its bone in the case's frame, told among its changes."""
        bone = None if self.bone is None else where.motion.moved(self.bone)
        told = (*self.changes, where.told)
        return replace(self, surface=where.surface, bone=bone, motion=where.motion, changes=told)


class ScanError(BadValueError):
    """A scan of the case was refused; the text names the scan's key."""


ReadOne = Callable[[str, ScanModel, Path], Scan]


def read_scans(case: CaseModel, folder: Path, *, read: ReadOne | None = None) -> dict[str, Scan]:
    """Every scan the case names, by key; relative paths start at ``folder``. Raises ScanError naming the key.

    ``read``: what reads one scan, bones too; ``read_scan`` unless a caller keeps scans it has read before.
    """
    one = read or read_scan
    given = {name: getattr(case.scans, name) for name in _KIND}
    scans = {name: one(name, model, folder) for name, model in given.items() if model is not None}
    whole = _with_bones(case, folder, scans, one)
    laid = laid_scans(case, {name: scan.surface for name, scan in whole.items()})
    moved = {name: scan.laid(laid[name]) if name in laid else scan for name, scan in whole.items()}
    return _bones_along(moved)


def read_scan(name: str, model: ScanModel, folder: Path) -> Scan:
    """One scan of a case file, in its own frame; raises ScanError naming the key."""
    try:
        if name.endswith("_bone"):
            return bone_from_file(
                name, folder / model.file, axes=model.axes, unit=model.unit, shown_as=model.file
            )
        if model.seed_mm is not None:
            return _seeded(name, model, folder)
        return scan_from_file(name, folder / model.file, kind=_KIND[name], axes=model.axes, unit=model.unit,
                              tooth=_tooth(name, model), shown_as=model.file)  # fmt: skip
    except ScanError:
        raise
    except UnitError as err:  # a case has a key where a command has an option
        told = re.sub(r"pass --unit (\w+)", rf'write scans.{name}.unit = "\1"', str(err))
        raise ScanError(f"scans.{name}: {told}") from err
    except BowtrueError as err:
        raise ScanError(f"scans.{name}: {err}") from err


def _seeded(name: str, model: ScanModel, folder: Path) -> Scan:
    """The crown of a molar cut out of a whole arch at the model's seed."""
    from casework.seeded_crown import crown_of_seed  # slow to import

    if _KIND[name] != "tooth":
        raise BadValueError("seed_mm belongs to a molar's scan; leave it out here.")
    tooth = _tooth(name, model)
    jaw = scan_from_file(
        name,
        folder / model.file,
        kind="arch",
        axes=model.axes,
        unit=model.unit,
        tooth=tooth,
        shown_as=model.file,
    )
    side: Side = "left" if name.startswith("left") else "right"
    return crown_of_seed(jaw, np.asarray(model.seed_mm, dtype=np.float64), side)


def scan_from_file(
    name: str, path: Path, *, kind: ScanKind, axes: str, unit: str | None, tooth: ToothNumber | None,
    shown_as: str | None = None,
) -> Scan:  # fmt: skip
    """The surface in the file at ``path`` in LPS mm, repaired. Raises BowtrueError in one line."""
    raw = to_lps(read_surface(path), axes)
    if kind == "bow":  # its two wires may be two shells, which repair would take for two teeth
        surface, changes = in_mm(raw, unit, kind), tuple[str, ...]()
    else:
        fixed = repaired(raw)  # first, so that a stray flake does not decide the size
        surface = _tooth_in_mm(fixed.surface, unit) if kind == "tooth" else in_mm(fixed.surface, unit, kind)
        changes = tuple(c.text for c in fixed.changes)
    _check_origin(surface)
    return Scan(name, shown_as or path.name, sha256_of(path), surface, tooth, changes)


def _check_origin(surface: Surface) -> None:
    """Raises BadValueError for a scan so far from its origin that its own digits would be lost."""
    far = float(np.abs(surface.points_mm).max())
    if far > _FARTHEST_MM:
        raise BadValueError(
            f"the scan lies {far:.3g} mm from its origin, more than {_FARTHEST_MM:g} mm: its digits would be "
            "lost; move it nearer and export it again."
        )


def _tooth_in_mm(surface: Surface, unit: str | None) -> Surface:
    """A whole tooth, or a crown alone, in mm; no unit makes one look like the other. Raises UnitError."""
    scale = mm_per(unit or "mm")
    if _CROWN_MM[0] <= scale * longest_extent(surface) < _CROWN_MM[1]:
        return surface if scale == 1.0 else surface.mapped(lambda points: points * scale)
    return in_mm(surface, unit, "tooth")


def bone_from_file(
    name: str, path: Path, *, axes: str, unit: str | None, shown_as: str | None = None
) -> Scan:
    """The bone surface in the file at ``path`` in LPS mm, otherwise as it is, for a bone may be in many pieces.

    Its unit is proven later, by its lining the root. Raises BowtrueError in one line.
    """
    scale = mm_per(unit or "mm")
    surface = to_lps(read_surface(path), axes).mapped(lambda points: points * scale)
    return Scan(name, shown_as or path.name, sha256_of(path), surface, None, ())


def _with_bones(case: CaseModel, folder: Path, scans: dict[str, Scan], read: ReadOne) -> dict[str, Scan]:
    """``scans`` with the bone of each side the case names, each also beside its molar; raises ScanError."""
    for side in SIDES:
        model: ScanModel | None = getattr(case.scans, f"{side}_bone")
        name, molar = f"{side}_bone", f"{side}_molar"
        if model is None:
            continue
        if molar not in scans:
            raise ScanError(f"scans.{name}: needs the tooth it surrounds; give scans.{molar} too.")
        bone = read(name, model, folder)
        scans = {**scans, molar: replace(scans[molar], bone=bone.surface), name: bone}
    return scans


def _bones_along(scans: dict[str, Scan]) -> dict[str, Scan]:
    """``scans`` with every bone where its tooth was laid."""
    bones = {f"{side}_bone": scans[f"{side}_molar"].bone for side in SIDES if f"{side}_bone" in scans}
    along = {k: replace(scans[k], surface=bone) for k, bone in bones.items() if bone is not None}
    return {**scans, **along}


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
