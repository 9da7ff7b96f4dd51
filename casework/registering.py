"""One scan laid on another from two files: read, registered, and told as text and JSON."""

from __future__ import annotations

import os
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from casework.registration import told
from mesh_tools.arrays import Array, frozen
from mesh_tools.axes import to_lps
from mesh_tools.errors import BadFileError, BadValueError, BowtrueError, MissingFileError
from mesh_tools.read import read_surface, sha256_of
from mesh_tools.registration.agreement import PERCENTILES
from mesh_tools.registration.landmark_fit import LANDMARK_LIMIT_MM, landmark_fit
from mesh_tools.registration.motion import RigidMotion
from mesh_tools.registration.register import Registration, laid_by_landmarks, register
from mesh_tools.repair import repaired
from mesh_tools.surface import Surface
from mesh_tools.units import mm_per

KEYS = ("moving_mm", "fixed_mm")


@dataclass(frozen=True)
class ScanFile:
    """A scan's file, where its axes point, and its unit (None: mm)."""

    path: Path
    axes: str = "LPS"
    unit: str | None = None


@dataclass(frozen=True, eq=False)
class LandmarkPairs:
    """Landmarks (n, 3) of the moving and of the fixed scan, mm, after each scan's axes and unit are applied."""

    moving_mm: Array
    fixed_mm: Array

    def __post_init__(self) -> None:
        for name in KEYS:
            object.__setattr__(self, name, frozen(getattr(self, name), (None, 3), name=name))


@dataclass(frozen=True)
class RegisterChoices:
    """``everywhere``: do not trust where the files lie; ``landmarks_only``: leave the shape out of it."""

    everywhere: bool = False
    landmarks_only: bool = False
    same_mm: float | None = None
    landmark_limit_mm: float = LANDMARK_LIMIT_MM


@dataclass(frozen=True, eq=False)
class RegisteredFiles:
    """Both scans, LPS mm, the moving one where it was read (``moving``); how it was laid is in ``found``."""

    files: tuple[ScanFile, ScanFile]
    moving: Surface
    fixed: Surface
    found: Registration


def register_files(
    moving: ScanFile, fixed: ScanFile, *, pairs: LandmarkPairs | None, choices: RegisterChoices
) -> RegisteredFiles:
    """Lay the scan ``moving`` on ``fixed``. Raises BowtrueError in one line."""
    if choices.landmarks_only and pairs is None:
        raise BadValueError("landmarks only, but no landmark pairs are given; give --landmarks or --pair.")
    one, other = read_scan_file(moving), read_scan_file(fixed)
    fit = None
    if pairs is not None:
        fit = landmark_fit(pairs.moving_mm, pairs.fixed_mm, limit_mm=choices.landmark_limit_mm)
    if choices.landmarks_only:
        assert fit is not None
        found = laid_by_landmarks(one, other, fit, same_mm=choices.same_mm)
    else:
        start = None if choices.everywhere else RigidMotion.still()
        found = register(one, other, start=start, landmarks=fit, same_mm=choices.same_mm)
    return RegisteredFiles((moving, fixed), one, other, found)


def read_scan_file(scan: ScanFile) -> Surface:
    """The repaired surface, LPS mm; raises BowtrueError naming the file."""
    try:
        scale = mm_per(scan.unit or "mm")
        surface = to_lps(read_surface(scan.path), scan.axes)
        return repaired(surface if scale == 1.0 else surface.mapped(lambda p: p * scale)).surface
    except BowtrueError as err:
        text = str(err)
        raise type(err)(text if str(scan.path) in text else f"{scan.path}: {text}") from err


def read_pairs(path: str | os.PathLike[str]) -> LandmarkPairs:
    """Landmark pairs of a TOML file with the keys ``moving_mm`` and ``fixed_mm``, each a list of points."""
    where = Path(path)
    try:
        values = tomllib.loads(where.read_text(encoding="utf-8-sig"))
    except FileNotFoundError as err:
        raise MissingFileError(f"{where}: no such file.") from err
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as err:
        raise BadFileError(f"{where}: is not a TOML file ({' '.join(str(err).split())}).") from err
    if sorted(values) != sorted(KEYS):
        raise BadFileError(
            f"{where}: must have the keys moving_mm and fixed_mm and no other; got {', '.join(values) or 'none'}."
        )
    try:
        return LandmarkPairs(values["moving_mm"], values["fixed_mm"])
    except BowtrueError as err:
        raise BadFileError(f"{where}: {err}") from err
    except (TypeError, ValueError) as err:
        raise BadFileError(f"{where}: moving_mm and fixed_mm must be lists of points [x, y, z].") from err


def registration_text(laid: RegisteredFiles) -> str:
    """What ``bowtrue register`` prints."""
    moving, fixed = laid.files
    motion = laid.found.motion
    rows = [" ".join(f"{v:+.6f}" for v in row) for row in motion.rotation]
    return "\n".join(
        [
            f"{moving.path.name} {told_words(laid.found)}.".replace("  ", " "),
            f"Into the frame of {fixed.path.name}: p -> R p + t, LPS mm",
            *(f"  R  {row}" for row in rows),
            "  t  " + " ".join(f"{v:+.4f}" for v in motion.shift_mm),
        ]
    )


def told_words(found: Registration) -> str:
    """How it was laid; landmarks alone say also how the surfaces happen to lie."""
    if found.start != "landmarks alone" or found.landmark_fit is None:
        return f"laid {told(found)}"
    fit = found.landmark_fit
    return (
        f"laid by {len(fit.residuals_mm)} landmark pairs alone, rms {fit.rms_mm:.2f} mm, worst "
        f"{fit.residuals_mm.max():.2f} mm; turned {found.motion.angle_deg:.1f} degrees; "
        f"{found.agreement.overlap_share:.0%} of the smaller scan lies on the other within "
        f"{found.tolerance.same_mm:g} mm"
    )


def registration_dict(laid: RegisteredFiles) -> dict[str, Any]:
    """Plain numbers for JSON; LPS mm."""
    found, seen = laid.found, laid.found.agreement
    compared = len(seen.distances_mm) > 0
    fit = found.landmark_fit
    return {
        "files": [
            {"file": str(f.path), "axes": f.axes, "unit": f.unit or "mm", "sha256": sha256_of(f.path)}
            for f in laid.files
        ],
        "rotation": found.motion.rotation.tolist(),
        "shift_mm": found.motion.shift_mm.tolist(),
        "angle_deg": found.motion.angle_deg,
        "start": found.start,
        "iterations": found.iterations,
        "converged": found.converged,
        "rms_mm": seen.rms_mm if compared else None,
        "percentiles_mm": {f"{p:g}": seen.percentile_mm(p) for p in PERCENTILES} if compared else None,
        "overlap_share": seen.overlap_share,
        "agreement": seen.agreement,
        "same_mm": found.tolerance.same_mm,
        "reach_mm": found.tolerance.reach_mm,
        "landmark_residuals_mm": None if fit is None else fit.residuals_mm.tolist(),
        "landmark_rms_mm": None if fit is None else fit.rms_mm,
        "distances_mm": [round(float(d), 5) for d in found.distances_mm],
    }
