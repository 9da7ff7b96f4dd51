"""The straps of a case: taut round neck or head, from a landmark, or along an angle to the occlusal plane."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from casework.case_file import CaseModel, PullKind, StrapModel
from casework.strap_skin import strap_skin
from mechanics.sides import SIDES, Side, other_side
from mechanics.strap.band import BandLine, band_line
from mechanics.strap.direction import CERVICAL_DEG, HIGH_PULL_DEG, strap_direction
from mechanics.strap.follow import BandEnd
from mechanics.strap.path import BandName
from mechanics.strap.pull import Strap, StrapPull
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError, BowtrueError, NoAnswerError
from mesh_tools.surface import Surface

_USUAL_DEG = {"cervical": CERVICAL_DEG, "high_pull": HIGH_PULL_DEG}
_BAND: dict[PullKind, BandName] = {"cervical": "neck", "high_pull": "head"}


@dataclass(frozen=True, eq=False)
class StrapGround:
    """What straps are laid on, in the treatment frame: hooks of the unbent bow, and the face scan if there is one."""

    hooks_mm: Mapping[Side, Array]
    face: Surface | None = None


class StrapError(BadValueError):
    """A strap of the case cannot be laid as asked; the text names the key."""


def strap_pulls(case: CaseModel, rotation: Array, ground: StrapGround | None = None) -> dict[Side, StrapPull]:
    """The pull on each hook in the treatment frame; ``rotation`` takes LPS to it.

    Straps are laid taut over the skin where the case asks for it, or gives neither a place nor an angle for them and
    the skin allows it. Without ``ground`` none is laid taut. Raises StrapError for a strap asked to be taut that
    cannot be.
    """
    kinds = _kinds(case)
    lines = {kind: None if ground is None else taut_line(case, kind, rotation, ground) for kind in kinds}
    return {
        side: StrapPull(tuple(_strap(case, side, kind, rotation, lines[kind]) for kind in kinds))
        for side in SIDES
    }


def taut_line(case: CaseModel, kind: PullKind, rotation: Array, ground: StrapGround) -> BandLine | None:
    """The band of one pull over the skin, or None where its line is given or nothing allows it.

    Raises StrapError when ``pull.strap`` is "taut" and the band cannot be laid.
    """
    if not asked_taut(case, kind):
        return None
    try:
        return _laid(case, kind, rotation, ground)
    except (BadValueError, NoAnswerError) as err:
        if case.pull.strap == "taut":
            raise _named(err, case, kind) from err
        return None


def untaut_reason(case: CaseModel, rotation: Array, ground: StrapGround) -> list[str]:
    """Why straps that could be taut run along the usual angle instead, one sentence each."""
    found = []
    for kind in _kinds(case):
        if case.pull.strap == "taut" or not asked_taut(case, kind):
            continue
        try:
            _laid(case, kind, rotation, ground)
        except (BadValueError, NoAnswerError) as err:
            text = str(_named(err, case, kind))
            found.append(
                f"The {_BAND[kind]} strap runs {_USUAL_DEG[kind]:g} degrees to the occlusal plane: {text}"
            )
    return found


def asked_taut(case: CaseModel, kind: PullKind) -> bool:
    """Whether the strap of ``kind`` is to be laid taut: asked for, or free to be with a skin to lie on."""
    if case.pull.strap is not None:
        return case.pull.strap == "taut"
    given = any(strap_point(case, s, kind) is not None for s in SIDES)
    angled = any(_model(case, s, kind).angle_deg is not None for s in SIDES)
    return not given and not angled and (case.scans.face is not None or case.head is not None)


def strap_point(case: CaseModel, side: Side, kind: PullKind) -> list[float] | None:
    """The case's strap landmark of one side, LPS, or None."""
    key = f"high_strap_{side}_mm" if kind == "high_pull" else f"strap_{side}_mm"
    point: list[float] | None = getattr(case.landmarks, key)
    return point


def _kinds(case: CaseModel) -> tuple[PullKind, ...]:
    if case.pull.kind == "combination":
        return ("cervical", "high_pull")
    return (case.pull.kind,)


def _model(case: CaseModel, side: Side, kind: PullKind) -> StrapModel:
    pull = case.pull.side(side)
    return pull.high if case.pull.kind == "combination" and kind == "high_pull" and pull.high else pull


def _laid(case: CaseModel, kind: PullKind, rotation: Array, ground: StrapGround) -> BandLine:
    skin = strap_skin(case, _BAND[kind], rotation, ground.face, ground.hooks_mm)
    place = case.landmarks.nape_mm if kind == "cervical" else case.landmarks.crown_mm
    back = skin.back_mm if place is None else rotation @ np.asarray(place)
    line = band_line(
        skin.surface, ground.hooks_mm, band=_BAND[kind], width_mm=case.pull.strap_width_mm, back_mm=back
    )
    line.path(ground.hooks_mm, tension_n=1.0)  # refuses what may not lie under a strap
    return line.also_told(skin.told)


def _named(err: BowtrueError, case: CaseModel, kind: PullKind) -> StrapError:
    text = str(err)
    for key in ("nape_mm", "crown_mm"):
        text = text.replace(f" {key}", f" landmarks.{key}")
    scan = "scans.face: " if case.scans.face is not None and "the scan" in text else ""
    return StrapError(f"{scan}{text}" if scan else f"pull ({_BAND[kind]} strap): {text}")


def _strap(case: CaseModel, side: Side, kind: PullKind, rotation: Array, line: BandLine | None) -> Strap:
    model = _model(case, side, kind)
    if line is not None:
        return Strap(model.newtons, band=BandEnd.of(line, side))
    point = strap_point(case, side, kind)
    if point is not None and model.angle_deg is None:
        return Strap(model.newtons, toward_mm=rotation @ np.asarray(point))
    angle = model.angle_deg if model.angle_deg is not None else _USUAL_DEG[kind]
    return Strap(
        model.newtons, direction=strap_direction(side, angle_deg=angle, midline_deg=model.midline_deg)
    )


def standing_straps(
    straps: Mapping[Side, StrapPull], hooks_mm: Mapping[Side, Array], rotation: Array
) -> dict[Side, StrapPull]:
    """The pulls with every band as the point it leads to from the hooks at ``hooks_mm``, then in the axes of
    ``rotation``."""
    return {s: pull_turned(straps[s].standing(hooks_mm[s], hooks_mm[other_side(s)]), rotation) for s in SIDES}


def pull_turned(pull: StrapPull, rotation: Array) -> StrapPull:
    """``pull`` in the axes of ``rotation`` (3, 3), new = rotation @ old; bands must stand (``StrapPull.standing``)."""

    def turned(v: Array | None) -> Array | None:
        return None if v is None else np.asarray(rotation @ v)

    return StrapPull(tuple(Strap(s.force_n, turned(s.toward_mm), turned(s.direction)) for s in pull.straps))
