"""Stiffness of the ligament as a solid finite-element layer between a rigid tooth and rigid bone."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from mechanics.ligament_fe.assembly import lame
from mechanics.ligament_fe.checks import checked_root
from mechanics.ligament_fe.mending import mended
from mechanics.ligament_fe.nodes import surface_nodes
from mechanics.ligament_fe.offset import bone_side, face_vectors
from mechanics.ligament_fe.root import Root
from mechanics.ligament_fe.solve import solved
from mechanics.ligament_fe.stack import (
    LayerStack,
    ligament_stack,
    numbered,
)
from mechanics.ligament_fe.traction import facet_tractions
from mesh_tools.arrays import Array, IntArray, frozen
from mesh_tools.errors import BadValueError, NoAnswerError

E_RANGE_MPA = (1e-3, 1e3)
WORST_CONDITION = 1e10


@dataclass(frozen=True, eq=False)
class FeResult:
    """Ligament stiffness about the origin of the frame, with what proves it.

    ``stiffness`` (6, 6), N, mm, rad: [f; m] = K [u; theta], the load on the tooth that holds the motion;
    ``residual`` of the solve relative to its load; ``condition`` of K with lengths scaled by the root's own size;
    ``n_unknowns``; ``points_mm`` (n, 3), ``faces`` (m, 3) the root surface that was used (welded, perhaps coarsened);
    ``thickness_mm`` (n,) the thickness that was used there; ``narrowed_share`` the share of the root's area whose
    thickness was cut because two walls face each other; ``unit_traction_mpa`` (m, 3, 6) mean traction on each face
    for unit motions; ``smoothed_mm`` how far the root was smoothed at most, where a layer would have folded over.
    """

    stiffness: Array
    residual: float
    condition: float
    n_unknowns: int
    points_mm: Array
    faces: IntArray
    thickness_mm: Array
    narrowed_share: float
    unit_traction_mpa: Array
    smoothed_mm: float = 0.0

    def traction_mpa(self, motion: ArrayLike) -> Array:
        """Traction (m, 3) of the tooth on the ligament for a rigid motion [u; theta] (6,).

        Times area it sums to the force of K, and within the faces' size to its moment.
        """
        return np.asarray(self.unit_traction_mpa @ frozen(motion, (6,), name="motion"))

    def pressure_mpa(self, motion: ArrayLike) -> Array:
        """Normal part (m,) of the traction, positive where the ligament is squeezed."""
        vectors = face_vectors(self.points_mm, self.faces)
        normal = vectors / np.linalg.norm(vectors, axis=1)[:, None]
        return np.asarray(np.einsum("mx,mx->m", self.traction_mpa(motion), normal))


def fe_stiffness(
    points_mm: ArrayLike,
    faces: ArrayLike,
    *,
    e_mpa: float,
    nu: float,
    thickness_mm: ArrayLike = 0.2,
    layers: int = 1,
    target_faces: int | None = None,
) -> FeResult:
    """Ligament stiffness K (6, 6) about the origin by quadratic wedges that do not lock.

    ``points_mm`` (n, 3), ``faces`` (m, 3): the supported root surface wound outward, open at the crest; the ligament
    lies outside it, bonded to the rigid tooth and to rigid bone at ``thickness_mm`` (one value or (n,)), stress free
    at the crest. ``layers`` wedges through the thickness: one is enough (two change K by under 0.1 %). With
    ``target_faces`` a finer surface is coarsened first.

    Where the layer would fold over the root is smoothed a little, or coarsened. Raises BadValueError for a surface,
    thickness or material that breaks a rule, NoAnswerError where the layer folds over all the same, the solve leaves a
    residual or K is ill-conditioned, SelfCrossingError for a surface through itself.
    """
    _check_material(e_mpa=e_mpa, nu=nu, layers=layers)
    root = checked_root(points_mm, faces, thickness_mm, target_faces=target_faces)
    root, bone, smoothed_mm = mended(root, lambda r: bone_side(r.points_mm, r.faces, r.thickness_mm))
    nodes = surface_nodes(root.faces, len(root.points_mm))
    mu, lam = lame(e_mpa=e_mpa, nu=nu)
    stack = ligament_stack(
        nodes,
        nodes.with_middles(root.points_mm),
        nodes.with_middles(bone.points_mm),
        layers=layers,
        mu_mpa=mu,
        lambda_mpa=lam,
    )
    areas = np.linalg.norm(face_vectors(root.points_mm, root.faces), axis=1)
    narrowed_share = float(areas @ bone.narrowed[root.faces].any(axis=1) / areas.sum())
    result = _result(stack, root, bone.thickness_mm, narrowed_share)
    return replace(result, smoothed_mm=smoothed_mm)


def _result(stack: LayerStack, root: Root, thickness_mm: Array, narrowed_share: float) -> FeResult:
    """Solve the stack and put the answer with its proofs together."""
    numbers = numbered(stack)
    answer = solved(stack, numbers)
    condition = scaled_condition(answer.stiffness, root.points_mm)
    return FeResult(
        stiffness=frozen(answer.stiffness, (6, 6), name="stiffness"),
        residual=answer.residual,
        condition=condition,
        n_unknowns=numbers.count,
        points_mm=root.points_mm,
        faces=root.faces,
        thickness_mm=frozen(thickness_mm, (None,), name="thickness_mm"),
        narrowed_share=narrowed_share,
        unit_traction_mpa=facet_tractions(stack, numbers, answer.unknowns),
    )


def scaled_condition(stiffness: Array, points_mm: Array) -> float:
    """Condition number of K about the points' centre with angles scaled by their radius of gyration.

    Raises NoAnswerError above 1e10 or where K is not positive definite.
    """
    centre = points_mm.mean(axis=0)
    size = float(np.sqrt(((points_mm - centre) ** 2).sum(axis=1).mean()))
    x, y, z = centre
    move = np.eye(6)
    move[:3, 3:] = [[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]]
    scale = np.repeat([1.0, 1.0 / size], 3)
    values = np.linalg.eigvalsh(scale[:, None] * (move.T @ stiffness @ move) * scale)
    condition = float(values[-1] / values[0]) if values[0] > 0.0 else float("inf")
    if not condition < WORST_CONDITION:
        raise NoAnswerError(
            f"the ligament stiffness must be well-conditioned; its condition number is {condition:.1e} (at most "
            f"{WORST_CONDITION:.0e}); check that the supported root is more than a sliver."
        )
    return condition


def _check_material(*, e_mpa: float, nu: float, layers: int) -> None:
    """Raise BadValueError for a modulus, Poisson's ratio or number of layers out of range."""
    low, high = E_RANGE_MPA
    if not low <= e_mpa <= high:
        raise BadValueError(
            f"e_mpa of the ligament must lie in [{low:g}, {high:g}] MPa; got {e_mpa:g}; published: 0.01 to 69."
        )
    if not 0.0 <= nu < 0.5:
        raise BadValueError(f"nu of the ligament must lie in [0, 0.5); got {nu:g}; use 0.3 to 0.49.")
    if layers not in (1, 2, 3, 4):
        raise BadValueError(f"layers through the ligament must be 1 to 4; got {layers}; 1 is enough.")
