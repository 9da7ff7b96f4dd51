"""The centre of one side of a case: the report, the chosen target, and the ligament the molar stands on."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from casework.bow_needs import landmark
from casework.case_file import CaseModel
from casework.centre import CentreReport
from casework.estimating import estimate_centre, estimate_from_tube, with_confidence
from casework.question import FAST_METHODS, CentreQuestion, TubeEnds, check_tube_near
from casework.scans import Scan
from mechanics.ligament.springs import Ligament
from mechanics.rigid import stiffness_about, stiffness_turned
from mechanics.sides import Side
from mesh_tools.arrays import Array
from mesh_tools.errors import BowtrueError
from mesh_tools.fdi import ToothNumber

# When the wanted method does not apply to a scan, the next that does, in this order.
_FALLBACKS = ("elastic_foundation", "furcation", "average_anatomy", "rule_of_thumb")
_MODELS = ("finite_elements", "thin_layer", "elastic_foundation")


class SideError(BowtrueError, ValueError):
    """A molar of the case was refused; the text names the side and what to do."""


@dataclass(frozen=True, eq=False)
class SideCentre:
    """``target_mm`` (3,) LPS by ``target_method``; ``stiffness`` (6, 6) about the origin of LPS, or None."""

    report: CentreReport
    target_method: str
    target_mm: Array
    stiffness: Array | None
    warnings: tuple[str, ...]

    def stiffness_at_target(self, rotation: Array) -> Array | None:
        """The ligament in the treatment frame, about the target."""
        if self.stiffness is None:
            return None
        return stiffness_about(stiffness_turned(self.stiffness, rotation), rotation @ self.target_mm)


def side_centre(case: CaseModel, side: Side, scan: Scan | None, rotation: Array) -> SideCentre:
    """Every estimate for the molar of ``side``, and the one the case aims at. Raises SideError naming the side."""
    return aimed_at(case, side, side_report(case, side, scan, rotation))


def side_report(case: CaseModel, side: Side, scan: Scan | None, rotation: Array) -> CentreReport:
    """Every estimate for the molar of ``side``. Raises SideError naming the side."""
    question = _question(case, side, scan, rotation)
    try:
        report = estimate_from_tube(question) if scan is None else estimate_centre(scan.surface, question)
        if scan is not None and case.choices.samples:
            report = with_confidence(report, scan.surface, question, samples=case.choices.samples)
    except BowtrueError as err:
        raise SideError(f"{side} molar: {err}") from err
    if scan is None:
        return report
    assert question.tube is not None
    other: Side = "left" if side == "right" else "right"
    check_tube_near(
        question.tube, scan.surface.points_mm, name=f"landmarks.tube_{side}", other=_tube_ends(case, other)
    )
    return replace(report, file=scan.file, sha256=scan.sha256, findings=(*scan.changes, *report.findings))


def aimed_at(case: CaseModel, side: Side, report: CentreReport) -> SideCentre:
    """The estimate of ``report`` that the case aims at, or the next that applies; nothing is estimated again."""
    method = _target_method(case.choices.target, report)
    warnings = list(report.warnings)
    if method != case.choices.target:
        warnings.append(
            f"{side} molar: choices.target {case.choices.target} does not apply to this scan ({report.step}); the "
            f"target is {method}."
        )
    return SideCentre(report, method, report.methods[method].point_mm, _stiffness(report), tuple(warnings))


def _question(case: CaseModel, side: Side, scan: Scan | None, rotation: Array) -> CentreQuestion:
    usual = ToothNumber(26 if side == "left" else 16)
    layer, wanted = case.ligament, case.choices.target
    model = getattr(case.scans, f"{side}_molar")
    marks = {} if model is None else {k: np.asarray(v) for k, v in model.landmarks.items()}
    if scan is not None and scan.motion is not None:
        marks = {k: scan.motion.applied(p) for k, p in marks.items()}
    return CentreQuestion(
        tooth=usual if scan is None or scan.tooth is None else scan.tooth,
        ligament=Ligament(layer.e_mpa, layer.nu, layer.thickness_mm),
        crest_below_cej_mm=case.choices.crest_below_cej_mm,
        methods=tuple(dict.fromkeys((*FAST_METHODS, wanted))),
        tube=_tube_ends(case, side),
        rotation=rotation,
        landmarks=marks or None,
        bone=None if scan is None else scan.bone,
    )


def _tube_ends(case: CaseModel, side: Side) -> TubeEnds:
    return TubeEnds(landmark(case, f"tube_{side}_mesial_mm"), landmark(case, f"tube_{side}_distal_mm"))


def _target_method(wanted: str, report: CentreReport) -> str:
    return next(name for name in (wanted, *_FALLBACKS) if name in report.methods)


def _stiffness(report: CentreReport) -> Array | None:
    for name in _MODELS:
        found = report.methods.get(name)
        if found is not None and found.ligament is not None:
            return found.ligament.stiffness
    return None
