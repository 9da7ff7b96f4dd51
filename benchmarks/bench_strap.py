"""A taut strap on the demo's face scan: laying it, and following its hooks in a bend solve.

Run: python -m benchmarks.bench_strap
Asserts: laid within 1 s of processor time, followed within 10 ms a step when free and 3 ms when held.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import time
from pathlib import Path

import numpy as np

from casework.case_file import read_case
from casework.scans import read_scan
from mechanics.sides import SIDES, Side
from mechanics.strap.back import nape_of
from mechanics.strap.band import band_line
from mesh_tools.arrays import Array

STEPS = 200
HOOKS: dict[Side, Array] = {"right": np.array([-57.0, 40.0, 0.0]), "left": np.array([57.0, 40.0, 0.0])}


def main() -> None:
    """Print the table."""
    folder = Path(__file__).parents[1] / "demo_meshes"
    model = read_case(folder / "case.toml").scans.face
    assert model is not None
    face = read_scan("face", model, folder).surface
    nape = nape_of(face, HOOKS) - [0.0, 0.0, 15.0]
    print(f"face of {len(face.faces)} faces; hooks carried up 10 mm in {STEPS} steps; processor time\n")
    print("| strap | laid (ms) | followed, each step (ms) |\n|---|---|---|")
    for name, back, most_ms in (("free", None, 10.0), ("held", nape, 3.0)):
        start = time.process_time()
        line = band_line(face, HOOKS, band="neck", back_mm=back)
        line.path(HOOKS, tension_n=4.0)
        laid = time.process_time() - start
        start = time.process_time()
        for k in range(STEPS):
            up = np.array([0.0, 0.0, 10.0 * k / STEPS])
            line.leaving({s: HOOKS[s] + up for s in SIDES})
        each = 1e3 * (time.process_time() - start) / STEPS
        print(f"| {name} | {1e3 * laid:.0f} | {each:.2f} |")
        assert laid < 1.0, laid
        assert each < most_ms, each


if __name__ == "__main__":
    main()
