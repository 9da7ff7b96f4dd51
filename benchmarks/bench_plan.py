"""A whole plan of two fine molars as one process, beside what cannot be avoided: Python, numpy, scipy, reading.

Run: python benchmarks/bench_plan.py [--runs 5]
"""

from __future__ import annotations

import argparse
import re
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from demo_meshes import demo_folder
from mesh_tools.read import read_surface
from mesh_tools.surface import Surface
from mesh_tools.write import write_stl

MOLARS = ("molar_16.stl", "molar_26.stl")
BASE = "import numpy, scipy, sys; from mesh_tools.read import read_surface; [read_surface(p) for p in sys.argv[1:]]"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=5)
    runs = parser.parse_args().runs
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        faces = [_fine_copy(folder, file) for file in MOLARS]
        _case(folder)
        command = [sys.executable, "-m", "viewer.cli"]
        rows = {
            "help": [*command, "--help"],
            "python, numpy, scipy, reading": [sys.executable, "-c", BASE, *(str(folder / m) for m in MOLARS)],
            "plan without pictures": [
                *command, "plan", str(folder / "case.toml"), "--out", str(folder / "out"), "--no-pictures",
            ],
        }  # fmt: skip
        times = {row: _median(words, runs) for row, words in rows.items()}
    print(f"two molars of {faces[0]} and {faces[1]} faces, median of {runs} runs")
    for row, seconds in times.items():
        print(f"{row:<34}{seconds:8.2f} s")
    ratio = times["plan without pictures"] / times["python, numpy, scipy, reading"]
    print(f"{'plan / unavoidable':<34}{ratio:8.2f}")


def _fine_copy(folder: Path, file: str) -> int:
    surface = _split(read_surface(demo_folder() / file))
    write_stl(folder / file, surface)
    return len(surface.faces)


def _split(surface: Surface) -> Surface:
    """Every face cut into four at the middles of its edges."""
    edges = np.sort(surface.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    unique, back = np.unique(edges, axis=0, return_inverse=True)
    points = np.concatenate([surface.points_mm, surface.points_mm[unique].mean(axis=1)])
    ab, bc, ca = (back.reshape(-1, 3) + len(surface.points_mm)).T
    a, b, c = surface.faces.T
    faces = np.concatenate([np.stack(f, axis=1) for f in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))])
    return Surface(points, faces)


def _case(folder: Path) -> None:
    """The demo case with its molars only."""
    text = (demo_folder() / "case.toml").read_text("utf-8")
    text = re.sub(r"\[scans\.(arch|face)\].*?(?=\n\[)", "", text, flags=re.DOTALL)
    (folder / "case.toml").write_text(text, "utf-8")


def _median(words: list[str], runs: int) -> float:
    taken = []
    for _ in range(runs + 1):
        start = time.perf_counter()
        subprocess.run(words, check=True, capture_output=True)
        taken.append(time.perf_counter() - start)
    return statistics.median(taken[1:])


if __name__ == "__main__":
    main()
