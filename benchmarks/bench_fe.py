"""Finite elements of the ligament beside a plain element loop with scipy.sparse.linalg.splu on the same mesh.

Both solve the same 18-node wedges with the same quadrature, so that the stiffnesses must agree. The table gives the
seconds of one run, the ratio, and how time grows with the number of faces.

Run: python benchmarks/bench_fe.py [--faces 1000 2000 4000] [--ours-only 8000 16000]
"""

from __future__ import annotations

import argparse
import time

import numpy as np
import scipy.sparse as sparse
from scipy.sparse.linalg import splu

from mechanics.ligament_fe import fe_stiffness
from mechanics.ligament_fe.assembly import lame
from mechanics.ligament_fe.nodes import SurfaceNodes, surface_nodes
from mechanics.ligament_fe.offset import bone_side
from mechanics.ligament_fe.stack import rigid_fields
from mechanics.ligament_fe.wedge import reference_wedge
from mesh_tools.arrays import Array, IntArray

NU, E_MPA, THICKNESS_MM = 0.49, 0.68, 0.2


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--faces", type=int, nargs="*", default=[1000, 2000, 4000])
    parser.add_argument("--ours-only", type=int, nargs="*", default=[8000, 16000])
    chosen = parser.parse_args()
    head = (
        f"{'faces':>7}{'unknowns':>10}{'ours s':>9}{'loop s':>9}{'splu s':>9}{'ratio':>8}{'difference':>12}"
    )
    print(head)
    for count in [*chosen.faces, *chosen.ours_only]:
        print(row(count, compare=count in chosen.faces), flush=True)


def row(count: int, *, compare: bool) -> str:
    """One line of the table for a paraboloid of about ``count`` faces."""
    points, faces = paraboloid(count)
    start = time.perf_counter()
    result = fe_stiffness(points, faces, e_mpa=E_MPA, nu=NU, thickness_mm=THICKNESS_MM)
    ours = time.perf_counter() - start
    line = f"{len(faces):>7}{result.n_unknowns:>10}{ours:>9.2f}"
    if not compare:
        return line
    plain, loop, solve = plain_stiffness(points, faces)
    difference = float(np.abs(plain - result.stiffness).max() / np.abs(plain).max())
    return line + f"{loop:>9.2f}{solve:>9.2f}{(loop + solve) / ours:>8.1f}{difference:>12.1e}"


def plain_stiffness(points: Array, faces: IntArray) -> tuple[Array, float, float]:
    """K (6, 6) the plain way, with the seconds of the element loop and of the solve."""
    start = time.perf_counter()
    nodes = surface_nodes(faces, len(points))
    low = nodes.with_middles(points)
    high = nodes.with_middles(bone_side(points, faces, np.full(len(points), THICKNESS_MM)).points_mm)
    matrix = looped_matrix(nodes, low, high)
    between = time.perf_counter()
    n = nodes.count
    known = np.zeros(matrix.shape[0], dtype=bool)
    known[: 3 * n] = known[6 * n : 9 * n] = True
    fields = np.zeros((matrix.shape[0], 6))
    fields[: 3 * n] = rigid_fields(low).reshape(-1, 6)
    fields[~known] = -splu(matrix[~known][:, ~known].tocsc()).solve((matrix @ fields)[~known])
    stiffness = fields[known].T @ (matrix @ fields)[known]
    return np.asarray(stiffness), between - start, time.perf_counter() - between


def looped_matrix(nodes: SurfaceNodes, low: Array, high: Array) -> sparse.csr_matrix:
    """Whole matrix by a loop over wedges: displacements of three planes, then pressures of two sides."""
    n, corners = nodes.count, nodes.corner_count
    rows, columns, values = [], [], []
    for triangle in nodes.triangles:
        local = wedge_matrix(np.concatenate([low[triangle], high[triangle]]))
        motion = (3 * np.concatenate([triangle + p * n for p in range(3)])[:, None] + np.arange(3)).ravel()
        at = np.concatenate([motion, 9 * n + triangle[:3], 9 * n + corners + triangle[:3]])
        rows.append(np.repeat(at, 60))
        columns.append(np.tile(at, 60))
        values.append(local.ravel())
    size = 9 * n + 2 * corners
    triplets = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    return sparse.coo_matrix(triplets, shape=(size, size)).tocsr()


def wedge_matrix(place: Array) -> Array:
    """Matrix (60, 60) of one wedge, point by point with the strain matrix of a text book."""
    reference = reference_wedge()
    mu, lam = lame(e_mpa=E_MPA, nu=NU)
    shear = np.diag([2.0 * mu] * 3 + [mu] * 3)
    local = np.zeros((60, 60))
    for q, weight in enumerate(reference.weights):
        jacobian = reference.shape_gradient[q].T @ place
        volume = weight * np.linalg.det(jacobian)
        slope = reference.motion_gradient[q] @ np.linalg.inv(jacobian).T
        strain = np.zeros((6, 54))
        for axis in range(3):
            strain[axis, axis::3] = slope[:, axis]
        for row_of, (i, j) in enumerate(((0, 1), (1, 2), (2, 0)), start=3):
            strain[row_of, i::3], strain[row_of, j::3] = slope[:, j], slope[:, i]
        local[:54, :54] += volume * strain.T @ shear @ strain
        coupling = np.sqrt(lam) * volume * np.outer(slope.ravel(), reference.pressure[q])
        local[:54, 54:] += coupling
        local[54:, :54] += coupling.T
        local[54:, 54:] -= volume * np.outer(reference.pressure[q], reference.pressure[q])
    return local


def paraboloid(count: int) -> tuple[Array, IntArray]:
    """Paraboloid R 4, h 13 mm of about ``count`` faces, crest at z = 0, apex up; points in no helpful order."""
    around = int(np.sqrt(count / 1.6)) + 4
    along = max(count // (2 * around), 3)
    s = np.linspace(1.0, 0.0, along + 1)[:-1]
    angle = 2.0 * np.pi * np.arange(around) / around
    ring = np.stack([np.cos(angle), np.sin(angle), np.zeros(around)], axis=1)
    rings = 4.0 * s[:, None, None] * ring + (13.0 * (1.0 - s**2))[:, None, None] * [0.0, 0.0, 1.0]
    k, j = (g.ravel() for g in np.meshgrid(np.arange(along - 1), np.arange(around), indexing="ij"))
    a, b = k * around + j, k * around + (j + 1) % around
    last = (along - 1) * around + np.arange(around)
    cap = np.stack([last, np.roll(last, -1), np.full(around, along * around)], axis=1)
    faces = np.concatenate([np.stack([a, b, b + around], 1), np.stack([a, b + around, a + around], 1), cap])
    points = np.concatenate([rings.reshape(-1, 3), [[0.0, 0.0, 13.0]]])
    place = np.random.default_rng(0).permutation(len(points))
    return points[place], np.argsort(place)[faces]


if __name__ == "__main__":
    main()
