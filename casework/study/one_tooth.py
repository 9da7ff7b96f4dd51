"""One tooth of a study: read, estimated by every method, written down as plain records; nothing it meets stops a study.

The records hold no time and no place of a machine, so that the same tooth gives the same records bit for bit wherever
and in whatever order it is computed.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from casework.centre import CentreReport
from casework.study.rows import StudyRow
from casework.study.settings import StudySettings
from mesh_tools.errors import BadFileError, BadValueError, BowtrueError, MissingFileError

Record = dict[str, Any]


@dataclass(frozen=True)
class ToothAnswer:
    """What became of one row. ``key``: mesh, row and settings as one fingerprint; ``records`` is None when the answer
    known under that key still holds."""

    name: str
    key: str
    records: list[Record] | None
    seconds: float


def answer(row: StudyRow, settings: StudySettings, known_key: str = "") -> ToothAnswer:
    """Every method's record of ``row``, or one failed record that says why; never raises for a bad mesh."""
    start = time.perf_counter()
    sha, key = "", ""
    try:
        sha = _sha256(row.mesh)
        key = hashlib.sha256("|".join((sha, row.name, settings.key)).encode()).hexdigest()
        if key == known_key:
            return ToothAnswer(row.name, key, None, 0.0)
        records = _records(row, sha, settings)
    except BowtrueError as err:
        records = [failed(row, " ".join(str(err).split()), sha256=sha)]
    except MemoryError:
        records = [failed(row, "not enough memory for this mesh; use a coarser one.", sha256=sha)]
    except Exception as err:  # one tooth must not end a study of thousands: told in its row
        records = [failed(row, f"unexpected {type(err).__name__}: {' '.join(str(err).split())}", sha256=sha)]
    return ToothAnswer(row.name, key, records, time.perf_counter() - start)


def failed(row: StudyRow, reason: str, *, sha256: str = "") -> Record:
    """The record of a tooth that could not be estimated."""
    return {**_head(row, sha256), "status": "failed", "reason": reason}


def _sha256(mesh: str) -> str:
    try:
        with Path(mesh).open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except FileNotFoundError as err:
        raise MissingFileError(f"mesh {mesh} does not exist (any more); paths start at the table.") from err
    except OSError as err:
        raise BadFileError(f"mesh {mesh} cannot be read ({err.strerror or err}).") from err


def _records(row: StudyRow, sha: str, settings: StudySettings) -> list[Record]:
    from casework.estimating import estimate_from_file
    from mechanics.ligament_fe.blas_threads import one_blas_thread

    crest = row.crest_below_cej_mm
    with one_blas_thread():
        report = estimate_from_file(
            row.mesh, tooth=row.tooth, axes=row.axes, unit=row.unit, methods=settings.methods,
            crest_below_cej_mm=settings.crest_below_cej_mm if crest is None else crest,
            ligament=(settings.e_mpa, settings.nu, settings.thickness_mm),
            samples=settings.samples, seed=settings.seed,
        )  # fmt: skip
        tooth = _tooth_facts(report)
        records = [
            {**_head(row, sha), **tooth, **_method(report, name)}
            if name in report.methods
            else {**_head(row, sha), **tooth, "method": name, **_not_made(name)}
            for name in settings.methods
        ]
        return [{**records[0], **_outline(report)}, *records[1:]]


def _outline(report: CentreReport) -> Record:
    """The tooth's reach at every level, for the mean tooth; no column of the results."""
    from casework.study.local import local_frame
    from casework.study.outline import reach

    if report.anatomy is None or report.surface is None:
        return {}
    return {"outline": reach(local_frame(report.anatomy).coordinates(report.surface.points_mm))}


def _not_made(name: str) -> Record:
    return {"status": "failed", "reason": f"{name} does not apply to what this scan shows of this tooth."}


def _head(row: StudyRow, sha: str) -> Record:
    side = "left" if row.tooth // 10 in (2, 3) else "right"
    return {
        "line": row.line, "id": row.id, "mesh": Path(row.mesh).name, "sha256": sha, "tooth": row.tooth, "side": side,
        "method": "", "status": "ok", "reason": "", **{f"cov_{k}": v for k, v in row.covariates.items()},
    }  # fmt: skip


def _tooth_facts(report: CentreReport) -> Record:
    from casework.makers import buccal_face_and_neck
    from casework.study.local import divergence_deg, local_frame

    facts: Record = {
        "information": report.step,
        "crest_below_cej_mm": report.crest_below_cej_mm,
        "warnings": " / ".join(report.warnings),
    }
    anatomy, surface = report.anatomy, report.surface
    if surface is None:
        raise BadValueError("the scan is gone from the report; this is a fault of the program.")
    facts["faces"] = len(surface.faces)
    if anatomy is None:
        return facts
    frame = local_frame(anatomy)
    face = frame.coordinates(buccal_face_and_neck(surface, anatomy)[0])
    return {
        **facts,
        "roots": anatomy.separate_roots,
        "root_length_mm": anatomy.root_length_mm,
        "divergence_deg": divergence_deg(anatomy),
        "crown_height_mm": anatomy.crown_height_mm,
        "origin": frame.origin,
        **_named("buccal_face", face),
    }


def _method(report: CentreReport, name: str) -> Record:
    from casework.study.local import local_frame

    made = report.methods[name]
    x, y, z = (float(v) for v in made.point_mm)
    record: Record = {"method": name, "fallback": made.estimate.fallback, "x_mm": x, "y_mm": y, "z_mm": z}
    if report.anatomy is not None:
        frame = local_frame(report.anatomy)
        record |= _named("centre", frame.coordinates(made.point_mm))
        if made.ligament is not None:
            record |= _named("elastic", frame.coordinates(made.ligament.elastic_centre_mm))
    for other in ("rule_of_thumb", "furcation"):
        record[f"from_{other}_mm"] = report.distance_mm(name, other)
    if made.ligament is not None:
        record["radius_of_resistance_mm"] = made.ligament.radius_of_resistance_mm()
        record["axes_miss_mm"] = made.ligament.axes_of_resistance().miss_mm
    if name == "elastic_foundation" and report.confidence is not None:
        record["band_mm"] = report.confidence.band_mm
    return record


def _named(what: str, local: Any) -> Mapping[str, float]:
    return {
        f"{what}_{way}_mm": float(v) for way, v in zip(("apical", "distal", "buccal"), local, strict=True)
    }
