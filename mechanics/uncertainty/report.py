"""The uncertainty as plain numbers with units in their names, for a file, and as a few lines of text."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from mechanics.uncertainty.propagate import Uncertainty
from mechanics.uncertainty.region import COVERAGE

_WORDS = {
    "crest_below_cej_mm": "level of the alveolar crest",
    "nu": "ratio of the ligament's springs",
    "surface_noise_mm": "surface of the scan",
    "tube_pick_mm": "place of the tube",
    "occlusal_plane_deg": "occlusal plane",
    "long_axis_deg": "long axis",
}


def uncertainty_tree(found: Uncertainty) -> dict[str, Any]:
    """Tree of plain numbers, ready for JSON; coordinates in the frame of the root, mm."""
    region = found.region
    return {
        "seed": found.seed,
        "samples": found.convergence.samples,
        "evaluations": found.convergence.evaluations,
        "coverage": COVERAGE,
        "mean_mm": region.mean_mm.tolist(),
        "covariance_mm2": region.covariance_mm2.tolist(),
        "axes": region.axes.tolist(),
        "half_axes_mm": region.half_axes_mm.tolist(),
        "share_inside": region.share_inside,
        "bands": {name: asdict(band) for name, band in found.bands.items()},
        "indices": {
            output: {name: asdict(index) for name, index in by_input.items()}
            for output, by_input in found.indices.items()
        },
        "ranking": list(found.ranking),
        "convergence": {
            "mean_shift_mm": found.convergence.mean_shift_mm,
            "sd_change": found.convergence.sd_change,
        },
        "inputs": {name: asdict(distribution) for name, distribution in found.inputs.items()},
    }


def uncertainty_text(found: Uncertainty) -> str:
    """A few lines: how large the region is, what matters most, and how settled that is."""
    a, b, c = found.region.half_axes_mm
    total = found.indices["centre"]
    shares = ", ".join(
        f"{_WORDS.get(name, name)} {100.0 * total[name].total:.0f} %"
        for name in found.ranking
        if total[name].total > 0.01
    )
    return "\n".join(
        [
            f"95 % region of the centre: half axes {a:.2f}, {b:.2f} and {c:.2f} mm",
            f"what it comes from (total index): {shares or 'nothing varies'}",
            f"{found.convergence.samples} samples, seed {found.seed}: doubling them moved the mean by "
            f"{found.convergence.mean_shift_mm:.3f} mm and the spread by {100.0 * found.convergence.sd_change:.1f} %",
            "This is the scatter of the inputs; that of patients about the furcation is larger "
            "(SD 1.5-2.3 mm, Gandhi V et al. 2021 AJODO 160:442-450).",
        ]
    )
