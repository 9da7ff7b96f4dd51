"""How sure the centre is: the usual input distributions carried through this tooth's root, as told to people."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from casework.question import CentreQuestion
from mechanics.ligament.springs import Ligament
from mechanics.uncertainty.distributions import USUAL_INPUTS, Distribution
from mechanics.uncertainty.propagate import Functional, Uncertainty, propagate
from mechanics.uncertainty.root_family import root_family
from mesh_tools.anatomy import ToothAnatomy, height_below_cej
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError
from mesh_tools.surface import Surface

_HALF_NU = 0.05
_HALF_RANGE_MM = (
    0.75  # healthy crest 0-1.5 mm below the cervical line at 9-16 years: half of that about the given level
)
_LEAST_LEVEL_MM = -2.0  # as far occlusal of the cervical line as a crest may be given


@dataclass(frozen=True, eq=False)
class Confidence:
    """The answer of the samples; ``band_mm``: 95 % half-width along the region's longest axis."""

    uncertainty: Uncertainty

    @property
    def band_mm(self) -> float:
        """Half-length of the region's longest axis, 95 %."""
        return float(self.uncertainty.region.half_axes_mm[0])

    def as_dict(self) -> dict[str, Any]:
        """Plain numbers for JSON, LPS mm."""
        u = self.uncertainty
        return {
            "seed": u.seed,
            "samples": u.convergence.samples,
            "evaluations": u.convergence.evaluations,
            "settled": {"mean_shift_mm": u.convergence.mean_shift_mm, "sd_change": u.convergence.sd_change},
            "mean_mm": u.region.mean_mm.tolist(),
            "covariance_mm2": u.region.covariance_mm2.tolist(),
            "axes": u.region.axes.tolist(),
            "half_axes_95_mm": u.region.half_axes_mm.tolist(),
            "share_inside": u.region.share_inside,
            "bands": {name: asdict(b) for name, b in u.bands.items()},
            "ranking": list(u.ranking),
            "indices": {name: {i: asdict(x) for i, x in row.items()} for name, row in u.indices.items()},
            "inputs": {name: asdict(d) for name, d in u.inputs.items()},
        }


def confidence(
    surface: Surface, anatomy: ToothAnatomy, question: CentreQuestion, *, samples: int, seed: int,
    functionals: dict[str, Functional] | None = None,
) -> Confidence:  # fmt: skip
    """The region of the elastic-foundation centre over ``samples`` draws; raises BowtrueError in one line."""
    if seed < 0:
        raise BadValueError(f"seed must be zero or more; got {seed}.")
    depth = height_below_cej(surface, anatomy)
    inputs = _inputs(question.crest_below_cej_mm, question.ligament.nu)
    crest = inputs["crest_below_cej_mm"]
    below = depth[surface.faces].max(axis=1) > crest.low - 1.0
    root = Surface(surface.points_mm, surface.faces[below])
    family = root_family(
        root.points_mm, root.faces, depth_mm=depth, long_axis=anatomy.long_axis,
        crest_range_mm=(crest.low, crest.high), nominal_mm=question.crest_below_cej_mm, seed=seed,
    )  # fmt: skip
    answer = propagate(
        family,
        rotation=question.axes,
        inputs=inputs,
        samples=samples,
        seed=seed,
        functionals=functionals or {},
    )
    return Confidence(answer)


def _inputs(crest_mm: float, nu: float) -> dict[str, Distribution]:
    """The usual inputs, with the crest's range moved to the given level when that is not the usual one."""
    inputs = dict(USUAL_INPUTS)
    usual = inputs["crest_below_cej_mm"]
    if abs(crest_mm - usual.mean) > 1e-9:
        low = max(_LEAST_LEVEL_MM, crest_mm - _HALF_RANGE_MM)
        inputs["crest_below_cej_mm"] = Distribution(
            "normal", low, low + 2.0 * _HALF_RANGE_MM,
            "spread of the healthy crest, moved to the given level (assumption)", crest_mm, usual.sd,
        )  # fmt: skip
    if abs(nu - Ligament().nu) > 1e-9:
        inputs["nu"] = Distribution(
            "uniform",
            max(0.0, nu - _HALF_NU),
            min(0.4995, nu + _HALF_NU),
            "within 0.05 of the given value (assumption)",
        )
    return inputs


def offset_functional(hook_mm: Array, direction: Array, rotation: Array) -> Functional:
    """Offset of a fixed line of force from each sampled centre, mm, positive apical (upper tooth), treatment axes."""
    _, y, z = rotation
    along = np.array([direction @ y, direction @ z])
    along /= np.linalg.norm(along)

    def offset(draws: Any) -> Array:
        lever = np.asarray(hook_mm) - draws.centres_mm
        return np.asarray((lever @ z) * along[0] - (lever @ y) * along[1])

    return offset
