"""One function a method: from a whole tooth's surface, anatomy and supported root to an estimate of its centre."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from casework.centre import LigamentCentres, MethodResult
from casework.question import METHODS, CentreQuestion
from mechanics.centres.anatomical import BUCCAL_FACE_SD_MM, at_furcation, at_root_centroid, at_root_fraction
from mechanics.centres.estimate import CentreEstimate
from mechanics.centres.rule_of_thumb import rule_of_thumb, rule_of_thumb_without_tube
from mechanics.ligament.foundation import foundation_stiffness
from mesh_tools.anatomy import ToothAnatomy
from mesh_tools.arrays import Array
from mesh_tools.surface import Surface
from mesh_tools.topology import boundary_loops

Made = tuple[CentreEstimate, LigamentCentres | None]
Maker = Callable[[], Made]
_MODEL_SOURCES = {
    "elastic_foundation": "Johnson KL 1985 Contact Mechanics, section 4.3: a thin bonded layer as springs",
    "thin_layer": "Synge JL 1933 Phil Trans R Soc A 231:435-477: the thin, nearly incompressible ligament",
    "finite_elements": "Tanne K, Sakuda M, Burstone CJ 1987 AJODO 92:499-505: the ligament as a solid layer",
}
_MODEL_WORDS = {
    "elastic_foundation": "rigid tooth and bone; every root facet a normal and a tangential spring",
    "thin_layer": "rigid tooth and bone; a thin layer that resists being squeezed out at the crest",
    "finite_elements": "rigid tooth and bone; the ligament as a solid layer of quadratic finite elements",
}

_MOST_ELEMENTS = 12_000  # faces of the root; more only cost time
_SOCKET_MM = (0.05, 0.6)


def made_methods(
    surface: Surface, anatomy: ToothAnatomy, root: Surface, question: CentreQuestion
) -> dict[str, MethodResult]:
    """Every asked method that applies to this tooth, in the usual order, each timed."""
    makers = method_makers(surface, anatomy, root, question)
    return {name: _timed(makers[name]) for name in METHODS if name in question.methods and name in makers}


def made_on_guess(root: Surface, question: CentreQuestion) -> dict[str, MethodResult]:
    """The asked ligament models on a ``root`` that is only guessed, marked so, with the population's scatter."""
    models = {"elastic_foundation": _foundation, "thin_layer": _thin_layer, "finite_elements": _elements}
    asked = replace(question, bone=None)
    return {
        name: _timed(partial(_guessed, name, model, root, asked))
        for name, model in models.items()
        if name in question.methods
    }


def _guessed(
    name: str, model: Callable[[Surface, CentreQuestion], Array], root: Surface, asked: CentreQuestion
) -> Made:
    estimate, centres = _by_ligament(name, model(root, asked), asked)
    words = f"GUESSED ROOT: an average upper first molar's, stretched to this crown; {estimate.assumptions}"
    source = "scatter: Gandhi V et al. 2021 AJODO 160:442-450; sizes: Ash/Nelson, Wheeler's Dental Anatomy"
    marked = replace(estimate, assumptions=words, source=source, scatter_mm=BUCCAL_FACE_SD_MM, fallback=True)
    return marked, centres


def method_makers(
    surface: Surface, anatomy: ToothAnatomy, root: Surface, question: CentreQuestion
) -> dict[str, Maker]:
    """What computes each method's estimate; only the methods that apply to this tooth."""
    apices = np.array(list(anatomy.apices_mm.values()))
    makers: dict[str, Maker] = {
        "root_fraction": lambda: (at_root_fraction(_crest_centre(root), apices), None),
        "root_centroid": lambda: (at_root_centroid(root.points_mm, root.faces), None),
        "elastic_foundation": lambda: _by_ligament(
            "elastic_foundation", _foundation(root, question), question
        ),
        "thin_layer": lambda: _by_ligament("thin_layer", _thin_layer(root, question), question),
        "finite_elements": lambda: _by_ligament(
            "finite_elements", _elements(root, question), question, coarsened=_coarsened_told(root)
        ),
    }
    if anatomy.tooth.upper and anatomy.tooth.kind == "molar":
        makers["rule_of_thumb"] = lambda: (_rule(surface, anatomy, question), None)
    roof = anatomy.trifurcation_mm
    if roof is not None:
        first = anatomy.tooth.fdi in (16, 26)
        makers["furcation"] = lambda: (at_furcation(roof, first_upper_molar=first), None)
    return makers


