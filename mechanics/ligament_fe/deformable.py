"""What rigid tooth and rigid bone cost: the same ligament between a root of dentine and a shell of bone.

The root is a dentine tube around its canal, as thick as the root allows, and carried by the crown at the crest section,
which stays rigid. The bone is a shell around the ligament, fixed on its far side. Both are layers of the same
wedges, bonded to the ligament. What this leaves out: the crown's own bending, the enamel, and bone beyond the shell.

Found with it on three-rooted anatomy, ligament 0.2 mm: the centre lies nearer the crest by 0.03 mm for E 0.13 MPa and
nu 0.45, by 0.17 mm for 0.68 and 0.45, by 0.45 mm for 0.68 and 0.49, nearly all by bending of the roots. So "rigid costs
under 0.1 mm" holds for soft ligaments only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mechanics.ligament_fe.assembly import lame
from mechanics.ligament_fe.checks import checked_root
from mechanics.ligament_fe.mending import mended
from mechanics.ligament_fe.nodes import surface_nodes
from mechanics.ligament_fe.offset import bone_side
from mechanics.ligament_fe.root import Root
from mechanics.ligament_fe.solve import solved
from mechanics.ligament_fe.stack import LayerStack, ligament_stack, numbered
from mesh_tools.arrays import Array, frozen, vee
from mesh_tools.errors import BadValueError

DENTINE = (18_600.0, 0.31)  # E in MPa, nu: Prog Orthod 17 (2016), s40510-016-0130-4, table 1
BONE = (13_800.0, 0.26)  # cortical, same table; its cancellous bone is 345 MPa, 0.31


@dataclass(frozen=True, eq=False)
class DeformableCheck:
    """Stiffness (6, 6) about the origin with everything rigid but the ligament, and with tooth and bone elastic.

    ``centre_shift_mm`` (3,): elastic centre with elastic tooth and bone, minus the rigid one.
    ``smoothed_mm``: how far the root was smoothed at most, where a layer would have folded over.
    """

    rigid_stiffness: Array
    stiffness: Array
    centre_shift_mm: Array
    n_unknowns: int
    residual: float
    smoothed_mm: float


def deformable_check(
    points_mm: ArrayLike,
    faces: ArrayLike,
    *,
    e_mpa: float,
    nu: float,
    thickness_mm: ArrayLike = 0.2,
    dentine: tuple[float, float] = DENTINE,
    bone: tuple[float, float] = BONE,
    wall_mm: float = 1.5,
    shell_mm: float = 1.0,
    target_faces: int = 1500,
) -> DeformableCheck:
    """Compare rigid and elastic tooth and bone on one root surface (as in ``fe_stiffness``), coarsened for speed.

    ``dentine`` and ``bone`` are (E in MPa, nu); ``wall_mm`` is the most dentine between root surface and canal,
    ``shell_mm`` the bone that takes part; both are cut where walls face each other. The cost of rigidity grows in
    proportion to the ligament's stiffness, so it is largest near nu 1/2. Raises BadValueError for materials or
    widths out of range and what ``fe_stiffness`` raises.
    """
    _check(materials=((e_mpa, nu), dentine, bone), widths=(wall_mm, shell_mm))
    root = checked_root(points_mm, faces, thickness_mm, target_faces=target_faces)
    materials = (dentine, (e_mpa, nu), bone)
    _, stack, smoothed_mm = mended(
        root, lambda r: elastic_stack(r, materials=materials, wall_mm=wall_mm, shell_mm=shell_mm)
    )
    mu, lam = lame(e_mpa=e_mpa, nu=nu)
    rigid_stack = ligament_stack(
        stack.nodes, stack.sides_mm[1], stack.sides_mm[2], layers=1, mu_mpa=mu, lambda_mpa=lam
    )
    rigid = solved(rigid_stack, numbered(rigid_stack)).stiffness
    numbers = numbered(stack)
    answer = solved(stack, numbers)
    shift = elastic_centre(answer.stiffness) - elastic_centre(rigid)
    return DeformableCheck(
        frozen(rigid, (6, 6), name="rigid stiffness"),
        frozen(answer.stiffness, (6, 6), name="stiffness"),
        frozen(shift, (3,), name="centre_shift_mm"),
        numbers.count,
        answer.residual,
        smoothed_mm,
    )


def elastic_stack(
    root: Root, *, materials: tuple[tuple[float, float], ...], wall_mm: float, shell_mm: float
) -> LayerStack:
    """Dentine, ligament, bone from the canal outward; the dentine's crest section moves, bone's far side is held."""
    n = len(root.points_mm)
    inner = bone_side(root.points_mm, root.faces[:, ::-1], np.full(n, wall_mm)).points_mm
    socket = bone_side(root.points_mm, root.faces, root.thickness_mm).points_mm
    outer = bone_side(socket, root.faces, np.full(n, shell_mm)).points_mm
    nodes = surface_nodes(root.faces, n)
    plane = np.arange(7)[:, None]
    moduli = [lame(e_mpa=e, nu=nu) for e, nu in materials]
    return LayerStack(
        nodes,
        np.stack([nodes.with_middles(side) for side in (inner, root.points_mm, socket, outer)]),
        tuple(mu for mu, _ in moduli),
        tuple(lam for _, lam in moduli),
        moved=(plane <= 2) & nodes.rim,
        held=(plane == 6) & np.ones((1, nodes.count), dtype=bool),
    )


def elastic_centre(stiffness: Array) -> Array:
    """Point (3,), mm, about which the coupling block of K is symmetric."""
    return -vee(np.linalg.solve(stiffness[:3, :3], stiffness[:3, 3:]))


def _check(*, materials: tuple[tuple[float, float], ...], widths: tuple[float, float]) -> None:
    """Raise BadValueError for a modulus, a Poisson's ratio or a width out of range."""
    for e, nu in materials:
        if not (0.0 < e < 1e9 and 0.0 <= nu < 0.5):
            raise BadValueError(
                f"a material must have E in (0, 1e9) MPa and nu in [0, 0.5); got {e:g} MPa, {nu:g}."
            )
    if not all(0.05 <= width <= 5.0 for width in widths):
        raise BadValueError(
            f"wall_mm and shell_mm must lie in [0.05, 5] mm; got {widths[0]:g} and {widths[1]:g}."
        )
