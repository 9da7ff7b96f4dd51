"""The desk: how long a page waits after each thing a hand can do, on the demo case.

Times are of the clock, median of the runs; the machine's other work shows in them.

Run: python benchmarks/bench_desk.py [--runs 7]
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from casework.desk.bench import Workbench, aimed, workbench
from casework.desk.draft import Draft, opened, saved, with_landmark, with_value
from casework.desk.handles import handled, handles_of
from casework.desk.jobs import begun
from casework.desk.landmarks import LANDMARKS
from casework.desk.live import flexed_live, rigid_live
from casework.desk.plausible import plausibility
from casework.desk.readings import readings
from casework.desk.shelf import Shelf
from casework.desk.solving import offset_curve, solved, trued
from casework.desk.uploads import arrived
from demo_meshes import demo_folder

Row = tuple[str, str, Callable[[int], object]]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=7)
    runs = parser.parse_args().runs
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for file in (*demo_folder().glob("*.stl"), demo_folder() / "case.toml"):
            shutil.copy(file, folder)
        draft, shelf = opened(folder / "case.toml"), Shelf()
        bench = workbench(draft, shelf=shelf)
        print(f"{'what a hand does':<58}{'wanted':>10}{'median':>12}{'worst':>12}")
        for told, wanted, act in (*_bench_rows(draft, shelf), *_live_rows(bench), *_file_rows(draft, bench)):
            times = [_seconds(act, k) for k in range(runs)]
            print(
                f"{told:<58}{wanted:>10}{statistics.median(times):>10.3f} s{max(times):>10.3f} s", flush=True
            )


def _bench_rows(draft: Draft, shelf: Shelf) -> list[Row]:
    def strap(k: int) -> Draft:
        return with_landmark(draft, "strap_left_mm", (41.4, 103.1, -13.0 - 0.1 * k))

    def tube(k: int) -> Draft:
        return with_landmark(draft, "tube_left_mesial_mm", (28.372, 28.672, 6.98 + 0.01 * (k + 1)))

    return [
        ("open a case: scans, centres, bow, bend", "", lambda _: workbench(draft)),
        ("the same with 256 samples of the centre", "", lambda _: workbench(draft, samples=256)),
        ("the same again, nothing changed", "", lambda _: workbench(draft, shelf=shelf)),
        ("a strap point moved", "< 1 s", lambda k: workbench(strap(k), shelf=shelf)),
        ("a tube's end moved (one centre, bow, bend)", "", lambda k: workbench(tube(k), shelf=shelf)),
        ("a strap point moved, bend left to the hand", "", lambda k: workbench(strap(k), shelf=shelf, clear=False)),
    ]  # fmt: skip


def _live_rows(bench: Workbench) -> list[Row]:
    start = handles_of(bench)
    last = flexed_live(bench, start)
    bends = np.linspace(-20.0, 40.0, 13).tolist()

    def bent(k: int) -> object:
        nonlocal last
        last = flexed_live(bench, handled(start, "right", bend_deg=2.0 * (k % 12)), near=last)
        return last

    return [
        ("a handle, rigid preview", "< 0.03 s", lambda k: rigid_live(bench, handled(start, "right", bend_deg=k))),
        ("a handle, flexed, from the answer before (2 degrees)", "< 0.4 s", bent),
        ("a handle, flexed, from nothing", "< 0.4 s", lambda k: flexed_live(bench, handled(start, "left", bend_deg=k))),
        ("another target", "", lambda k: aimed(bench, ("furcation", "thin_layer")[k % 2])),
        ("the bend that trues the line", "< 1 s", lambda _: trued(bench, start)),
        ("the plan of the bench", "", lambda _: solved(bench)),
        ("offset against 13 bends, rigid and flexed", "", lambda _: offset_curve(bench, start, "right", bends)),
    ]  # fmt: skip


def _file_rows(draft: Draft, bench: Workbench) -> list[Row]:
    surfaces = readings(draft, bench.shelf).surfaces
    molar = (draft.folder / "molar_16.stl").read_bytes()
    now = draft

    def edited(k: int) -> object:
        nonlocal now
        now = with_value(now, "age_years", 9.0 + 0.1 * k)
        return now

    def kept(k: int) -> object:
        nonlocal now
        now = saved(with_value(now, "age_years", 10.0 + 0.1 * k))
        return now

    return [
        ("one edit", "", edited),
        ("one edit and save, flushed to the disk", "", kept),
        ("every landmark's plausibility", "", lambda _: [plausibility(draft, surfaces, m.name) for m in LANDMARKS]),
        ("a molar of 17 772 faces uploaded and looked at", "", lambda _: arrived(draft.folder, "up.stl", molar)),
        ("a job that does nothing, begun and ended", "", lambda _: begun(nothing).waited()),
        ("a job cancelled while it sleeps", "", _cancelled),
    ]  # fmt: skip


def nothing(*, progress: Callable[[str], None]) -> None:
    """A task without work."""


def sleeping(*, progress: Callable[[str], None]) -> None:
    """A task that only a cancel ends soon."""
    progress("asleep")
    time.sleep(60.0)


def _cancelled(_: int) -> None:
    job = begun(sleeping)
    while not job.lines and job.running:
        time.sleep(0.005)
    job.cancel()


def _seconds(act: Callable[[int], object], run: int) -> float:
    start = time.perf_counter()
    act(run)
    return time.perf_counter() - start


if __name__ == "__main__":
    main()
