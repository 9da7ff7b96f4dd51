"""Matrices of every wedge of one layer at once.

Form (Herrmann, AIAA J 3 (1965) 1896, scaled): with s = sqrt(lambda), find u and p such that for all v and q

    int 2 mu eps(u) : eps(v) + s p div v = 0,        int s q div u - p q = 0,

so that s p is lambda div u projected on the pressure functions. The matrix is symmetric quasi-definite for every
nu in [0, 1/2): no pivoting is needed (R. J. Vanderbei, SIAM J Optim 5 (1995) 100).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mechanics.ligament_fe.wedge import reference_wedge
from mesh_tools.arrays import Array
from mesh_tools.errors import NoAnswerError


@dataclass(frozen=True, eq=False)
class WedgeBlocks:
    """Local matrices of ``m`` wedges restricted to ``planes`` of displacement nodes.

    ``matrix`` (m, n, n) with n = 18 * len(planes) + 6: displacements node by node, then pressures; ``load``
    (m, n, 6): the same rows acting on the prescribed fields; ``energy`` (6, 6): those fields on themselves.
    """

    matrix: Array
    load: Array
    energy: Array


@dataclass(frozen=True, eq=False)
class WedgeGradients:
    """``gradient`` (m, q, 18, 3), 1/mm, of the displacement functions; ``volume`` (m, q), mm3, quadrature weights."""

    gradient: Array
    volume: Array


def wedge_gradients(tooth_mm: Array, bone_mm: Array) -> WedgeGradients:
    """Gradients in space for wedges whose two sides have six nodes each, both (m, 6, 3), mm.

    Raises NoAnswerError where a wedge is turned inside out.
    """
    reference = reference_wedge()
    nodes = np.concatenate([tooth_mm, bone_mm], axis=1)
    jacobian = np.einsum("qnr,mnx->mqrx", reference.shape_gradient, nodes, optimize=True)
    inverse, volume = _inverse(jacobian)
    if not (volume > 0.0).all():
        count = int((volume <= 0.0).any(axis=1).sum())
        raise NoAnswerError(
            f"the ligament layer must not fold over: {count} of {len(volume)} wedges are turned inside out; "
            "use a thinner ligament or a finer, smoother root surface."
        )
    gradient = np.matmul(reference.motion_gradient[None], np.swapaxes(inverse, -1, -2))
    return WedgeGradients(gradient, volume * reference.weights)


def _inverse(jacobian: Array) -> tuple[Array, Array]:
    """d(reference)/d(space) transposed to (m, q, space, reference), and the determinant (m, q)."""
    a, b, c = jacobian[..., 0, :], jacobian[..., 1, :], jacobian[..., 2, :]
    bc, ca, ab = np.cross(b, c), np.cross(c, a), np.cross(a, b)
    determinant = np.einsum("mqx,mqx->mq", a, bc)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.stack([bc, ca, ab], axis=-1) / determinant[..., None, None], determinant


def wedge_blocks(
    at: WedgeGradients, prescribed: Array, *, planes: tuple[int, ...], mu_mpa: float, lambda_mpa: float
) -> WedgeBlocks:
    """Matrices of wedges of one material; ``prescribed`` (m, 18, 3, 6) is the known motion of each node, else 0."""
    columns = np.concatenate([np.arange(6 * p, 6 * p + 6) for p in planes])
    gradient = at.gradient[:, :, columns]
    m, n = len(gradient), 3 * len(columns)
    known = np.matmul(
        at.gradient.transpose(0, 1, 3, 2).reshape(m, -1, 18), prescribed.reshape(m, 18, 18)
    ).reshape(m, -1, 3, 3, 6)
    weighted_pressure = at.volume[..., None] * reference_wedge().pressure
    matrix = np.zeros((m, n + 6, n + 6))
    matrix[:, :n, :n] = _shear_matrix(gradient, mu_mpa * at.volume)
    coupling = np.sqrt(lambda_mpa) * np.matmul(
        weighted_pressure.transpose(0, 2, 1), gradient.reshape(m, -1, n)
    )
    matrix[:, n:, :n] = coupling
    matrix[:, :n, n:] = coupling.transpose(0, 2, 1)
    matrix[:, n:, n:] = -np.matmul(weighted_pressure.transpose(0, 2, 1), reference_wedge().pressure)
    load, energy = _known_load(gradient, known, mu_mpa * at.volume)
    divergence = np.einsum("mqiik->mqk", known)
    squeeze = np.sqrt(lambda_mpa) * np.matmul(weighted_pressure.transpose(0, 2, 1), divergence)
    return WedgeBlocks(matrix, np.concatenate([load, squeeze], axis=1), energy)


def _shear_matrix(gradient: Array, weight: Array) -> Array:
    """int 2 mu eps(u) : eps(v), (m, 3 n, 3 n), from gradients (m, q, n, 3) and mu times volume (m, q)."""
    m, q, n, _ = gradient.shape
    flat = (gradient * np.sqrt(weight)[..., None, None]).reshape(m, q, 3 * n)
    outer = np.matmul(flat.transpose(0, 2, 1), flat).reshape(m, n, 3, n, 3)
    matrix = np.ascontiguousarray(outer.transpose(0, 1, 4, 3, 2))
    trace = np.einsum("makbk->mab", outer)
    for i in range(3):
        matrix[:, :, i, :, i] += trace
    return matrix.reshape(m, 3 * n, 3 * n)


def _known_load(gradient: Array, known: Array, weight: Array) -> tuple[Array, Array]:
    """Shear rows acting on known displacement gradients (m, q, d/dx, component, 6), and their energy (6, 6)."""
    m, q = weight.shape
    stress = weight[..., None, None, None] * (known + known.transpose(0, 1, 3, 2, 4))
    rows = gradient.transpose(0, 2, 1, 3).reshape(m, -1, q * 3)
    load = np.matmul(rows, stress.reshape(m, q * 3, 18)).reshape(m, -1, 6)
    energy = stress.reshape(-1, 6).T @ known.reshape(-1, 6)
    return load, energy


def lame(*, e_mpa: float, nu: float) -> tuple[float, float]:
    """Shear modulus and Lame's lambda, MPa."""
    return e_mpa / (2.0 * (1.0 + nu)), e_mpa * nu / ((1.0 + nu) * (1.0 - 2.0 * nu))
