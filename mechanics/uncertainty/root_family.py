"""Foundation stiffness of one root for any crest level, crest tilt and smooth surface noise, prepared once.

K adds over facets, so K above a crest level is a running sum over thin slices of depth, read by interpolation; a small
tilt of the crest adds or removes the slice at the rim in proportion to the lateral place; a smooth displacement of
the surface changes K in proportion to it (central differences, one field after the other). A sample then costs a few
6 x 6 sums whatever the number of faces.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mechanics.ligament.facets import Facets, facets_of
from mechanics.ligament.foundation import UnitStiffness, binned_unit_stiffness, unit_stiffness
from mechanics.uncertainty.distributions import NOISE_MODES
from mesh_tools.arrays import Array, IntArray, frozen, unit
from mesh_tools.errors import BadValueError

SLICE_MM = 0.02
RIM_WINDOW_MM = 0.4
NOISE_LENGTH_MM = 3.0
_STEP_MM = 0.02
_SPLITS = 3


@dataclass(frozen=True, eq=False)
class RootFamily:
    """Sums prepared for one root.

    ``below`` (k + 1, 6, 6 each): unit stiffness deeper than each of ``levels_mm`` (k + 1,); ``rim`` (k, 2, ...): change
    per radian of crest tilt along the two lateral directions, at each slice; ``noise`` (modes, ...): change per mm of
    each noise field; ``lateral`` (2, 3) the two lateral directions.
    """

    levels_mm: Array
    below: UnitStiffness
    rim: UnitStiffness
    noise: UnitStiffness
    lateral: Array

    def at(self, *, level_mm: Array, tilt_rad: Array, noise_mm: Array) -> UnitStiffness:
        """Unit stiffnesses (s, 6, 6) for crest levels (s,), tilts (s, 2) and noise amplitudes (s, modes)."""
        place = (level_mm - self.levels_mm[0]) / (self.levels_mm[1] - self.levels_mm[0])
        place = np.clip(place, 0.0, len(self.levels_mm) - 1.000001)
        slot = place.astype(np.int64)
        share = (place - slot)[:, None, None]

        def read(below: Array, rim: Array, noise: Array) -> Array:
            cut = below[slot] * (1.0 - share) + below[slot + 1] * share
            return np.asarray(
                cut + np.einsum("sk,skij->sij", tilt_rad, rim[slot]) + np.tensordot(noise_mm, noise, axes=1)
            )

        return UnitStiffness(
            read(self.below.normal, self.rim.normal, self.noise.normal),
            read(self.below.shear, self.rim.shear, self.noise.shear),
        )


def root_family(
    points_mm: ArrayLike,
    faces: ArrayLike,
    *,
    depth_mm: ArrayLike,
    long_axis: ArrayLike,
    crest_range_mm: tuple[float, float],
    nominal_mm: float,
    seed: int = 0,
) -> RootFamily:
    """The family of a root surface given from the cervical line down: ``points_mm`` (n, 3), ``faces`` (m, 3).

    ``depth_mm`` (n,): distance below the cervical line; ``long_axis`` (3,). Crest levels may vary over
    ``crest_range_mm``; noise is taken about the root below ``nominal_mm``. Raises BadValueError where the surface does
    not reach up to the range, or ends inside it.
    """
    points, triangles = np.asarray(points_mm, dtype=np.float64), np.asarray(faces, dtype=np.int64)
    depth = frozen(depth_mm, (len(points),), name="depth_mm")
    facets_of(points, triangles)
    low, high = crest_range_mm
    _check_reach(depth[triangles], low, high)
    lateral = _square_to(unit(long_axis, name="long axis"))
    n_slices = int(np.ceil((high - low) / SLICE_MM))
    levels = low + (high - low) * np.arange(n_slices + 1) / n_slices
    pieces, piece_depth = _pieces(points, triangles, depth, low=low, high=high)
    bins = np.clip(np.floor((piece_depth - low) / (levels[1] - low)), -1, n_slices).astype(np.int64) + 1
    below = _running(binned_unit_stiffness(pieces, bins, n_bins=n_slices + 2))
    rim = _rim(pieces, bins, lateral, n_bins=n_slices + 2, width_mm=float(levels[1] - levels[0]))
    noise = _noise(points, triangles[depth[triangles].mean(axis=1) >= nominal_mm], seed=seed)
    return RootFamily(levels, below, rim, noise, lateral)


def _check_reach(depth: Array, low: float, high: float) -> None:
    if depth.min() > low + 0.1:
        raise BadValueError(
            f"the root surface must reach up to the highest crest level, {low:g} mm below the cervical line; it starts "
            f"at {depth.min():.2f} mm: pass the root from the cervical line down, not the supported part."
        )
    if depth.max() < high + 1.0:
        raise BadValueError(
            f"the crest may lie up to {high:g} mm below the cervical line, but the root ends at {depth.max():.2f} mm: "
            "nothing would hold the tooth; narrow the crest's range."
        )


def _pieces(points: Array, faces: IntArray, depth: Array, *, low: float, high: float) -> tuple[Facets, Array]:
    """Facets and their depths (m,), those that touch the crest's range split into 4**3 equal pieces."""
    spans = depth[faces]
    near = (spans.max(axis=1) >= low) & (spans.min(axis=1) <= high + SLICE_MM)
    corners = np.concatenate([points[faces[near]], spans[near][:, :, None]], axis=2)
    for _ in range(_SPLITS):
        corners = _split(corners)
    corners = np.concatenate(
        [corners, np.concatenate([points[faces[~near]], spans[~near][:, :, None]], axis=2)]
    )
    flat = np.arange(3 * len(corners)).reshape(-1, 3)
    return facets_of(corners[:, :, :3].reshape(-1, 3), flat), corners[:, :, 3].mean(axis=1)


