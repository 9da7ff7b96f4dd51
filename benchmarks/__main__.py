"""Every benchmark's table, one after the other: ``python -m benchmarks``."""

from __future__ import annotations

import os
import platform
import runpy
import sys
from pathlib import Path


def main() -> None:
    """Run each ``bench_*.py`` of this folder; names given on the command line choose among them."""
    chosen = sys.argv[1:]
    print(f"Python {platform.python_version()}, {platform.machine()}, {os.cpu_count()} processors")
    for script in sorted(Path(__file__).parent.glob("bench_*.py")):
        name = script.stem.removeprefix("bench_")
        if chosen and name not in chosen:
            continue
        print(f"\n## {name}\n", flush=True)
        sys.argv = [str(script)]
        runpy.run_path(str(script), run_name="__main__")


if __name__ == "__main__":
    main()
