"""Centres read from anatomy: furcation, fraction of the root, area centroid; and an average root under a crown."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mechanics.centres.estimate import CentreEstimate

# Centre of resistance relative to the trifurcation of 50 upper first molars: 0.19 +- 1.75 mm apical, 1.48 +- 2.26
# distal, 0.14 +- 1.51 lingual (Gandhi V et al. 2021 AJODO 160:442-450).
GANDHI_SD_MM = (2.26, 1.51, 1.75)
# Relative to the middle of the buccal crown face: 7.86 +- 1.66 gingival, 4.94 +- 1.39 lingual, 2.54 +- 2.70 distal.
BUCCAL_FACE_MM = {"apical": 7.86, "lingual": 4.94, "distal": 2.54}
BUCCAL_FACE_SD_MM = (2.70, 1.39, 1.66)
MEAN_CROWN_MM = {
    "mesiodistal": 10.0,
    "buccolingual": 11.0,
    "height": 7.5,
}  # Ash/Nelson, Wheeler's Dental Anatomy
ROOT_FRACTION = (
    0.4  # 33-42 %: Papageorgiou IS 2005 Hell Orthod Rev 8; 4/10: Contasti GI, Legan HL, J Clin Orthod
)


def at_furcation(furcation_mm: ArrayLike, *, first_upper_molar: bool = True) -> CentreEstimate:
    """The roof of the furcation itself; the published scatter belongs to upper first molars only."""
    words = "the centre lies at the furcation's roof"
    if not first_upper_molar:
        return CentreEstimate("furcation", np.asarray(furcation_mm), words, "common practice, no source")
    return CentreEstimate(
        "furcation", np.asarray(furcation_mm), words + "; the scatter is that of 50 upper first molars about it",
        "Gandhi V et al. 2021 AJODO 160:442-450", GANDHI_SD_MM,
    )  # fmt: skip


def at_root_fraction(crest_centre_mm: ArrayLike, apices_mm: ArrayLike) -> CentreEstimate:
    """0.4 of the way from the crest's centre (3,) to the mean apex of ``apices_mm`` (k, 3)."""
    crest = np.asarray(crest_centre_mm, dtype=np.float64)
    apex = np.asarray(apices_mm, dtype=np.float64).reshape(-1, 3).mean(axis=0)
    return CentreEstimate(
        "root_fraction", crest + ROOT_FRACTION * (apex - crest),
        f"{ROOT_FRACTION:g} of the way from the alveolar crest to the mean apex (published 0.33-0.42)",
        "Papageorgiou IS 2005 Hell Orthod Rev 8; Contasti GI, Legan HL J Clin Orthod",
    )  # fmt: skip


def at_root_centroid(points_mm: ArrayLike, faces: ArrayLike) -> CentreEstimate:
    """Area centroid of the supported root surface: points (n, 3), faces (m, 3)."""
    corners = np.asarray(points_mm, dtype=np.float64)[np.asarray(faces)]
    areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    return CentreEstimate(
        "root_centroid", areas @ corners.mean(axis=1) / areas.sum(),
        "equal springs in every direction over the supported root surface",
        "exact for such springs (elementary statics)",
    )  # fmt: skip


def below_average_crown(
    buccal_centre_mm: ArrayLike,
    *,
    apical: ArrayLike,
    lingual: ArrayLike,
    distal: ArrayLike,
    sizes_mm: dict[str, float],
) -> CentreEstimate:
    """Crown-only fallback: the published place relative to the buccal face, scaled by this crown's size.

    ``sizes_mm``: ``mesiodistal``, ``buccolingual`` and ``height``; directions (3,) are unit vectors.
    """
    share = {key: sizes_mm[key] / mean for key, mean in MEAN_CROWN_MM.items()}
    point = (
        np.asarray(buccal_centre_mm, dtype=np.float64)
        + BUCCAL_FACE_MM["apical"] * share["height"] * np.asarray(apical)
        + BUCCAL_FACE_MM["lingual"] * share["buccolingual"] * np.asarray(lingual)
        + BUCCAL_FACE_MM["distal"] * share["mesiodistal"] * np.asarray(distal)
    )
    return CentreEstimate(
        "average_anatomy", point,
        "no roots in the scan: the average centre below the buccal crown face, scaled by this crown's size",
        "Gandhi V et al. 2021 AJODO 160:442-450; crown sizes Ash/Nelson, Wheeler's Dental Anatomy",
        BUCCAL_FACE_SD_MM, fallback=True,
    )  # fmt: skip