def _split(corners: Array) -> Array:
    """Every triangle (m, 3, k) as four of equal size."""
    a, b, c = np.moveaxis(corners, 1, 0)
    ab, bc, ca = 0.5 * (a + b), 0.5 * (b + c), 0.5 * (c + a)
    return np.concatenate(
        [np.stack(t, axis=1) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))]
    )


def _running(bins: UnitStiffness) -> UnitStiffness:
    """Sums from each slice's upper edge to the apex, without what lies above the range."""
    return UnitStiffness(*(np.cumsum(part[::-1], axis=0)[::-1][1:] for part in (bins.normal, bins.shear)))


def _rim(pieces: Facets, bins: IntArray, lateral: Array, *, n_bins: int, width_mm: float) -> UnitStiffness:
    """Change (k, 2, 6, 6) of the sum per radian: a tilt moves the crest apically where the lateral place is positive.

    The place is measured from the middle of the root surface within the crest's range.
    """
    inside = np.where((bins > 0) & (bins < n_bins - 1), pieces.areas_mm2, 0.0)
    place = (pieces.centres_mm - inside @ pieces.centres_mm / inside.sum()) @ lateral.T
    parts = []
    for i in range(2):
        weighted = Facets(pieces.centres_mm, pieces.normals, -pieces.areas_mm2 * place[:, i] / width_mm)
        parts.append(binned_unit_stiffness(weighted, bins, n_bins=n_bins))
    half = max(round(0.5 * RIM_WINDOW_MM / width_mm), 1)
    return UnitStiffness(
        _smoothed(np.stack([p.normal[1:-1] for p in parts], axis=1), half=half),
        _smoothed(np.stack([p.shear[1:-1] for p in parts], axis=1), half=half),
    )


def _smoothed(values: Array, *, half: int) -> Array:
    """Mean of each row of ``values`` (k, ...) with up to ``half`` neighbours on both sides: slices thinner than a facet
    hold many or none."""
    sums = np.concatenate([np.zeros_like(values[:1]), np.cumsum(values, axis=0)])
    row = np.arange(len(values))
    low, high = np.maximum(row - half, 0), np.minimum(row + half + 1, len(values))
    return np.asarray((sums[high] - sums[low]) / (high - low)[:, None, None, None])


def _noise(points: Array, faces: IntArray, *, seed: int) -> UnitStiffness:
    """Change (modes, 6, 6) per mm of each noise field, by central differences."""
    changes = []
    for shift in np.moveaxis(noise_shifts(points, faces, seed=seed), -1, 0):
        more, less = (unit_stiffness(facets_of(points + s * _STEP_MM * shift, faces)) for s in (1.0, -1.0))
        changes.append(
            ((more.normal - less.normal) / (2 * _STEP_MM), (more.shear - less.shear) / (2 * _STEP_MM))
        )
    return UnitStiffness(*(np.stack(part) for part in zip(*changes, strict=True)))


def noise_shifts(points_mm: Array, faces: IntArray, *, seed: int) -> Array:
    """Shift (n, 3, modes) of every point along its normal for 1 mm of each smooth field.

    The fields are cosines of random waves (spectral sampling of a Gaussian covariance, correlation length 3 mm); with
    independent amplitudes of unit variance their sum has unit variance on average over the surface.
    """
    rng = np.random.default_rng(seed)
    waves = rng.normal(size=(3, NOISE_MODES)) / NOISE_LENGTH_MM
    phase = rng.uniform(0.0, 2.0 * np.pi, NOISE_MODES)
    fields = np.sqrt(2.0 / NOISE_MODES) * np.cos((points_mm - points_mm.mean(axis=0)) @ waves + phase)
    return np.asarray(_point_normals(points_mm, faces)[:, :, None] * fields[:, None, :])


def _point_normals(points: Array, faces: IntArray) -> Array:
    facets = facets_of(points, faces)
    vectors = np.repeat(facets.normals * facets.areas_mm2[:, None], 3, axis=0)
    sums = np.stack(
        [np.bincount(faces.ravel(), vectors[:, i], minlength=len(points)) for i in range(3)], axis=1
    )
    length = np.linalg.norm(sums, axis=1, keepdims=True)
    return np.asarray(np.divide(sums, length, out=np.zeros_like(sums), where=length > 0.0))


def _square_to(axis: Array) -> Array:
    first = np.cross(axis, np.eye(3)[int(np.argmin(np.abs(axis)))])
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(axis, first)])
