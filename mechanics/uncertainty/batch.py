"""Elastic and sagittal centres of many stiffnesses at once; the same definitions as ``stiffness_centres``."""

from __future__ import annotations

import numpy as np

from mesh_tools.arrays import Array
from mesh_tools.errors import NoAnswerError


def elastic_centres(stiffness: Array) -> Array:
    """Elastic centres (s, 3) of stiffnesses (s, 6, 6) about the origin."""
    a, b = stiffness[:, :3, :3], stiffness[:, :3, 3:]
    turn = np.stack([b[:, 2, 1] - b[:, 1, 2], b[:, 0, 2] - b[:, 2, 0], b[:, 1, 0] - b[:, 0, 1]], axis=1)
    spread = np.trace(a, axis1=1, axis2=2)[:, None, None] * np.eye(3) - a
    return np.asarray(np.linalg.solve(spread, -turn[:, :, None])[:, :, 0])


def plane_centres(stiffness: Array, normals: Array) -> tuple[Array, Array]:
    """Elastic centres (s, 3) and the centres (s, 3) in the planes through them square to the unit ``normals`` (s, 3).

    Raises NoAnswerError where a stiffness does not hold the tooth in every direction.
    """
    middle = elastic_centres(stiffness)
    shift = np.zeros_like(stiffness)
    shift[:, range(6), range(6)] = 1.0
    x, y, z = middle.T
    shift[:, 0, 4], shift[:, 0, 5], shift[:, 1, 5] = -z, y, -x
    shift[:, 1, 3], shift[:, 2, 3], shift[:, 2, 4] = z, -y, x
    about = np.swapaxes(shift, 1, 2) @ stiffness @ shift
    if not (np.linalg.eigvalsh(about)[:, 0] > 0.0).all():
        raise NoAnswerError(
            "a sampled root does not hold the tooth in every direction; narrow the inputs' ranges."
        )
    inverse = np.linalg.inv(about)
    turning = np.einsum("sij,sj->si", np.swapaxes(inverse[:, 3:, :3], 1, 2), normals)
    stiff = np.einsum("si,sij,sj->s", normals, inverse[:, 3:, 3:], normals)
    return middle, middle + np.cross(normals, turning) / stiff[:, None]
