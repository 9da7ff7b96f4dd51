"""Direct elimination of all unknowns by dense fronts over a nested dissection of the faces (multifrontal).

I. S. Duff, J. K. Reid, ACM Trans Math Softw 9 (1983) 302; dissection: A. George, SIAM J Numer Anal 10 (1973) 345. A
surface cuts into halves along short lines, so fronts stay small and the work is dense linear algebra. Displacements of
a front are eliminated by a Cholesky factor, its pressures by one of the negative rest: the matrix is symmetric
quasi-definite and so is every front. The six rigid motions stay to the end as six more unknowns, so that the last
front *is* the stiffness of the ligament.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg.blas import dgemm, dsyrk, dtrsm
from scipy.linalg.lapack import dpotrf

from mechanics.ligament_fe.dissection import FaceTree
from mechanics.ligament_fe.stack import LayerStack, StackNumbers, WedgeGroup
from mesh_tools.arrays import Array, IntArray
from mesh_tools.errors import NoAnswerError


@dataclass(frozen=True, eq=False)
class Front:
    """What is left after the unknowns inside a part of the surface are gone.

    ``nodes`` (k,) surface nodes on its border with ``numbers`` (n,) of unknowns; ``matrix`` (n + 6, n + 6): unknowns,
    then the six rigid motions; ``uses`` (k,) how many faces of the part meet at each node.
    """

    nodes: IntArray
    uses: IntArray
    numbers: IntArray
    matrix: Array


@dataclass(frozen=True, eq=False)
class Opened:
    """Unknowns of a part in the order of elimination: displacements that go, pressures that go, then those ``left``.

    The last belong to the nodes ``kept``, with their ``uses``.
    """

    motion: IntArray
    pressure: IntArray
    left: IntArray
    kept: IntArray
    uses: IntArray

    @property
    def count(self) -> int:
        """Number of unknowns."""
        return len(self.motion) + len(self.pressure) + len(self.left)


@dataclass(frozen=True, eq=False)
class Pivots:
    """Factors of one elimination, for the way back."""

    opened: Opened
    motion_factor: Array
    motion_rest: Array
    pressure_factor: Array
    pressure_rest: Array


@dataclass(frozen=True, eq=False)
class Columns:
    """Unknowns by surface node: ``start`` (nodes + 1,) into ``numbers``, displacements before pressures."""

    start: IntArray
    numbers: IntArray
    motion_count: int
    face_count: IntArray

    def of(self, nodes: IntArray) -> IntArray:
        """Numbers of all unknowns of ``nodes``."""
        sizes = self.start[nodes + 1] - self.start[nodes]
        shift = np.repeat(self.start[nodes] - np.concatenate([[0], np.cumsum(sizes)[:-1]]), sizes)
        return np.asarray(self.numbers[shift + np.arange(sizes.sum())])


@dataclass(frozen=True, eq=False)
class Eliminated:
    """``stiffness`` (6, 6) and the ``unknowns`` (count, 6) for the six unit motions."""

    stiffness: Array
    unknowns: Array


def columns(stack: LayerStack, numbers: StackNumbers) -> Columns:
    """Unknowns of every surface node through all planes."""
    free = numbers.motion >= 0
    node_of = np.empty(numbers.count, dtype=np.int64)
    node_of[numbers.motion[free]] = np.broadcast_to(np.arange(stack.nodes.count)[None, :, None], free.shape)[
        free
    ]
    node_of[numbers.pressure] = np.arange(stack.nodes.corner_count)
    order = np.argsort(node_of, kind="stable")
    start = np.searchsorted(node_of[order], np.arange(stack.nodes.count + 1))
    faces = np.bincount(stack.nodes.triangles.ravel(), minlength=stack.nodes.count)
    return Columns(start, order, int(free.sum()), faces)


def eliminated(
    stack: LayerStack, numbers: StackNumbers, groups: Sequence[WedgeGroup], tree: FaceTree
) -> Eliminated:
    """Stiffness and unknowns from the wedges' matrices; raises NoAnswerError where a pivot block is not definite."""
    by_node = columns(stack, numbers)
    place = np.full(numbers.count + 1, -1, dtype=np.int64)
    pivots: list[Pivots] = []
    waiting: list[Front] = []
    for faces in tree.steps:
        if faces is not None:
            opened, matrix = _leaf(stack, groups, faces, by_node, place)
        else:
            opened, matrix = _merged(waiting.pop(), waiting.pop(), by_node, place)
        front, gone = _reduced(opened, matrix)
        waiting.append(front)
        pivots.append(gone)
    energy = np.sum([group.blocks.energy for group in groups], axis=0)
    stiffness = waiting.pop().matrix + energy
    return Eliminated(0.5 * (stiffness + stiffness.T), _unknowns(pivots, numbers.count))