def _timed(make: Maker) -> MethodResult:
    start = time.perf_counter()
    estimate, ligament = make()
    return MethodResult(estimate, ligament, time.perf_counter() - start)


def _coarsened_told(root: Surface) -> str:
    """What the finite elements' estimate says of a root with more faces than they take."""
    many = len(root.faces) > _MOST_ELEMENTS
    return f"; root of {len(root.faces)} faces coarsened to {_MOST_ELEMENTS}" if many else ""


def _by_ligament(method: str, stiffness: Array, question: CentreQuestion, *, coarsened: str = "") -> Made:
    centres = LigamentCentres.of(stiffness, question.axes)
    width = "; thickness from the bone socket" if question.bone and method == "finite_elements" else ""
    words = (
        f"{_MODEL_WORDS[method]}{width}{coarsened}; the point is the sagittal centre, the target of the bend"
    )
    return CentreEstimate(method, centres.sagittal_centre_mm, words, _MODEL_SOURCES[method]), centres


def _foundation(root: Surface, question: CentreQuestion) -> Array:
    layer = question.ligament
    return foundation_stiffness(root.points_mm, root.faces, k_normal=layer.k_normal, k_shear=layer.k_shear)


def _thin_layer(root: Surface, question: CentreQuestion) -> Array:
    from mechanics.ligament.thin_layer import thin_layer_stiffness

    return thin_layer_stiffness(root.points_mm, root.faces, question.ligament)


def _elements(root: Surface, question: CentreQuestion) -> Array:
    from mechanics.ligament_fe import fe_stiffness

    layer = question.ligament
    return fe_stiffness(
        root.points_mm,
        root.faces,
        e_mpa=layer.e_mpa,
        nu=layer.nu,
        thickness_mm=socket_thickness(root, question),
        target_faces=_MOST_ELEMENTS,
    ).stiffness


def socket_thickness(root: Surface, question: CentreQuestion) -> Array:
    """Ligament thickness (n,) at the root's points: the distance to the bone where it is given, else the uniform one.

    Kept within 0.05 to 0.6 mm (published 0.005-0.05 at narrowed spots to 0.38: Biomaterials 2011, PMC3185383), since a
    gap of one CBCT voxel or none is noise.
    """
    if question.bone is None:
        return np.full(len(root.points_mm), question.ligament.thickness_mm)
    from mechanics.ligament_fe import thickness_from_socket

    bone = question.bone
    found = thickness_from_socket(root.points_mm, root.faces, bone.points_mm, bone.faces)
    return np.clip(found, *_SOCKET_MM)


def _crest_centre(root: Surface) -> Array:
    """Middle (3,) of the root's longest border, the crest, by length along it."""
    rim = root.points_mm[boundary_loops(root)[0]]
    ahead = np.roll(rim, -1, axis=0)
    length = np.linalg.norm(ahead - rim, axis=1)
    return np.asarray(length @ (0.5 * (rim + ahead)) / length.sum())


def _rule(surface: Surface, anatomy: ToothAnatomy, question: CentreQuestion) -> CentreEstimate:
    """The rule of thumb from the tube, or from a tube guessed on the buccal crown face."""
    buccal, middle = buccal_face_and_neck(surface, anatomy)
    lingual = -anatomy.buccal_axis
    if question.tube is not None:
        return rule_of_thumb(
            question.tube.mesial_mm,
            question.tube.distal_mm,
            apical=question.apical,
            middle_mm=middle,
            lateral=lingual,
        )
    return rule_of_thumb_without_tube(
        buccal, apical=question.apical, mesial=anatomy.mesial_axis, middle_mm=middle, lateral=lingual
    )


def buccal_face_and_neck(surface: Surface, anatomy: ToothAnatomy) -> tuple[Array, Array]:
    """Middle of the buccal crown face and middle of the tooth at the neck, (3,) each."""
    crown = surface.points_mm[anatomy.below_line_mm(surface.points_mm) <= 0.0]
    axes = np.stack([anatomy.buccal_axis, anatomy.mesial_axis, anatomy.long_axis])
    along = crown @ axes.T
    centre = 0.5 * (along.min(axis=0) + along.max(axis=0))
    face = np.array([along[:, 0].max(), centre[1], centre[2]])
    neck = anatomy.cervical_line_mm.mean(axis=0)
    return face @ axes, neck
