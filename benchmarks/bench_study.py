"""How fast studies go and what memory they take: ``python -m benchmarks study`` (some minutes).

Teeth of about 40 000 faces, every fast method, by one worker and by two; then the memory of the parent and of its
workers for few and for many teeth. The last lines carry the measured rate on to a thousand teeth here and to a
hundred thousand on a cluster.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np

from demo_meshes.files import write_stl
from demo_meshes.molar import MolarShape, molar

TEETH, FEW, MANY = 24, 8, 48
FINE_MM = 0.229
CLUSTER_CORES = 64


def main() -> None:
    """Print the tables."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        faces = _write_teeth(folder, MANY)
        print(f"molars of {faces} faces, every fast method, no samples; one BLAS thread a worker\n")
        rates = {}
        print(f"{'workers':>8}{'teeth':>7}{'seconds':>9}{'teeth a minute':>16}{'processor s a tooth':>21}")
        for workers in (1, 2):
            start, before = _start(folder, workers), _processor()
            seconds = _run(folder, f"w{workers}", TEETH, workers)[0] - start
            rates[workers] = 60.0 * TEETH / seconds
            spent = (_processor() - before) / TEETH
            print(f"{workers:>8}{TEETH:>7}{seconds:>9.1f}{rates[workers]:>16.0f}{spent:>21.2f}")
        print(f"two workers do {rates[2] / rates[1]:.2f} times what one does\n")
        print(f"{'teeth':>8}{'parent MB':>11}{'worker MB':>11}")
        for teeth in (FEW, MANY):
            _, parent, worker = _run(folder, f"m{teeth}", teeth, 2)
            print(f"{teeth:>8}{parent:>11.0f}{worker:>11.0f}")
        print(f"\n1 000 teeth on two cores: {1000 / rates[2]:.1f} minutes")
        hours = 100_000 / (rates[1] * CLUSTER_CORES) / 60.0
        print(
            f"100 000 teeth on {CLUSTER_CORES} such cores, if a cluster loses nothing: {hours:.1f} hours (projected)"
        )


def _write_teeth(folder: Path, count: int) -> int:
    points, faces, _ = molar(MolarShape(), step_mm=FINE_MM)
    rng, lines = np.random.default_rng(1), ["mesh,tooth,axes,unit"]
    for k in range(count):
        write_stl(folder / f"t{k}.stl", points * (1.0 + 0.03 * rng.normal()), faces)
        lines.append(f"t{k}.stl,26,LPS,mm")
    for teeth in {1, 2, FEW, TEETH, MANY}:
        (folder / f"teeth{teeth}.csv").write_text("\n".join(lines[: teeth + 1]) + "\n", "utf-8")
    return len(faces)


def _processor() -> float:
    """Seconds of the processor that children have used: other work on the machine hardly changes them."""
    times = os.times()
    return times.children_user + times.children_system


def _start(folder: Path, workers: int) -> float:
    """Seconds of a run with one tooth a worker, less one tooth's share: what starting costs."""
    return _run(folder, f"s{workers}", workers, workers)[0] * 0.75


def _run(folder: Path, out: str, teeth: int, workers: int) -> tuple[float, float, float]:
    """Seconds, and the most memory of the parent and of a worker in MB."""
    words = [sys.executable, "-m", "viewer.cli", "study", str(folder / f"teeth{teeth}.csv"), "--out", str(folder / out),
             "--workers", str(workers), "--no-pictures"]  # fmt: skip
    start = time.perf_counter()
    run = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    peak = {"parent": 0.0, "worker": 0.0}
    watch = threading.Thread(target=_watched, args=(run, peak), daemon=True)
    watch.start()
    run.wait()
    seconds = time.perf_counter() - start
    watch.join(timeout=2.0)
    return seconds, peak["parent"], peak["worker"]


def _watched(run: subprocess.Popen[bytes], peak: dict[str, float]) -> None:
    while run.poll() is None:
        peak["parent"] = max(peak["parent"], _memory_mb(run.pid))
        for child in _children(run.pid):
            peak["worker"] = max(peak["worker"], _memory_mb(child))
        time.sleep(0.1)


def _children(pid: int) -> list[int]:
    tasks = Path(f"/proc/{pid}/task")
    try:
        return [int(c) for t in tasks.iterdir() for c in (t / "children").read_text().split()]
    except OSError:
        return []


def _memory_mb(pid: int) -> float:
    try:
        pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    except (OSError, IndexError):
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


if __name__ == "__main__":
    main()
