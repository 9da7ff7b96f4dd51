"""Reading speed beside general libraries: best of several runs, in ms, and the ratio to ours.

Run: python benchmarks/bench_reading.py [--rings 150]
"""

from __future__ import annotations

import argparse
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from mesh_tools.read import read_surface
from mesh_tools.repair import repaired
from mesh_tools.surface import Surface
from mesh_tools.write import write_ply, write_stl


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rings", type=int, default=150, help="rings of the test surface; faces = 4 rings^2")
    rings = parser.parse_args().rings
    surface = torus(rings)
    with tempfile.TemporaryDirectory() as folder:
        stl, ply, text = (Path(folder) / n for n in ("a.stl", "a.ply", "text.stl"))
        write_stl(stl, surface)
        write_ply(ply, surface)
        text.write_text(text_stl(surface))
        print(f"{len(surface.faces)} faces; best of 5, ms; in brackets: times ours")
        print(f"{'file':<12}{'bowtrue':>10}{'trimesh':>18}{'meshio':>18}")
        for name, path in (("STL binary", stl), ("STL text", text), ("PLY double", ply)):
            print(row(name, path))
        print(f"{'repair':<12}{best(lambda: repaired(surface)):>10.1f}")


def torus(rings: int) -> Surface:
    """Closed surface of 4 rings^2 faces."""
    n, m = 2 * rings, rings
    u, v = np.meshgrid(np.arange(n), np.arange(m), indexing="ij")
    a, b = 2 * np.pi * u / n, 2 * np.pi * v / m
    out = 6 + 3 * np.cos(b)
    points = np.stack([out * np.cos(a), out * np.sin(a), 3 * np.sin(b)], axis=2).reshape(-1, 3)
    p, q, r, s = (((u + i) % n * m + (v + j) % m).ravel() for i, j in ((0, 0), (1, 0), (1, 1), (0, 1)))
    return Surface(points, np.concatenate([np.stack([p, q, r], axis=1), np.stack([p, r, s], axis=1)]))


def text_stl(surface: Surface) -> str:
    """Text STL of a surface."""
    face = "facet normal 0 0 0\nouter loop\nvertex {} {} {}\nvertex {} {} {}\nvertex {} {} {}\nendloop\nendfacet\n"
    rows = surface.corners_mm.astype(np.float32).reshape(-1, 9).tolist()
    return "solid x\n" + "".join(face.format(*r) for r in rows) + "endsolid x\n"


def row(name: str, path: Path) -> str:
    """One line of the table."""
    import meshio
    import trimesh

    ours = best(lambda: read_surface(path))
    cells = [f"{name:<12}{ours:>10.1f}"]
    others: list[Callable[[], Any]] = [lambda: trimesh.load_mesh(path), lambda: meshio.read(path)]
    for read in others:
        took = best(read)
        cells.append(f"{took:>10.1f} ({took / ours:4.1f})".rjust(18))
    return "".join(cells)


def best(work: Callable[[], Any], runs: int = 5) -> float:
    """Shortest time of several runs, ms."""
    times = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for _ in range(runs):
            start = time.perf_counter()
            work()
            times.append(time.perf_counter() - start)
    return 1e3 * min(times)


if __name__ == "__main__":
    main()
