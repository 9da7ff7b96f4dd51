"""From distributions of the inputs to an ellipsoid of the centre, bands, and the ranking of the inputs."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from mechanics.ligament.springs import Ligament
from mechanics.uncertainty.batch import plane_centres
from mechanics.uncertainty.distributions import USUAL_INPUTS, Distribution
from mechanics.uncertainty.indices import Index, sobol_index
from mechanics.uncertainty.region import Band, Ellipsoid, band, ellipsoid
from mechanics.uncertainty.root_family import RootFamily
from mesh_tools.arrays import Array
from mesh_tools.errors import BadValueError


@dataclass(frozen=True, eq=False)
class Draws:
    """Samples in step.

    ``centres_mm`` (s, 3) sagittal centres; ``elastic_mm`` (s, 3); ``stiffness`` (s, 6, 6) per unit of the shear spring;
    ``rotations`` (s, 3, 3) with the treatment axes as rows; ``tube_shift_mm`` (s, 3) in those axes; ``inputs`` by name,
    each (s, count).
    """

    centres_mm: Array
    elastic_mm: Array
    stiffness: Array
    rotations: Array
    tube_shift_mm: Array
    inputs: Mapping[str, Array]


Functional = Callable[[Draws], Array]
"""Any number per sample, (s,): a bend, a residual moment, a distance."""


@dataclass(frozen=True)
class Convergence:
    """How settled the answer is: from half the samples to all, ``mean_shift_mm`` of the centre and ``sd_change``, the
    largest relative change of a coordinate's standard deviation."""

    samples: int
    evaluations: int
    mean_shift_mm: float
    sd_change: float


@dataclass(frozen=True, eq=False)
class Uncertainty:
    """The answer. ``indices``: by output ("centre" for the three coordinates together, "centre_x/y/z", and each
    functional) and by input; ``ranking`` of the inputs by total index for the centre."""

    region: Ellipsoid
    bands: Mapping[str, Band]
    indices: Mapping[str, Mapping[str, Index]]
    ranking: tuple[str, ...]
    convergence: Convergence
    inputs: Mapping[str, Distribution]
    seed: int
    draws: Draws = field(repr=False)


def propagate(
    family: RootFamily,
    *,
    rotation: Array | None = None,
    inputs: Mapping[str, Distribution] = USUAL_INPUTS,
    samples: int = 1024,
    seed: int = 0,
    functionals: Mapping[str, Functional] = MappingProxyType({}),
) -> Uncertainty:
    """Ellipsoid, bands and indices; rows of ``rotation`` (3, 3) are the nominal treatment axes.

    ``samples`` is raised to the next power of two (balanced Sobol points); each input costs as many again. The same
    seed gives the same answer. An input left out stays at its nominal value. Raises BadValueError for unknown names.
    """
    _check(inputs, samples)
    axes = np.eye(3) if rotation is None else np.asarray(rotation, dtype=np.float64)
    a, b = _sobol_pair(sum(d.count for d in inputs.values()), samples=samples, seed=seed)

    def run(shares: Array) -> tuple[Draws, dict[str, Array]]:
        draws = _draws(family, _values(inputs, shares), axes)
        return draws, _outputs(draws, functionals, axes)

    (draws_a, out_a), (draws_b, out_b) = run(a), run(b)
    indices: dict[str, dict[str, Index]] = {name: {} for name in out_a}
    for name, columns in _columns(inputs).items():
        mixed = a.copy()
        mixed[:, columns] = b[:, columns]
        _, out = run(mixed)
        for output in out_a:
            indices[output][name] = sobol_index(out_a[output], out_b[output], out[output], seed=seed)
    both = _joined(draws_a, draws_b)
    bands = {name: band(np.concatenate([out_a[name], out_b[name]])) for name in out_a if name != "centre"}
    ranking = tuple(sorted(inputs, key=lambda name: -indices["centre"][name].total))
    settled = _convergence(draws_a.centres_mm, both.centres_mm, evaluations=len(a) * (2 + len(inputs)))
    return Uncertainty(
        ellipsoid(both.centres_mm),
        bands,
        indices,
        ranking,
        settled,
        MappingProxyType(dict(inputs)),
        seed,
        both,
    )


def linear(gradient_per_mm: Array, *, nominal_mm: Array, offset: float = 0.0) -> Functional:
    """A number linear in the centre: ``offset`` + gradient (3,) . (centre - nominal), e.g. a bend in degrees per mm."""
    return lambda draws: np.asarray(offset + (draws.centres_mm - nominal_mm) @ np.asarray(gradient_per_mm))


