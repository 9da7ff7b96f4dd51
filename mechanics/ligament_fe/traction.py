"""Traction of the rigid tooth on each face of the ligament."""

from __future__ import annotations

import numpy as np

from mechanics.ligament_fe.assembly import wedge_gradients
from mechanics.ligament_fe.offset import face_vectors
from mechanics.ligament_fe.stack import LayerStack, StackNumbers, rigid_fields
from mechanics.ligament_fe.wedge import reference_wedge
from mesh_tools.arrays import Array

_FACES_AT_ONCE = 2048


def facet_tractions(stack: LayerStack, numbers: StackNumbers, unknowns: Array) -> Array:
    """Mean traction (m, 3, 6), MPa, on each face for the unit motions, from the virtual work of moving the face's side.

    The wedge's share of the nodal forces on the tooth side: tractions times areas sum exactly to the forces of K.
    Needs the first layer's tooth side to be rigid throughout.
    """
    triangles = stack.nodes.triangles
    areas = np.linalg.norm(face_vectors(stack.sides_mm[0], triangles[:, :3]), axis=1)
    starts = range(0, len(triangles), _FACES_AT_ONCE)
    forces = [_face_forces(stack, numbers, unknowns, slice(s, s + _FACES_AT_ONCE)) for s in starts]
    tractions: Array = np.concatenate(forces) / areas[:, None, None]
    tractions.setflags(write=False)
    return tractions


def _face_forces(stack: LayerStack, numbers: StackNumbers, unknowns: Array, faces: slice) -> Array:
    """Forces (m, 3, 6) that the tooth puts on the wedges of some faces."""
    at = stack.nodes.triangles[faces]
    known = np.concatenate([unknowns, np.zeros((1, 6))])
    motion = known[numbers.motion[:3, at]]
    motion[0] = rigid_fields(stack.sides_mm[0])[at]
    motion = motion.transpose(1, 0, 2, 3, 4).reshape(len(at), 18, 18)
    pressure = known[numbers.pressure[0][:, at[:, :3]]].transpose(1, 0, 2, 3).reshape(len(at), 6, 6)
    wedge = wedge_gradients(stack.sides_mm[0][at], stack.sides_mm[1][at])
    m, q = wedge.volume.shape
    slopes = wedge.gradient.transpose(0, 1, 3, 2).reshape(m, q * 3, 18)
    strain = np.matmul(slopes, motion).reshape(m, q, 3, 3, 6)
    stress = stack.mu_mpa[0] * (strain + strain.transpose(0, 1, 3, 2, 4))
    mean = np.sqrt(stack.lambda_mpa[0]) * np.matmul(reference_wedge().pressure, pressure)
    stress[:, :, [0, 1, 2], [0, 1, 2]] += mean[:, :, None]
    test = wedge.gradient[:, :, :6].sum(axis=2) * wedge.volume[..., None]
    return np.asarray(np.einsum("mqj,mqjik->mik", test, stress, optimize=True))
