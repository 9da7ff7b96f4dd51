"""A whole plan of two fine molars as one process, beside what cannot be avoided: Python, numpy, scipy, reading.

The molars are the demo's, made again by its generator on a finer grid: about 40 000 faces each. Times are of the
processor (user and system, which other work on the machine hardly changes) and of the clock.

Run: python benchmarks/bench_plan.py [--runs 5]
"""

from __future__ import annotations

import argparse
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from demo_meshes import demo_folder
from demo_meshes.files import write_stl
from demo_meshes.generate import AXES
from demo_meshes.scenario import placed_molar
from demo_meshes.teeth import Dentition

FINE_MM = 0.227  # step of the generator's grid that gives about 40 000 faces
READ = "from mesh_tools.read import read_surface; import sys; [read_surface(p) for p in sys.argv[1:]]"
PARTS = "import numpy, scipy.linalg, scipy.sparse.linalg, scipy.sparse.csgraph; "
Times = tuple[float, float]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=5)
    runs = parser.parse_args().runs
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        files = {fdi: folder / f"molar_{fdi}.stl" for fdi in (16, 26)}
        faces = [_fine_molar(file, fdi) for fdi, file in files.items()]
        _case(folder)
        command, scans = [sys.executable, "-m", "viewer.cli"], [str(file) for file in files.values()]
        plan = [*command, "plan", str(folder / "case.toml"), "--out", str(folder / "out")]
        rows = {
            "help": [*command, "--help"],
            "python, numpy, scipy, reading": [sys.executable, "-c", "import numpy, scipy; " + READ, *scans],
            "the same with scipy's sparse parts": [sys.executable, "-c", PARTS + READ, *scans],
            "plan without pictures": [*plan, "--no-pictures"],
            "demo with pictures": [*command, "demo", "--out", str(folder / "demo")],
        }
        times = {row: _median(words, runs) for row, words in rows.items()}
    print(f"two molars of {faces[0]} and {faces[1]} faces, median of {runs} runs")
    print(f"{'':<36}{'processor':>12}{'clock':>12}")
    for row, (processor, clock) in times.items():
        print(f"{row:<36}{processor:>10.2f} s{clock:>10.2f} s")
    for base in ("python, numpy, scipy, reading", "the same with scipy's sparse parts"):
        ratios = [a / b for a, b in zip(times["plan without pictures"], times[base], strict=True)]
        print(f"{'plan / ' + base:<48}{ratios[0]:.2f}, by the clock {ratios[1]:.2f}")


def _fine_molar(file: Path, fdi: int) -> int:
    points, faces, _ = placed_molar(Dentition().tooth(fdi), step_mm=FINE_MM)
    write_stl(file, points, faces, axes=AXES[f"molar_{fdi}"])
    return len(faces)


def _case(folder: Path) -> None:
    """The demo case with its molars only."""
    text = (demo_folder() / "case.toml").read_text("utf-8")
    text = re.sub(r"\[scans\.(arch|face)\].*?(?=\n\[)", "", text, flags=re.DOTALL)
    (folder / "case.toml").write_text(text, "utf-8")


def _median(words: list[str], runs: int) -> Times:
    """Median seconds of the processor and of the clock, after a run that does not count."""
    taken = [_timed(words) for _ in range(runs + 1)][1:]
    return statistics.median(t[0] for t in taken), statistics.median(t[1] for t in taken)


def _timed(words: list[str]) -> Times:
    """Seconds of the processor, children's children included, and of the clock."""
    before, start = os.times(), time.perf_counter()
    subprocess.run(words, check=True, capture_output=True)
    clock, after = time.perf_counter() - start, os.times()
    spent = after.children_user + after.children_system - before.children_user - before.children_system
    return spent, clock


if __name__ == "__main__":
    main()
