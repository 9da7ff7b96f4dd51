"""The ligament models and the uncertainty side by side: seconds, ratios, agreement, growth with the number of faces.

The foundation is compared with reading a binary STL of the same surface; the thin layer with the solid finite elements
on the same mesh, in one run, with one layer of elements and with two. Best of three, except the finite elements (one).
That table counts processor seconds, so a busy machine does not blur it; set OPENBLAS_NUM_THREADS=1 for it.

Run: python benchmarks/bench_ligament.py [--solid 6000 12000 25000] [--faces 12500 50000 200000]
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from mechanics.centres.stiffness_centres import sagittal_centre
from mechanics.ligament.foundation import foundation_stiffness
from mechanics.ligament.springs import Ligament
from mechanics.ligament.thin_layer import thin_layer_stiffness
from mechanics.ligament_fe import fe_stiffness
from mechanics.uncertainty.propagate import propagate
from mechanics.uncertainty.root_family import root_family
from mesh_tools.arrays import Array, IntArray
from mesh_tools.read import read_surface

LAYER = Ligament(nu=0.49)


def main() -> None:
    """Print the three tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--solid", type=int, nargs="*", default=[6000, 12_000, 25_000])
    parser.add_argument("--faces", type=int, nargs="*", default=[12_500, 50_000, 200_000])
    chosen = parser.parse_args()
    print(f"{'faces':>8}{'foundation s':>14}{'reading s':>11}{'ratio':>8}{'thin layer s':>14}")
    for count in chosen.faces:
        print(fast_row(count), flush=True)
    print(
        f"\n{'faces':>8}{'layers':>8}{'thin layer s':>14}{'solid s':>9}{'ratio':>8}{'centre mm':>11}{'stiffness %':>13}"
    )
    for count in chosen.solid:
        for layers in (1, 2):
            print(solid_row(count, layers=layers), flush=True)
    print(f"\n{'samples':>8}{'prepare s':>11}{'sample s':>10}{'runs':>8}{'settled mm':>12}")
    for samples in (256, 1024, 4096):
        print(sampled_row(samples), flush=True)


def fast_row(count: int) -> str:
    """Foundation against reading, and the thin layer, on about ``count`` faces."""
    points, faces = paraboloid(count)
    springs = best(
        lambda: foundation_stiffness(points, faces, k_normal=LAYER.k_normal, k_shear=LAYER.k_shear)
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "root.stl"
        write_binary_stl(path, points, faces)
        reading = best(lambda: read_surface(path))
    film = best(lambda: thin_layer_stiffness(points, faces, LAYER))
    return f"{len(faces):>8}{springs:>14.4f}{reading:>11.4f}{springs / reading:>8.2f}{film:>14.3f}"


def solid_row(count: int, *, layers: int) -> str:
    """Thin layer against the solid finite elements on about ``count`` faces, both in processor seconds."""
    points, faces = paraboloid(count)
    film = best(lambda: thin_layer_stiffness(points, faces, LAYER), clock=time.process_time)
    start = time.process_time()
    solid = fe_stiffness(
        points, faces, e_mpa=LAYER.e_mpa, nu=LAYER.nu, thickness_mm=LAYER.thickness_mm, layers=layers
    ).stiffness
    seconds = time.process_time() - start
    thin = thin_layer_stiffness(points, faces, LAYER)
    apart = float(np.linalg.norm(sagittal_centre(thin) - sagittal_centre(solid)))
    percent = 100.0 * float(np.abs(np.diag(thin) / np.diag(solid) - 1.0).max())
    return f"{len(faces):>8}{layers:>8}{film:>14.4f}{seconds:>9.2f}{seconds / film:>8.0f}{apart:>11.3f}{percent:>13.2f}"


def sampled_row(samples: int) -> str:
    """Uncertainty of a root of 12 500 faces, every input varied, all indices."""
    points, faces = paraboloid(12_500)
    start = time.perf_counter()
    family = root_family(
        points, faces, depth_mm=points[:, 2], long_axis=[0, 0, 1], crest_range_mm=(0.0, 1.5), nominal_mm=0.75
    )
    middle = time.perf_counter()
    settled = propagate(family, samples=samples, seed=0).convergence
    end = time.perf_counter() - middle
    return f"{samples:>8}{middle - start:>11.2f}{end:>10.2f}{settled.evaluations:>8}{settled.mean_shift_mm:>12.4f}"


def best(
    work: Callable[[], object], *, times: int = 3, clock: Callable[[], float] = time.perf_counter
) -> float:
    """Fewest seconds of a few runs."""
    seconds = []
    for _ in range(times):
        start = clock()
        work()
        seconds.append(clock() - start)
    return min(seconds)


def paraboloid(count: int) -> tuple[Array, IntArray]:
    """Root R 4 mm, h 13 mm of about ``count`` faces, crest at z = 0."""
    along = max(int(np.sqrt(count / 3.0)), 4)
    around = max(count // (2 * along), 8)
    s = np.linspace(1.0, 0.0, along + 1)[:-1, None]
    turn = np.linspace(0.0, 2.0 * np.pi, around + 1)[:-1]
    rings = np.stack(
        np.broadcast_arrays(4.0 * s * np.cos(turn), 4.0 * s * np.sin(turn), 13.0 * (1.0 - s**2)), axis=-1
    )
    corner = np.arange(along * around).reshape(along, around)
    a, d = corner[:-1], corner[1:]
    b, c = np.roll(a, -1, axis=1), np.roll(d, -1, axis=1)
    cap = np.stack([corner[-1], np.roll(corner[-1], -1), np.full(around, along * around)], -1)
    faces = np.concatenate(
        [np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3), cap]
    )
    return np.concatenate([rings.reshape(-1, 3), [[0.0, 0.0, 13.0]]]), faces


def write_binary_stl(path: Path, points: Array, faces: IntArray) -> None:
    """The surface as a binary STL file."""
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    rows = np.zeros(len(faces), dtype=record)
    rows["corners"] = points[faces]
    path.write_bytes(b"root".ljust(80) + np.uint32(len(faces)).tobytes() + rows.tobytes())


if __name__ == "__main__":
    main()
