"""How long registration takes and how far off it may start: ``python -m benchmarks registration``."""

from __future__ import annotations

import time

import numpy as np

from mesh_tools.errors import BowtrueError
from mesh_tools.registration.register import register
from mesh_tools.surface import Surface
from tests.mesh_tools.registration_cases import a_motion, cropped, demo_scan, noisy, wrong_start

STARTS = ((5.0, 1.0), (10.0, 2.0), (20.0, 4.0), (30.0, 5.0))
SEEDS = 3
CLOSE_MM = 0.15


def main() -> None:
    """One row for each pair of scans and start: how many came home, the largest error of those, and the time."""
    pairs = {
        "molar in arch": (demo_scan("molar_16"), demo_scan("arch"), 0.05),
        "half arch on arch": (cropped(demo_scan("arch"), axis=1, share=0.5), demo_scan("arch"), 0.05),
        "face on face": (demo_scan("face"), demo_scan("face"), 0.2),
    }
    print(f"{'scans':<20}{'start':>16}{'home':>8}{'error mm':>10}{'seconds':>9}")
    for name, (moving, fixed, noise) in pairs.items():
        for turn, shift in STARTS:
            _row(name, moving, fixed, noise, turn_deg=turn, shift_mm=shift)


def _row(
    name: str, moving: Surface, fixed: Surface, noise: float, *, turn_deg: float, shift_mm: float
) -> None:
    errors, begun = [], time.perf_counter()
    for seed in range(SEEDS):
        known = a_motion(seed)
        start = wrong_start(moving, turn_deg=turn_deg, shift_mm=shift_mm, seed=seed).after(known.inverse)
        try:
            found = register(noisy(known.moved(moving), noise, seed), fixed, start=start)
        except BowtrueError:
            continue
        errors.append(found.motion.after(known).travel_mm(moving.points_mm))
    home = [e for e in errors if e < CLOSE_MM]
    seconds = (time.perf_counter() - begun) / SEEDS
    worst = f"{np.max(home):10.3f}" if home else f"{'-':>10}"
    print(
        f"{name:<20}{f'{turn_deg:g} deg {shift_mm:g} mm':>16}{f'{len(home)}/{SEEDS}':>8}{worst}{seconds:9.1f}"
    )


if __name__ == "__main__":
    main()
