"""Reference wedge: quadratic displacement (18 nodes), linear pressure (6 nodes), quadrature exact for flat wedges.

Nodes lie on three planes zeta = 0 (tooth side), 1/2 and 1 (bone side); on each plane come the three corners and then
the middles of the sides 01, 12, 20. This is the Taylor-Hood pair on a wedge (P2 x P2 displacement, P1 x P1
continuous pressure): Hood and Taylor 1974; D. Boffi, F. Brezzi, M. Fortin, Mixed Finite Element Methods and
Applications, 2013, chapter 8 (from memory). It does not lock as nu goes to 1/2.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from mesh_tools.arrays import Array

# Degree-4 rule with six points: D. A. Dunavant, Int J Numer Meth Eng 21 (1985) 1129, table of p = 4.
_A1, _W1 = 0.445948490915965, 0.223381589678011
_A2, _W2 = 0.091576213509771, 0.109951743655322


@dataclass(frozen=True, eq=False)
class ReferenceWedge:
    """Shape functions and their reference gradients at the ``q`` quadrature points.

    ``weights`` (q,); ``motion`` (q, 18) and ``motion_gradient`` (q, 18, 3) of the displacement, plane by plane;
    ``pressure`` (q, 6); ``shape_gradient`` (q, 12, 3) of the geometry: quadratic in the surface, linear across it,
    the six nodes of the tooth side first.
    """

    weights: Array
    motion: Array
    motion_gradient: Array
    pressure: Array
    shape_gradient: Array


@cache
def reference_wedge() -> ReferenceWedge:
    """The wedge with 6 x 3 points: exact for the stiffness of a flat wedge of constant thickness."""
    corners, triangle_weights = _triangle_rule()
    zeta, zeta_weights = _interval_rule()
    quadratic, quadratic_d = _triangle_quadratic(corners)
    across, across_d = _line_quadratic(zeta)
    straight, straight_d = np.stack([1.0 - zeta, zeta], axis=1), np.tile([-1.0, 1.0], (len(zeta), 1))
    return ReferenceWedge(
        weights=np.outer(zeta_weights, triangle_weights).ravel(),
        motion=_product(across, quadratic),
        motion_gradient=_product_gradient(across, across_d, quadratic, quadratic_d),
        pressure=_product(straight, corners),
        shape_gradient=_product_gradient(straight, straight_d, quadratic, quadratic_d),
    )


def _triangle_rule() -> tuple[Array, Array]:
    """Barycentric points (6, 3) and weights (6,) that sum to the reference area 1/2."""
    points = [np.roll([1.0 - 2.0 * a, a, a], turn) for a in (_A1, _A2) for turn in range(3)]
    return np.array(points), 0.5 * np.repeat([_W1, _W2], 3)


def _interval_rule() -> tuple[Array, Array]:
    """Gauss points (3,) and weights (3,) on [0, 1]."""
    points, weights = np.polynomial.legendre.leggauss(3)
    return 0.5 * (points + 1.0), 0.5 * weights


def _triangle_quadratic(barycentric: Array) -> tuple[Array, Array]:
    """Six quadratic functions (q, 6) and their gradients (q, 6, 2) in (xi, eta) = barycentric 1 and 2."""
    corner_gradient = np.array([[-1.0, -1.0], [1.0, 0.0], [0.0, 1.0]])
    following = [1, 2, 0]
    values = np.hstack(
        [barycentric * (2.0 * barycentric - 1.0), 4.0 * barycentric * barycentric[:, following]]
    )
    corner = (4.0 * barycentric - 1.0)[:, :, None] * corner_gradient
    side = 4.0 * (
        barycentric[:, :, None] * corner_gradient[following]
        + barycentric[:, following, None] * corner_gradient
    )
    return values, np.concatenate([corner, side], axis=1)


def _line_quadratic(zeta: Array) -> tuple[Array, Array]:
    """Three quadratic functions on nodes 0, 1/2, 1 and their derivatives, both (q, 3)."""
    values = np.stack([(1 - zeta) * (1 - 2 * zeta), 4 * zeta * (1 - zeta), zeta * (2 * zeta - 1)], axis=1)
    return values, np.stack([4 * zeta - 3, 4 - 8 * zeta, 4 * zeta - 1], axis=1)


def _product(across: Array, along: Array) -> Array:
    """Values (q, planes * nodes) of the products, points ordered across first."""
    values = np.einsum("zp,sn->zspn", across, along)
    return np.asarray(values.reshape(len(across) * len(along), -1))


def _product_gradient(across: Array, across_d: Array, along: Array, along_d: Array) -> Array:
    """Gradients (q, planes * nodes, 3) of the products in (xi, eta, zeta)."""
    in_surface = np.einsum("zp,snd->zspnd", across, along_d)
    through = np.einsum("zp,sn->zspn", across_d, along)[..., None]
    return np.concatenate([in_surface, through], axis=-1).reshape(len(across) * len(along), -1, 3)
