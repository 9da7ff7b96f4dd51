"""A stack of wedge layers over one root surface: which nodes are free, and the wedges' matrices layer by layer."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from mechanics.ligament_fe.assembly import WedgeBlocks, wedge_blocks, wedge_gradients
from mechanics.ligament_fe.nodes import SurfaceNodes
from mesh_tools.arrays import Array, BoolArray, IntArray

_WEDGES_AT_ONCE = 2048


@dataclass(frozen=True, eq=False)
class LayerStack:
    """Layers between ``sides_mm`` (layers + 1, nodes, 3), each of one material, over one set of surface nodes.

    ``mu_mpa`` and ``lambda_mpa`` have one value a layer. ``moved`` and ``held`` (2 layers + 1, nodes) mark the nodes
    that follow the rigid tooth and those fixed in space; all others are free.
    """

    nodes: SurfaceNodes
    sides_mm: Array
    mu_mpa: tuple[float, ...]
    lambda_mpa: tuple[float, ...]
    moved: BoolArray
    held: BoolArray


@dataclass(frozen=True, eq=False)
class StackNumbers:
    """Numbers of the unknowns: ``motion`` (planes, nodes, 3), -1 where known; ``pressure`` (layers, 2, corners)."""

    motion: IntArray
    pressure: IntArray
    count: int


@dataclass(frozen=True, eq=False)
class WedgeGroup:
    """Matrices of some wedges of one layer with the numbers of their unknowns, ``numbers`` (m, n), -1 for a known one;
    ``faces`` is the slice of faces they stand on.
    """

    blocks: WedgeBlocks
    numbers: IntArray
    faces: slice
    layer: int


def rigid_fields(points_mm: Array) -> Array:
    """Displacement (n, 3, 6) of points under the six unit motions [u; theta] about the origin."""
    fields = np.zeros((len(points_mm), 3, 6))
    fields[:, :, :3] = np.eye(3)
    x, y, z = points_mm.T
    fields[:, 1, 3], fields[:, 2, 3] = -z, y
    fields[:, 0, 4], fields[:, 2, 4] = z, -x
    fields[:, 0, 5], fields[:, 1, 5] = -y, x
    return fields


def ligament_stack(
    nodes: SurfaceNodes, tooth_mm: Array, bone_mm: Array, *, layers: int, mu_mpa: float, lambda_mpa: float
) -> LayerStack:
    """Ligament alone between node positions (nodes, 3) on a rigid tooth and on rigid bone."""
    share = np.linspace(0.0, 1.0, layers + 1)[:, None, None]
    plane = np.arange(2 * layers + 1)[:, None]
    everywhere = np.ones((1, nodes.count), dtype=bool)
    return LayerStack(
        nodes,
        (1.0 - share) * tooth_mm + share * bone_mm,
        (mu_mpa,) * layers,
        (lambda_mpa,) * layers,
        moved=(plane == 0) & everywhere,
        held=(plane == 2 * layers) & everywhere,
    )


def numbered(stack: LayerStack) -> StackNumbers:
    """Number the unknowns; neighbouring layers of one material share the pressure on the side between them."""
    free = np.repeat(~(stack.moved | stack.held)[:, :, None], 3, axis=2)
    motion = np.where(free, np.cumsum(free).reshape(free.shape) - 1, -1)
    corners = np.arange(stack.nodes.corner_count)
    side, pressure = -1, []
    materials = list(zip(stack.mu_mpa, stack.lambda_mpa, strict=True))
    for layer, material in enumerate(materials):
        side += 1 if layer and material == materials[layer - 1] else (1 if not layer else 2)
        pressure.append([free.sum() + (side + k) * len(corners) + corners for k in (0, 1)])
    return StackNumbers(motion, np.array(pressure), int(free.sum()) + (side + 2) * len(corners))


def wedge_groups(stack: LayerStack, numbers: StackNumbers) -> Iterator[WedgeGroup]:
    """Matrices of all wedges, some thousand at a time; raises NoAnswerError where one is turned inside out."""
    triangles = stack.nodes.triangles
    for layer in range(len(stack.mu_mpa)):
        for start in range(0, len(triangles), _WEDGES_AT_ONCE):
            yield _group(stack, numbers, layer, slice(start, min(start + _WEDGES_AT_ONCE, len(triangles))))


def _group(stack: LayerStack, numbers: StackNumbers, layer: int, faces: slice) -> WedgeGroup:
    """One layer's wedges on the faces of a slice."""
    at = stack.nodes.triangles[faces]
    low, high = stack.sides_mm[layer], stack.sides_mm[layer + 1]
    prescribed = np.zeros((len(at), 3, 6, 3, 6))
    for plane, place in enumerate((low, 0.5 * (low + high), high)):
        moved = stack.moved[2 * layer + plane][at]
        if moved.any():
            prescribed[:, plane] = np.where(
                moved[..., None, None], rigid_fields(place[at].reshape(-1, 3)).reshape(-1, 6, 3, 6), 0.0
            )
    planes = tuple(p for p in range(3) if (numbers.motion[2 * layer + p] >= 0).any())
    blocks = wedge_blocks(
        wedge_gradients(low[at], high[at]),
        prescribed.reshape(len(at), 18, 3, 6),
        planes=planes,
        mu_mpa=stack.mu_mpa[layer],
        lambda_mpa=stack.lambda_mpa[layer],
    )
    motion = [numbers.motion[2 * layer + p][at].reshape(len(at), -1) for p in planes]
    pressure = [numbers.pressure[layer, k][at[:, :3]] for k in (0, 1)]
    return WedgeGroup(blocks, np.concatenate([*motion, *pressure], axis=1), faces, layer)