def _check(inputs: Mapping[str, Distribution], samples: int) -> None:
    for name, distribution in inputs.items():
        if name not in USUAL_INPUTS:
            raise BadValueError(f"unknown input {name!r}; known are {', '.join(USUAL_INPUTS)}.")
        if distribution.count != USUAL_INPUTS[name].count:
            raise BadValueError(
                f"input {name!r} has {USUAL_INPUTS[name].count} numbers; got {distribution.count}."
            )
    if not inputs or not 16 <= samples <= 1 << 20:
        raise BadValueError(
            f"at least one input and 16 to 1048576 samples are needed; got {len(inputs)}, {samples}."
        )


def _sobol_pair(width: int, *, samples: int, seed: int) -> tuple[Array, Array]:
    """Two independent sets (s, width) of shares from one scrambled Sobol sequence of twice the width."""
    from scipy.stats import qmc  # slow to import

    power = int(np.ceil(np.log2(samples)))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        points = qmc.Sobol(2 * width, scramble=True, rng=np.random.default_rng(seed)).random_base2(power)
    return points[:, :width].copy(), points[:, width:].copy()


def _columns(inputs: Mapping[str, Distribution]) -> dict[str, slice]:
    ends = np.cumsum([d.count for d in inputs.values()])
    return {name: slice(int(e) - d.count, int(e)) for (name, d), e in zip(inputs.items(), ends, strict=True)}


def _values(inputs: Mapping[str, Distribution], shares: Array) -> dict[str, Array]:
    """Values (s, count) of every known input; those not in ``inputs`` at their nominal."""
    values = {name: inputs[name].at(shares[:, columns]) for name, columns in _columns(inputs).items()}
    for name, usual in USUAL_INPUTS.items():
        if name not in values:
            nominal = Ligament().nu if name == "nu" else usual.mean
            values[name] = np.full((len(shares), usual.count), nominal)
    return values


def _draws(family: RootFamily, values: Mapping[str, Array], axes: Array) -> Draws:
    nu = values["nu"][:, 0]
    units = family.at(
        level_mm=values["crest_below_cej_mm"][:, 0],
        tilt_rad=np.radians(values["long_axis_deg"]),
        noise_mm=values["surface_noise_mm"],
    )
    stiffness = units.stiffness(k_normal=2.0 * (1.0 - nu) / (1.0 - 2.0 * nu), k_shear=np.ones_like(nu))
    turns = np.radians(values["occlusal_plane_deg"]) @ axes[:2]
    from scipy.spatial.transform import Rotation  # slow to import

    rotations = axes @ Rotation.from_rotvec(turns).inv().as_matrix()
    elastic, sagittal = plane_centres(stiffness, rotations[:, 0])
    return Draws(
        sagittal, elastic, stiffness, rotations, values["tube_pick_mm"], MappingProxyType(dict(values))
    )


def _outputs(draws: Draws, functionals: Mapping[str, Functional], axes: Array) -> dict[str, Array]:
    along = draws.centres_mm @ axes.T
    out = {
        "centre": draws.centres_mm,
        "centre_x": along[:, 0],
        "centre_y": along[:, 1],
        "centre_z": along[:, 2],
    }
    for name, functional in functionals.items():
        value = np.asarray(functional(draws), dtype=np.float64)
        if value.shape != (len(along),) or not np.isfinite(value).all():
            raise BadValueError(
                f"functional {name!r} must give {len(along)} finite numbers; got shape {value.shape}."
            )
        out[name] = value
    return out


def _joined(a: Draws, b: Draws) -> Draws:
    both = {name: np.concatenate([a.inputs[name], b.inputs[name]]) for name in a.inputs}
    return Draws(
        np.concatenate([a.centres_mm, b.centres_mm]),
        np.concatenate([a.elastic_mm, b.elastic_mm]),
        np.concatenate([a.stiffness, b.stiffness]),
        np.concatenate([a.rotations, b.rotations]),
        np.concatenate([a.tube_shift_mm, b.tube_shift_mm]),
        MappingProxyType(both),
    )


def _convergence(half: Array, full: Array, *, evaluations: int) -> Convergence:
    shift = float(np.linalg.norm(half.mean(axis=0) - full.mean(axis=0)))
    deviation = full.std(axis=0)
    change = np.abs(half.std(axis=0) - deviation) / np.maximum(deviation, 1e-12)
    return Convergence(len(full), evaluations, shift, float(change.max()))
