"""``bowtrue selftest``: published figures and closed forms computed again on this machine, beside their sources."""

from __future__ import annotations

import argparse


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """Options of ``selftest``."""
    sub.add_argument("--json", action="store_true", help="print every figure as JSON instead")


def run(args: argparse.Namespace) -> int:
    """Compute, print; exit code 1 when a figure does not come out."""
    import json
    import time

    from casework.cautions import SHORT_CAUTION
    from casework.selftest.selftest import all_figures, as_dict, figure_text

    start, found, shown = time.perf_counter(), [], ""
    for group, figure in all_figures():
        found.append((group, figure))
        if args.json:
            continue
        if group != shown:
            print(f"{group}: wanted, found here, allowed, source")
            shown = group
        print(figure_text(figure))
    bad = [figure for _, figure in found if not figure.sound]
    if args.json:
        print(json.dumps(as_dict(found), indent=2, allow_nan=False))
    else:
        print(_machine())
        print(
            f"{len(found) - len(bad)} of {len(found)} figures came out, in {time.perf_counter() - start:.1f} s."
        )
        if bad:
            print("DO NOT USE this installation for a plan: install bowtrue and its libraries again.")
        print(SHORT_CAUTION)
    return 1 if bad else 0


def _machine() -> str:
    """Versions that the numbers depend on."""
    import platform
    from importlib.metadata import version

    names = ("bowtrue", "numpy", "scipy", "trimesh", "meshio", "pydantic")
    parts = ", ".join(f"{name} {version(name)}" for name in names)
    return f"Python {platform.python_version()} on {platform.system()} {platform.machine()}; {parts}"
