"""Estimating one tooth's centre of resistance by every method its scan allows, falling back by named steps."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from casework.centre import CentreReport, MethodResult
from casework.crown_only import crown_methods
from casework.incomplete import crossing_warnings, end_warnings, ends_tree, line_warnings, root_count_warnings
from casework.makers import made_methods
from casework.question import FAST_METHODS, METHODS, CentreQuestion, TubeEnds, check_tube_near
from casework.scans import bone_from_file, scan_from_file
from mechanics.centres.rule_of_thumb import rule_of_thumb
from mechanics.ligament.facets import check_thickness
from mechanics.ligament.springs import Ligament
from mesh_tools.anatomy import CrownOnlyError, tooth_anatomy
from mesh_tools.apex_state import root_ends
from mesh_tools.bone_crest import BoneCrest, bone_crest
from mesh_tools.errors import BadValueError
from mesh_tools.fdi import ToothNumber
from mesh_tools.self_crossing import refuse_self_crossing
from mesh_tools.supported_root import supported_root
from mesh_tools.surface import Surface

WITH_BONE = "whole tooth with bone"
WHOLE_TOOTH, CROWN_ONLY, TUBE_ONLY = "whole tooth", "crown only", "tube landmark only"
_NOISE_SHARE = 0.002  # of the root's area pierced by its own folds: no more than a scan's noise does
_MEAN_DEPTH_MM = 4.94  # tube face to centre, lingual: Gandhi V et al. 2021 AJODO 160:442-450


def estimate_centre(surface: Surface, question: CentreQuestion) -> CentreReport:
    """Every estimate the surface (LPS, mm, repaired) allows; raises BowtrueError in one line."""
    _check_methods(question.methods)
    try:
        anatomy = tooth_anatomy(surface, question.tooth, landmarks=question.landmarks)
    except CrownOnlyError:
        return _fallback_report(question, *crown_methods(surface, question), step=CROWN_ONLY)
    crest = None if question.bone is None else bone_crest(surface, anatomy, question.bone)
    if crest is None:
        root = supported_root(surface, anatomy, crest_below_cej_mm=question.crest_below_cej_mm)
    else:
        root = supported_root(surface, anatomy, crest_points_mm=crest.points_mm)
        question = replace(question, crest_below_cej_mm=float(crest.below_cej_mm.mean()))
    check_thickness(root.points_mm, root.faces, thickness_mm=question.ligament.thickness_mm)
    crossed = refuse_self_crossing(
        root, name=f"tooth {question.tooth.fdi}: the supported root", least_share=_NOISE_SHARE
    )
    ends = root_ends(root, anatomy)
    methods = made_methods(surface, anatomy, root, question)
    return CentreReport(
        tooth=question.tooth, ligament=question.ligament, crest_below_cej_mm=question.crest_below_cej_mm,
        anatomy=anatomy, root=root, methods=methods, step=WHOLE_TOOTH if crest is None else WITH_BONE,
        findings=() if crest is None else (_crest_told(crest),),
        warnings=(
            *line_warnings(anatomy), *crossing_warnings(crossed, question),
            *root_count_warnings(anatomy, question), *end_warnings(root, ends, question),
        ),
        extra={
            "root_ends": ends_tree(root, ends, question),
            "crest_points_mm": None if crest is None else crest.points_mm.tolist(),
        },
    )  # fmt: skip


def _crest_told(crest: BoneCrest) -> str:
    low, high = crest.below_cej_mm.min(), crest.below_cej_mm.max()
    return (
        f"alveolar crest from the bone surface: {low:.1f} to {high:.1f} mm apical of the cervical line, mean "
        f"{crest.below_cej_mm.mean():.1f} mm"
    )


def estimate_from_tube(question: CentreQuestion) -> CentreReport:
    """Nothing but a tube landmark: the rule of thumb at an average depth. Raises BadValueError without a tube."""
    if question.tube is None:
        raise BadValueError(f"tooth {question.tooth.fdi}: neither a scan nor a tube; give one of them.")
    lingual = -question.tooth.buccal_sign * question.axes[0]
    depth = question.tube.mesial_mm + _MEAN_DEPTH_MM * lingual
    found = rule_of_thumb(
        question.tube.mesial_mm,
        question.tube.distal_mm,
        apical=question.apical,
        middle_mm=depth,
        lateral=lingual,
    )
    estimate = replace(
        found, assumptions=found.assumptions + " (no scan: an average depth of 4.94 mm)", fallback=True
    )
    return _fallback_report(
        question, {"rule_of_thumb": MethodResult(estimate, None, 0.0)}, [], step=TUBE_ONLY
    )


def estimate_from_file(
    path: Path | str, *, tooth: int, axes: str, unit: str | None = None, crest_below_cej_mm: float = 0.75,
    ligament: tuple[float, float, float] | None = None, methods: Sequence[str] | None = None,
    bone: Path | str | None = None, samples: int = 0, seed: int = 0, tube: TubeEnds | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> CentreReport:  # fmt: skip
    """Every estimate for the tooth in the mesh file at ``path``; raises BowtrueError in one line.

    ``ligament``: E in MPa, Poisson's ratio, thickness in mm. ``methods``: names of ``METHODS``, default all but the
    finite elements. ``bone``: mesh file of the bone around the tooth, in the axes and unit of the tooth's file; it
    gives the crest, and the thickness of the finite elements' ligament. ``samples`` draws of the inputs give the
    region of the centre (0: none), reproducibly from ``seed``. ``tube``: the headgear tube's ends, LPS mm,
    for the rule of thumb; guessed on the buccal crown face when it is not given.
    """
    number = ToothNumber(tooth)
    layer = Ligament(*(ligament or (0.68, 0.45, 0.2)))
    question = CentreQuestion(number, layer, crest_below_cej_mm, tuple(methods or FAST_METHODS))
    _check_methods(question.methods)
    progress("reading the mesh")
    scan = scan_from_file("mesh", Path(path), kind="tooth", axes=axes, unit=unit, tooth=number)
    socket = None if bone is None else bone_from_file("bone", Path(bone), axes=axes, unit=unit)
    progress("estimating")
    if tube is not None:
        check_tube_near(tube, scan.surface.points_mm, name="tube")
    question = replace(question, bone=None if socket is None else socket.surface, tube=tube)
    report = estimate_centre(scan.surface, question)
    if samples:
        progress("sampling the inputs")
        report = with_confidence(report, scan.surface, question, samples=samples, seed=seed)
    extra = {} if socket is None else {"bone": {"file": socket.file, "sha256": socket.sha256}}
    return replace(
        report, file=Path(path).name, sha256=scan.sha256, findings=(*scan.changes, *report.findings),
        extra={**report.extra, **extra}, surface=scan.surface,
    )  # fmt: skip


def with_confidence(
    report: CentreReport, surface: Surface, question: CentreQuestion, *, samples: int, seed: int = 0
) -> CentreReport:
    """``report`` with the region of its centre; as it is, for a scan without roots. Raises BowtrueError."""
    if report.anatomy is None:
        return report
    from casework.confidence import confidence  # slow to import

    asked = replace(question, crest_below_cej_mm=report.crest_below_cej_mm)
    return replace(report, confidence=confidence(surface, report.anatomy, asked, samples=samples, seed=seed))


def _check_methods(methods: Sequence[str]) -> None:
    unknown = sorted(set(methods) - set(METHODS))
    if unknown:
        raise BadValueError(f"unknown method {unknown[0]!r}; known are {', '.join(METHODS)}.")


def _fallback_report(
    question: CentreQuestion, methods: dict[str, MethodResult], notes: Sequence[str], *, step: str
) -> CentreReport:
    if not methods:
        raise BadValueError(
            f"tooth {question.tooth.fdi}: the scan shows a crown only, and no estimate without roots applies to this "
            "tooth; give a scan with the root."
        )
    warning = (
        f"Tooth {question.tooth.fdi}: {step}. The roots are not seen; the centre is a guess with the population's "
        "scatter (SD 1.4-2.7 mm, Gandhi 2021)."
    )
    return CentreReport(
        tooth=question.tooth, ligament=question.ligament, crest_below_cej_mm=question.crest_below_cej_mm,
        anatomy=None, root=None, methods=methods, step=step, warnings=(warning, *notes),
    )  # fmt: skip
