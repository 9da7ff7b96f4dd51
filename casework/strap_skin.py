"""The skin that a taut strap lies on: the face scan where it reaches round, else a neck and head by tape measure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from casework.case_file import CaseModel, HeadModel
from mechanics.sides import Side
from mechanics.strap.back import nape_of
from mechanics.strap.path import BandName
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError
from mesh_tools.head_model import HeadMeasures, child_measures, head_length_of, head_model
from mesh_tools.surface import Surface

_FRONT = ("tube_right_mesial_mm", "tube_left_mesial_mm", "mouth_corner_right_mm", "mouth_corner_left_mm")


@dataclass(frozen=True, eq=False)
class StrapSkin:
    """A skin in the treatment frame; ``back_mm``: where a strap on it is held when the case says nothing (a model's
    nape), None where the skin itself decides; ``told``: how it came about."""

    surface: Surface
    back_mm: Array | None
    told: tuple[str, ...]


def strap_skin(
    case: CaseModel, band: BandName, rotation: Array, face: Surface | None, hooks_mm: Mapping[Side, Array]
) -> StrapSkin:
    """The skin for one band. Raises BadValueError when there is neither a scan that reaches round nor [head], and the
    case does not ask for a taut strap."""
    if face is not None:
        try:
            nape_of(face, hooks_mm)
        except BadValueError as err:
            if case.head is None and case.pull.strap != "taut":
                raise
            return _by_tape(
                case, band, rotation, because=f"scans.face: {err} The strap lies on the head model instead."
            )
        return StrapSkin(face, None, ())
    return _by_tape(case, band, rotation, because=None)


def head_measures(case: CaseModel) -> tuple[HeadMeasures, tuple[str, ...]]:
    """The measures of [head], usual ones for the age where left out, and the keys left out."""
    given = HeadModel() if case.head is None else case.head
    usual = child_measures(case.age_years)
    breadth = usual.head_breadth_mm if given.head_breadth_mm is None else given.head_breadth_mm
    length = usual.head_length_mm
    if given.head_circumference_mm is not None:
        length = head_length_of(given.head_circumference_mm, breadth)
    values = {
        "head_breadth_mm": breadth,
        "head_length_mm": length,
        "tragion_vertex_mm": usual.tragion_vertex_mm,
    }
    missing = []
    for key in ("neck_circumference_mm", "incisor_to_nape_mm", "nape_height_mm", "vertex_height_mm"):
        own: float | None = getattr(given, key)
        values[key] = getattr(usual, key) if own is None else own
        if own is None and key != "vertex_height_mm":
            missing.append(key)
    return HeadMeasures(**values), tuple(missing)


def _by_tape(case: CaseModel, band: BandName, rotation: Array, *, because: str | None) -> StrapSkin:
    measures, missing = head_measures(case)
    origin = _origin(case, rotation)
    model = head_model(measures)
    told = [] if because is None else [because]
    told.append(
        f"{band} strap: laid on a head by tape measure, {measures.neck_circumference_mm:.0f} mm round the neck, "
        f"{measures.incisor_to_nape_mm:.0f} mm from the incisors to the nape, without jaw and ears"
        + (
            f"; usual values for the age stand in for head.{', head.'.join(missing)}: measure them."
            if missing
            else "."
        )
    )
    nape = np.array([0.0, measures.incisor_to_nape_mm, measures.nape_height_mm])
    back = origin + nape if band == "neck" else None
    return StrapSkin(model.mapped(lambda p: p + origin), back, tuple(told))


def _origin(case: CaseModel, rotation: Array) -> Array:
    """Where the model's origin lies in the treatment frame: middle of the face, incisors, occlusal plane."""
    front = [rotation @ np.asarray(p) for k in _FRONT if (p := getattr(case.landmarks, k)) is not None]
    incisor = rotation @ np.asarray(case.landmarks.incisor_contact_mm)
    plane = np.asarray(case.landmarks.occlusal_plane_mm) @ rotation.T
    return np.array([float(np.mean([p[0] for p in front])), incisor[1], float(plane[:, 2].mean())])
