"""Estimates for a scan that ends at the gum: rule of thumb, ligament models on a guessed root, average anatomy."""

from __future__ import annotations

import numpy as np

from casework.centre import MethodResult
from casework.makers import made_on_guess
from casework.question import CentreQuestion
from mechanics.centres.anatomical import MEAN_CROWN_MM, below_average_crown
from mechanics.centres.estimate import CentreEstimate
from mechanics.centres.rule_of_thumb import rule_of_thumb, rule_of_thumb_without_tube
from mesh_tools.anatomy import CrownMeasures, crown_measures
from mesh_tools.arrays import Array
from mesh_tools.average_molar import average_root, placed_root
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface

# Crown height over the mean of its widths, of the average crown.
_USUAL_RATIO = MEAN_CROWN_MM["height"] / (
    0.5 * (MEAN_CROWN_MM["mesiodistal"] + MEAN_CROWN_MM["buccolingual"])
)


def crown_methods(surface: Surface, question: CentreQuestion) -> tuple[dict[str, MethodResult], list[str]]:
    """Every estimate that a crown alone allows, all guesses, and notes on what could not be used.

    Only upper molars have them. Raises BadValueError for a surface that no crown can have.
    """
    crown = crown_measures(surface, question.tooth)
    notes = [] if question.bone is None else ["The bone surface is not used: the scan shows no root."]
    if not (question.tooth.upper and question.tooth.kind == "molar"):
        return {}, notes
    methods = {"rule_of_thumb": MethodResult(_rule(crown, question), None, 0.0)}
    try:
        methods |= made_on_guess(guessed_root(crown, question), question)
    except BadValueError as refusal:
        notes.append(f"No root is guessed: {refusal}")
    methods["average_anatomy"] = MethodResult(_average(crown, question), None, 0.0)
    return methods, notes


def guessed_root(crown: CrownMeasures, question: CentreQuestion) -> Surface:
    """An average first molar's root stretched to the crown, below the crest, LPS mm.

    Its neck lies as far from the crown's occlusal end as the crown is tall, or as a crown of these widths usually is
    where the gum hides part of it. Raises BadValueError for a crown that is no upper molar's.
    """
    width = 0.5 * (crown.mesiodistal_mm + crown.buccolingual_mm)
    tall = max(crown.height_mm, _USUAL_RATIO * width)
    root = average_root(
        mesiodistal_mm=crown.mesiodistal_mm,
        buccolingual_mm=crown.buccolingual_mm,
        height_mm=tall,
        crest_below_cej_mm=question.crest_below_cej_mm,
    )
    neck = np.asarray(crown.occlusal_centre_mm + tall * question.apical)
    buccal = np.asarray(crown.buccal_centre_mm - crown.centre_mm)
    return placed_root(root, neck_mm=neck, buccal=buccal, mesial=-question.axes[1], apical=question.apical)


def _lingual(question: CentreQuestion) -> Array:
    return np.asarray(-question.tooth.buccal_sign * question.axes[0])


def _rule(crown: CrownMeasures, question: CentreQuestion) -> CentreEstimate:
    """The rule of thumb from the tube, or from a tube guessed on the buccal crown face."""
    where = {"apical": question.apical, "middle_mm": crown.centre_mm, "lateral": _lingual(question)}
    if question.tube is None:
        return rule_of_thumb_without_tube(crown.buccal_centre_mm, mesial=-question.axes[1], **where)
    return rule_of_thumb(question.tube.mesial_mm, question.tube.distal_mm, **where)


def _average(crown: CrownMeasures, question: CentreQuestion) -> CentreEstimate:
    sizes = {
        "mesiodistal": crown.mesiodistal_mm,
        "buccolingual": crown.buccolingual_mm,
        "height": crown.height_mm,
    }
    return below_average_crown(
        crown.buccal_centre_mm,
        apical=question.apical,
        lingual=_lingual(question),
        distal=question.axes[1],
        sizes_mm=sizes,
    )
