"""``bowtrue check CASE.toml``: what was measured with the bow in the mouth, and where the line of force really runs."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from mechanics.sides import SIDES

_WORDS = {"hook_up_mm": "UP", "hook_back_mm": "BACK"}


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """Options of ``check``."""
    sub.add_argument("case", type=Path, help="the case file (case.toml); it is planned anew to compare with")
    sub.add_argument(
        "--measured", type=Path, metavar="FILE.toml",
        help="readings as a table: by ruler, or as points of a photograph (docs/months.md has the keys)",
    )  # fmt: skip
    for side in SIDES:
        sub.add_argument(
            f"--{side}-hook", metavar="UP,BACK",
            help=f"{side} hook from the tube's mark, mm up and mm back by ruler; write --{side}-hook=-2.5,24",
        )  # fmt: skip
        sub.add_argument(f"--{side}-angle", type=float, metavar="DEG",
                         help=f"{side} strap to the occlusal plane, degrees, positive up")  # fmt: skip
        sub.add_argument(f"--{side}-force", metavar="N", help=f"{side} force by gauge: 4, 4N or 400gf")
        sub.add_argument(f"--{side}-high-angle", type=float, metavar="DEG",
                         help=f"{side} head cap's strap, of a combination pull")  # fmt: skip
        sub.add_argument(f"--{side}-high-force", metavar="N", help=f"{side} head cap's force")
    sub.add_argument("--json", action="store_true", help="print the numbers as JSON instead of text")


def run(args: argparse.Namespace) -> int:
    """Plan, compare, print."""
    from casework.case_file import read_case
    from casework.check.checked import checked
    from casework.check.context import check_context
    from casework.check.telling import check_as_dict, check_text
    from casework.planning import plan_case, with_choices
    from viewer.cli.progress import Progress

    measured = _measured(args)
    case = with_choices(read_case(args.case), rigid_bow=False, ideal_tubes=False, sampled=False)
    plan = plan_case(case, args.case.parent, progress=Progress(quiet=args.json))
    result = checked(check_context(case, plan), measured)
    print(json.dumps(check_as_dict(result), indent=2, allow_nan=False) if args.json else check_text(result))
    return 0


def _measured(args: argparse.Namespace) -> Any:
    from casework.check.file import measured_from, read_measured
    from mesh_tools.errors import BadValueError

    tables: dict[str, Any] = {side: table for side in SIDES if (table := _table(args, side))}
    if args.measured is None and not tables:
        raise BadValueError(
            "nothing was measured: give --right-hook and --left-hook, or --measured FILE.toml."
        )
    if args.measured is not None and tables:
        raise BadValueError("give the readings once: as options or in --measured.")
    return measured_from(tables) if args.measured is None else read_measured(args.measured)


def _table(args: argparse.Namespace, side: str) -> dict[str, Any]:
    """The options of one side as the table of a file."""
    given = {
        name: getattr(args, f"{side}_{name}")
        for name in ("hook", "angle", "force", "high_angle", "high_force")
    }
    if all(value is None for value in given.values()):
        return {}
    table = {**_hook(given["hook"], side), **_strap(given["angle"], given["force"], side)}
    high = _strap(given["high_angle"], given["high_force"], side)
    return {**table, "high": high} if high else table


def _hook(text: str | None, side: str) -> dict[str, float]:
    from mesh_tools.errors import BadValueError

    if text is None:
        return {}
    try:
        up, back = (float(v) for v in text.split(","))
    except ValueError:
        raise BadValueError(
            f"--{side}-hook must be two numbers, mm up and mm back, such as -2.5,24; got {text!r}."
        ) from None
    return {"hook_up_mm": up, "hook_back_mm": back}


def _strap(angle: float | None, force: str | None, side: str) -> dict[str, float]:
    from viewer.cli.force import force_key

    table = {} if angle is None else {"strap_angle_deg": angle}
    return table if force is None else {**table, **force_key(force, option=f"--{side}-force")}
