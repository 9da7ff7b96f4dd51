"""Thin layer: the ligament as a film between rigid tooth and rigid bone that may flow sideways towards the free rim.

One sparse scalar solve on the layer's mid-surface. The tooth moves by V; the film, thickness t, is bonded on both
sides, so tangential displacement is V (1 - z) plus a parabola 6 z (1 - z) v, with z from tooth to bone; the normal
displacement is linear plus the one cubic that the parabola calls for. Minimising the elastic energy (Lame lambda, mu;
E' = E/(1 - nu^2), D = lambda + 2 mu + E'/5) with P = lambda w/t - D div v, the mean in-plane pressure, gives

    div(t^3/(12 mu) grad P) - (t/D) P = -(lambda/D) w        on the mid-surface,  P = 0 on the free rim,
    pressure on the tooth = (lambda + 2 mu - lambda^2/D) w/t + (lambda/D) P,
    shear on the tooth = mu/t per unit tangential motion,

where w is the normal approach of the rigid motion taken at the mid-surface. Away from the rim P = lambda w/t and the
pressure is the confined (uniaxial) one of the foundation; as nu tends to 1/2, D tends to lambda and this is the
lubrication limit of thin-film asymptotics. On the mid-surface the divergence of half the tangential motion times t
and the change of area from tooth to mid-surface cancel to first order in t/R, so w alone drives the film.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.sparse import coo_matrix, csc_matrix

from mechanics.ligament.facets import Facets, facets_of
from mechanics.ligament.film_solve import solved_film
from mechanics.ligament.foundation import unit_stiffness
from mechanics.ligament.mid_surface import MidSurface, mid_surface
from mechanics.ligament.springs import Ligament
from mesh_tools.arrays import Array, IntArray
from mesh_tools.errors import BadValueError


@dataclass(frozen=True, eq=False)
class ThinLayer:
    """``stiffness`` (6, 6) about the origin; ``unit_pressure_mpa`` (m, 6) on each face for the six unit motions,
    positive where squeezed; ``points_mm`` (n, 3) and ``faces`` (m, 3) of the mid-surface; relative ``residual``."""

    stiffness: Array
    unit_pressure_mpa: Array
    points_mm: Array
    faces: IntArray
    residual: float


def thin_layer_stiffness(
    points_mm: ArrayLike, faces: ArrayLike, ligament: Ligament, *, thickness_mm: ArrayLike | None = None
) -> Array:
    """Stiffness (6, 6) about the origin of the frame of the thin layer on the root ``points_mm``, ``faces``.

    ``thickness_mm`` (n,) per point or one number, else the ligament's own. Raises as ``thin_layer`` does.
    """
    return thin_layer(points_mm, faces, ligament, thickness_mm=thickness_mm).stiffness


def thin_layer(
    points_mm: ArrayLike, faces: ArrayLike, ligament: Ligament, *, thickness_mm: ArrayLike | None = None
) -> ThinLayer:
    """The thin layer solved for the six rigid motions (module docstring).

    Raises BadShapeError or BadValueError for a surface or a thickness that cannot be used (a closed surface has no
    free rim and nothing for the ligament to flow to), NoAnswerError when the solve leaves more than 1e-9 of its load.
    """
    given = ligament.thickness_mm if thickness_mm is None else thickness_mm
    layer = mid_surface(points_mm, faces, thickness_mm=given)
    if not layer.rim.any():
        raise BadValueError(
            "the supported root must be open at the crest; this surface is closed: cut it there."
        )
    facets, film = facets_of(layer.points_mm, layer.faces), _Film.of(ligament)
    weights = _weights(layer, facets, film)
    pressure, residual = _solved(layer, facets, film, weights)
    return _assembled(layer, facets, film, weights, pressure, residual)


@dataclass(frozen=True)
class _Film:
    """Elastic constants of the film, MPa: ``shear`` mu, ``bulk`` D, ``coupling`` lambda/D, ``direct`` the rest."""

    shear: float
    bulk: float
    coupling: float
    direct: float
    first_lame: float

    @classmethod
    def of(cls, ligament: Ligament) -> _Film:
        e, nu = ligament.e_mpa, ligament.nu
        mu = e / (2.0 * (1.0 + nu))
        lam = 2.0 * mu * nu / (1.0 - 2.0 * nu)
        bulk = lam + 2.0 * mu + e / (1.0 - nu**2) / 5.0
        return cls(mu, bulk, lam / bulk, lam + 2.0 * mu - lam**2 / bulk, lam)


@dataclass(frozen=True, eq=False)
class _Weights:
    """Per face: ``area`` lumped to each corner as fitted (m,), ``flow`` factor of the face's conductance (m,)."""

    area: Array
    flow: Array