def _opened(nodes: IntArray, uses: IntArray, by_node: Columns, place: IntArray) -> Opened:
    """Order of the unknowns of ``nodes``; ``place`` is set to the position of each."""
    inside = uses == by_node.face_count[nodes]
    gone = np.sort(by_node.of(nodes[inside]))
    cut = int(np.searchsorted(gone, by_node.motion_count))
    opened = Opened(gone[:cut], gone[cut:], by_node.of(nodes[~inside]), nodes[~inside], uses[~inside])
    place[gone] = np.arange(len(gone))
    place[opened.left] = np.arange(len(gone), opened.count)
    return opened


def _leaf(
    stack: LayerStack, groups: Sequence[WedgeGroup], faces: IntArray, by_node: Columns, place: IntArray
) -> tuple[Opened, Array]:
    """A few faces: the matrices of their wedges added up."""
    nodes, uses = np.unique(stack.nodes.triangles[faces], return_counts=True)
    opened = _opened(nodes, uses, by_node, place)
    n = opened.count
    size = n + 7
    flat = np.zeros(size * size)
    for matrix, load, at in _wedges_on(groups, faces):
        local = np.where(at < 0, n + 6, place[at])
        index = (local[:, :, None] * size + local[:, None, :]).ravel()
        flat += np.bincount(index, matrix.ravel(), minlength=size * size)
        index = (local[:, :, None] * size + np.arange(n, n + 6)).ravel()
        flat += np.bincount(index, load.ravel(), minlength=size * size)
    whole = flat.reshape(size, size)[: n + 6, : n + 6]
    whole[n:, :n] = whole[:n, n:].T
    return opened, whole


def _wedges_on(groups: Sequence[WedgeGroup], faces: IntArray) -> Iterator[tuple[Array, Array, IntArray]]:
    """Matrices, loads and numbers of the wedges that stand on some sorted faces, group by group."""
    for group in groups:
        low, high = np.searchsorted(faces, [group.faces.start, group.faces.stop])
        if low < high:
            at = faces[low:high] - group.faces.start
            yield group.blocks.matrix[at], group.blocks.load[at], group.numbers[at]


def _merged(one: Front, two: Front, by_node: Columns, place: IntArray) -> tuple[Opened, Array]:
    """Sum of two fronts over the union of their nodes."""
    nodes, inverse = np.unique(np.concatenate([one.nodes, two.nodes]), return_inverse=True)
    uses = np.bincount(inverse, np.concatenate([one.uses, two.uses])).astype(np.int64)
    opened = _opened(nodes, uses, by_node, place)
    n = opened.count
    matrix = np.zeros((n + 6, n + 6))
    for front in (one, two):
        at = np.concatenate([place[front.numbers], np.arange(n, n + 6)])
        matrix[at[:, None], at] += front.matrix
    return opened, matrix


def _reduced(opened: Opened, matrix: Array) -> tuple[Front, Pivots]:
    """Front without the unknowns that no other face shares."""
    a = len(opened.motion)
    b = a + len(opened.pressure)
    factor, rest = pivoted(matrix[:a, :a], matrix[:a, a:])
    matrix[a:, a:] -= _square(rest)
    second, second_rest = pivoted(-matrix[a:b, a:b], matrix[a:b, b:])
    kept = matrix[b:, b:] + _square(second_rest)
    return Front(opened.kept, opened.uses, opened.left, kept), Pivots(
        opened, factor, rest, second, second_rest
    )


def pivoted(block: Array, rest: Array) -> tuple[Array, Array]:
    """Cholesky factor L of a block, upper as L', and L^-1 rest; raises NoAnswerError where it is not definite."""
    if not len(block):
        return block, rest
    factor, failed = dpotrf(block.T, lower=1, clean=1)
    if failed:
        raise NoAnswerError(
            "the finite-element matrix must be definite; a pivot is not; check the surface for slivers, or lower nu."
        )
    return factor, np.asarray(dtrsm(1.0, factor, rest, lower=1))


def _square(rest: Array) -> Array:
    """rest' rest; by the same BLAS as the factors, since the threads of two libraries would get in each other's way."""
    if not len(rest):
        return np.zeros((rest.shape[1], rest.shape[1]))
    lower: Array = dsyrk(1.0, rest, trans=1, lower=1)
    square = lower + lower.T
    square.flat[:: len(square) + 1] *= 0.5
    return square


def _unknowns(pivots: Sequence[Pivots], count: int) -> Array:
    """Unknowns (count, 6) from the last front back to the first; the last six are the unit motions."""
    x = np.zeros((count, 6))
    unit = np.eye(6)
    for gone in reversed(pivots):
        known = np.concatenate([x[gone.opened.left], unit])
        if len(gone.opened.pressure):
            right = dgemm(1.0, gone.pressure_rest, known)
            x[gone.opened.pressure] = dtrsm(1.0, gone.pressure_factor, right, lower=1, trans_a=1)
        if len(gone.opened.motion):
            right = dgemm(1.0, gone.motion_rest, np.concatenate([x[gone.opened.pressure], known]))
            x[gone.opened.motion] = dtrsm(-1.0, gone.motion_factor, right, lower=1, trans_a=1)
    return x