def _weights(layer: MidSurface, facets: Facets, film: _Film) -> _Weights:
    """Exponentially fitted weights of the faces at the rim.

    The pressure falls to zero within L = t sqrt(D/(12 mu)) of the rim, often less than one face. Across a row of
    height h the exact solution is had from conductance x b/sinh(b) and area x tanh(b/2)/(b/2), b = h/L (exponential
    fitting, Doolan, Miller & Schilders 1980, from memory); both are 1 where faces are small against L.
    """
    on_rim = layer.rim[layer.faces]
    count = on_rim.sum(axis=1)
    lone = np.where(count == 1, on_rim.argmax(axis=1), (~on_rim).argmax(axis=1))
    corners = layer.points_mm[layer.faces]
    rows = np.arange(len(lone))
    base = np.linalg.norm(corners[rows, (lone + 1) % 3] - corners[rows, (lone + 2) % 3], axis=1)
    height = 2.0 * facets.areas_mm2 / np.maximum(base, 1e-12)
    reach = layer.face_thickness_mm * np.sqrt(film.bulk / (12.0 * film.shear))
    b = np.where(count > 0, np.clip(height / reach, 1e-6, 200.0), 1e-6)
    return _Weights(facets.areas_mm2 / 3.0 * np.tanh(0.5 * b) / (0.5 * b), b / np.sinh(b))


def _solved(layer: MidSurface, facets: Facets, film: _Film, weights: _Weights) -> tuple[Array, float]:
    """Pressure P (n, 6) at the points for the six unit motions, and the relative residual of the solve."""
    if film.coupling == 0.0:
        return np.zeros((len(layer.points_mm), 6)), 0.0
    load = film.coupling * _gathered(layer, facets.arms * weights.area[:, None])
    inner = ~layer.rim
    answer, residual = solved_film(_flow_matrix(layer, facets, film, weights), load[inner])
    pressure = np.zeros_like(load)
    pressure[inner] = answer
    return pressure, residual


def _flow_matrix(layer: MidSurface, facets: Facets, film: _Film, weights: _Weights) -> csc_matrix:
    """Cotangent flow matrix plus lumped bulk compliance of the points off the rim, sparse."""
    corners = layer.points_mm[layer.faces]
    opposite = np.roll(corners, -2, axis=1) - np.roll(corners, -1, axis=1)
    conductance = layer.face_thickness_mm**3 / (12.0 * film.shear) * weights.flow
    scale = np.divide(
        conductance, 4.0 * facets.areas_mm2, out=np.zeros(len(corners)), where=facets.areas_mm2 > 0.0
    )
    blocks = np.einsum("mik,mjk->mij", opposite * scale[:, None, None], opposite)
    corner = np.arange(3)
    blocks[:, corner, corner] += (layer.face_thickness_mm / film.bulk * weights.area)[:, None]
    count = int((~layer.rim).sum())
    number = np.where(layer.rim, -1, np.cumsum(~layer.rim) - 1)[layer.faces]
    rows, columns = np.repeat(number, 3, axis=1).ravel(), np.tile(number, (1, 3)).ravel()
    kept = (rows >= 0) & (columns >= 0)
    return coo_matrix((blocks.ravel()[kept], (rows[kept], columns[kept])), shape=(count, count)).tocsc()


def _gathered(layer: MidSurface, per_face: Array) -> Array:
    """Sum (n, 6) at every point of the values (m, 6) of the faces around it."""
    n, m = len(layer.points_mm), len(layer.faces)
    spread = coo_matrix((np.ones(3 * m), (layer.faces.ravel(), np.repeat(np.arange(m), 3))), shape=(n, m))
    return np.asarray(spread.tocsr() @ per_face)


def _assembled(
    layer: MidSurface, facets: Facets, film: _Film, weights: _Weights, pressure: Array, residual: float
) -> ThinLayer:
    """Stiffness and face pressures: springs, the core's confined pressure, less what escapes at the rim."""
    arms, t = facets.arms, layer.face_thickness_mm
    core = film.first_lame / t[:, None] * arms
    lost_share = np.minimum(3.0 * weights.area / np.maximum(facets.areas_mm2, 1e-300), 1.0)[:, None]
    in_plane = core * (1.0 - lost_share) + lost_share * pressure[layer.faces].mean(axis=1)
    on_faces = film.direct / t[:, None] * arms + film.coupling * in_plane
    shear = unit_stiffness(Facets(facets.centres_mm, facets.normals, facets.areas_mm2 / t)).shear
    stiffness = (arms.T * facets.areas_mm2) @ on_faces + film.shear * shear
    asymmetry = stiffness - stiffness.T
    return ThinLayer(stiffness - 0.5 * asymmetry, on_faces, layer.points_mm, layer.faces, residual)
